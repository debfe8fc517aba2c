"""Properties of settling for any input: larger grains, warmer water and thinner suspensions settle faster."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feedcalc.physics import settling

diameters = st.floats(1e-7, 50e-6)
densities = st.floats(1500, 3500)
temperatures = st.floats(273.15, 318.15)
depths = st.floats(0.01, 1.0)
fractions = st.floats(0.0, 0.3)


@given(diameters, densities, temperatures, depths, fractions)
def test_cleared_diameter_is_the_inverse_of_clearing_time(diameter, density, kelvin, depth, fraction):
    hours = settling.clearing_time_hours(depth, diameter, density, kelvin, volume_fraction=fraction)
    back = settling.cleared_diameter_m(depth, hours, density, kelvin, volume_fraction=fraction)
    assert back == pytest.approx(diameter, rel=1e-6)


@given(diameters, st.floats(1.01, 2), densities, temperatures)
def test_a_larger_grain_sinks_faster(diameter, larger, density, kelvin):
    assert (
        settling.settling(diameter * larger, density, kelvin).velocity_m_per_s
        > settling.settling(diameter, density, kelvin).velocity_m_per_s
    )


@given(diameters, densities, st.floats(273.15, 310), st.floats(0.5, 8))
def test_warmer_water_clears_sooner(diameter, density, kelvin, warmer):
    cold = settling.clearing_time_hours(0.3, diameter, density, kelvin)
    assert settling.clearing_time_hours(0.3, diameter, density, kelvin + warmer) < cold


@given(diameters, densities, temperatures, st.floats(0, 0.3), st.floats(0.001, 0.1))
def test_a_thicker_slurry_clears_later(diameter, density, kelvin, fraction, thicker):
    thin = settling.clearing_time_hours(0.3, diameter, density, kelvin, volume_fraction=fraction)
    assert settling.clearing_time_hours(0.3, diameter, density, kelvin, volume_fraction=fraction + thicker) > thin


@given(st.floats(1e-7, 5e-4), st.floats(1500, 3000), temperatures)
def test_the_drag_correction_only_slows_grains_and_vanishes_for_fine_ones(diameter, density, kelvin):
    stokes = settling.settling_velocity_stokes(diameter, density, kelvin)
    full = settling.settling_velocity_schiller_naumann(diameter, density, kelvin)
    assert full <= stokes
    reynolds = settling.grain_reynolds(diameter, full, kelvin)
    assert full * (1 + 0.15 * reynolds**0.687) == pytest.approx(stokes, rel=1e-9)
    if settling.stokes_holds(reynolds):
        assert full > 0.95 * stokes
