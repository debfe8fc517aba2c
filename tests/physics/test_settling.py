"""Validity ranges and refusals of the settling laws, and settling in a bucket of ash."""

from __future__ import annotations

import pytest

from feedcalc.physics import settling
from feedcalc.physics.water import density_kg_per_m3, viscosity_pascal_second

SHED = 288.15  # 15 degC


@pytest.mark.parametrize("kelvin", [273.1, 373.2, float("nan"), -1])
@pytest.mark.parametrize("property_of", [density_kg_per_m3, viscosity_pascal_second])
def test_temperatures_of_ice_and_steam_are_refused(property_of, kelvin):
    with pytest.raises(ValueError, match="hold from"):
        property_of(kelvin)


def test_water_is_densest_near_four_degrees():
    assert max(range(41), key=lambda celsius: density_kg_per_m3(celsius + 273.15)) == 4


@pytest.mark.parametrize(
    ("diameter", "particle", "liquid"),
    [(0, 2650, None), (-1e-6, 2650, None), (1e-6, 900, None), (1e-6, 1100, 1100), (float("nan"), 2650, None)],
)
def test_a_grain_that_floats_or_has_no_size_does_not_sink(diameter, particle, liquid):
    with pytest.raises(ValueError, match="doesn't sink"):
        settling.settling_velocity_stokes(diameter, particle, SHED, liquid)


def test_stokes_law_holds_for_silt_but_not_for_sand():
    sizes = settling.grain_sizes_m()
    assert settling.settling(sizes["silt_usda"], 2650, SHED).stokes_holds
    assert not settling.settling(sizes["sand"] / 4, 2650, SHED).stokes_holds


def test_grains_finer_than_a_micrometre_are_marked_as_too_fine():
    assert settling.settling(0.5e-6, 2650, SHED).too_fine
    assert not settling.settling(2e-6, 2650, SHED).too_fine


def test_the_drag_law_refuses_pebbles():
    with pytest.raises(ValueError, match="Reynolds number above 800"):
        settling.settling(5e-3, 2650, SHED)


@pytest.mark.parametrize("fraction", [-0.01, 0.41, float("nan")])
def test_volume_fractions_outside_a_suspension_are_refused(fraction):
    with pytest.raises(ValueError, match="grains may fill"):
        settling.hindered_share(fraction, 1e-5, 10)


def test_grains_that_clear_slowly_are_hindered_by_the_brownian_branch():
    """Brzinski and Durian 2018: exponent 5.6 below a Peclet number of 1e8, 4.48 above."""
    clay = settling.settling(2e-6, 2650, SHED)
    assert settling.hindered_share(0.1, clay.reynolds, clay.peclet) == pytest.approx(0.9**5.6)
    assert settling.hindered_share(0.1, 1e-3, 1e9) == pytest.approx(0.9**4.48)


def test_denser_liquor_slows_the_grains():
    in_water = settling.settling_velocity_stokes(5e-6, 2500, SHED)
    in_liquor = settling.settling_velocity_stokes(5e-6, 2500, SHED, 1050)
    assert in_liquor / in_water == pytest.approx((2500 - 1050) / (2500 - density_kg_per_m3(SHED)))


def test_a_day_in_a_bucket_clears_everything_down_to_clay():
    """Common practice, no source: 24 h. A 25 cm pour at 15 degC is then free of all silt, and clay stays."""
    cleared = settling.cleared_diameter_m(0.25, 24, 2500, SHED)
    sizes = settling.grain_sizes_m()
    assert cleared <= sizes["clay"] * 1.05
    assert cleared > sizes["clay"] / 2


def test_a_diameter_outside_the_search_range_gives_the_nearer_end():
    assert settling.cleared_diameter_m(0.3, 1e7, 2650, SHED) == settling.SMALLEST_DIAMETER_M
    assert settling.cleared_diameter_m(10.0, 1e-4, 2650, SHED) == pytest.approx(settling.LARGEST_DIAMETER_M)


@pytest.mark.parametrize(("depth", "hours"), [(0, 24), (-0.1, 24), (0.3, 0), (0.3, -1)])
def test_a_depth_or_time_of_zero_is_refused(depth, hours):
    with pytest.raises(ValueError, match="above zero"):
        settling.cleared_diameter_m(depth, hours, 2650, SHED)


def test_a_depth_of_zero_is_clear_at_once_and_a_negative_one_is_refused():
    assert settling.clearing_time_hours(0.0, 2e-6, 2650, SHED) == 0.0
    with pytest.raises(ValueError, match="below zero"):
        settling.clearing_time_hours(-0.1, 2e-6, 2650, SHED)


def test_traces_start_at_the_surface_and_end_at_the_given_depth():
    fine, coarse = settling.clearing_traces([2e-6, 20e-6], 0.2, [0, 1, 6, 48], 2650, SHED)
    assert fine.clear_depth_m[0] == coarse.clear_depth_m[0] == 0.0
    assert coarse.clear_depth_m[1] == fine.clear_depth_m[-1] == 0.2
    assert fine.clear_depth_m[2] == pytest.approx(0.2 * 6 / settling.clearing_time_hours(0.2, 2e-6, 2650, SHED))


@pytest.mark.parametrize(("depth", "hours"), [(0.0, [1]), (0.2, [-1])])
def test_traces_refuse_an_impossible_depth_or_hour(depth, hours):
    with pytest.raises(ValueError, match="depth must be above zero"):
        settling.clearing_traces([2e-6], depth, hours, 2650, SHED)


def test_sieve_openings_fall_as_their_numbers_rise():
    openings = [
        (int(name.split("_")[1]), metres)
        for name, metres in settling.grain_sizes_m().items()
        if name.startswith("sieve_")
    ]
    metres_by_number = [metres for _, metres in sorted(openings)]
    assert metres_by_number == sorted(metres_by_number, reverse=True)


def test_the_peclet_number_agrees_with_a_known_brownian_diffusivity():
    """A sphere of 1 micrometre in water at 25 degC diffuses at 0.49 square micrometres a second (textbook
    value after Einstein 1905, from memory).
    """
    velocity, radius = 1e-6, 0.5e-6
    diffusion = velocity * radius / settling.grain_peclet(2 * radius, velocity, 298.15)
    assert diffusion == pytest.approx(0.49e-12, rel=0.01)


def test_an_hour_at_a_millimetre_a_second_is_3_6_metres():
    trace = settling.clearing_traces([40e-6], 100.0, [1], 2650, SHED)[0]
    velocity = settling.settling(40e-6, 2650, SHED).velocity_m_per_s
    assert trace.clear_depth_m[0] / velocity == pytest.approx(3600)
