"""Weighing, measuring and pouring: amounts a shed can measure, and vessels that hold what is put in them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feedcalc.contract.measures import jugged, measured_out, measures, poured, weighed
from feedcalc.garden.ash import ash_of
from feedcalc.liquor.vessel import (
    Vessel,
    batch_of,
    cleared_diameter,
    liquor_for_can,
    settle_hours,
    water_above_ash,
    water_for_liquor,
)

SAMPLE = ash_of("mixed", "fresh").typical()
BUCKET = Vessel(0.30, 12.0)
CUSTOMS = st.sampled_from(["us", "metric", "uk"])


@given(st.floats(1, 50_000), CUSTOMS)
def test_cups_and_spoons_add_up_to_the_volume(millilitres, customs):
    comes_to, parts = measured_out(millilitres, customs)
    held = measures(customs)
    assert comes_to == pytest.approx(sum(amount * held[name] for amount, name in parts))
    assert parts
    if millilitres > held["teaspoon"]:
        # Half a teaspoon in small amounts, else half a tablespoon or the closeness a cup of ash deserves.
        error = abs(comes_to - millilitres)
        assert error <= max(0.065 * millilitres, 0.5 * held["tablespoon"] + 1e-9)


@given(st.floats(1, 50_000), CUSTOMS)
def test_measures_read_as_a_cook_would_say_them(millilitres, customs):
    _, parts = measured_out(millilitres, customs)
    held = measures(customs)
    names = [name for _, name in parts]
    assert names in (["cup"], ["tablespoon"], ["teaspoon"], ["cup", "tablespoon"])
    for amount, name in parts:
        assert amount > 0
        if name == "cup":
            assert amount * 4 == int(amount * 4)
        elif name == "tablespoon":
            assert amount == int(amount)
            assert amount * held["tablespoon"] < held["cup"] / 4, "that many spoons are another quarter cup"
        else:
            assert amount * 2 == int(amount * 2)
            assert amount <= 6, "six teaspoons are two tablespoons"


@pytest.mark.parametrize(
    ("millilitres", "customs", "parts"),
    [
        (122.0, "metric", ((0.5, "cup"),)),
        (111.5, "us", ((0.5, "cup"),)),
        (55.0, "us", ((0.25, "cup"),)),
        (245.0, "us", ((1.0, "cup"),)),
        (30.0, "metric", ((2.0, "tablespoon"),)),
        (5.0, "metric", ((1.0, "teaspoon"),)),
        (1420.0, "uk", ((5.0, "cup"),)),
    ],
)
def test_a_measure_is_the_one_a_grower_would_reach_for(millilitres, customs, parts):
    assert measured_out(millilitres, customs)[1] == parts


@given(st.floats(0.01, 1000))
def test_water_is_poured_to_a_mark_and_never_short(litres):
    assert litres - 1e-6 <= poured(litres) <= litres + max(0.05, 0.06 * litres)


@given(st.floats(0.02, 100))
def test_liquor_is_rounded_down_to_a_mark_of_a_jug_so_that_no_feed_is_stronger_than_planned(litres):
    step = 0.005 if litres < 0.1 else 0.01 if litres < 0.5 else 0.05 if litres < 5 else 0.1
    assert litres - step <= jugged(litres) <= litres + 1e-6


@given(st.floats(0.05, 500), st.floats(0, 1000))
def test_a_can_never_gets_more_liquor_than_it_holds(can, parts):
    assert 0 < liquor_for_can(can, parts) <= can


@given(st.floats(1, 50_000))
def test_ash_is_weighed_to_what_a_scale_shows(grams):
    assert weighed(grams) == pytest.approx(grams, abs=max(0.5, 0.025 * grams))
    assert weighed(grams) == int(weighed(grams))


@given(st.floats(0.5, 100), st.floats(1, 140), st.floats(0.05, 1), st.floats(1, 100))
def test_a_batch_fits_its_vessel_and_its_layers_make_up_the_whole(litres, strength, height, capacity):
    vessel = Vessel(height, capacity)
    batch = batch_of(litres * strength, litres, vessel, SAMPLE)
    assert batch.liquor_litres + batch.sludge_litres + batch.guard_litres == pytest.approx(batch.mixture_litres)
    assert batch.mixture_litres / batch.goes <= vessel.usable * (1 + 1e-9)
    assert 0 < batch.surface < height
    assert batch.goes == 1 or batch.mixture_litres / (batch.goes - 1) > vessel.usable * (1 - 1e-9)
    assert batch.strength == pytest.approx(strength)


def test_common_practice_pours_off_about_nine_tenths():
    # 4 to 6 % sludge and a guard layer leave 80 to 95 % of clear liquor (own arithmetic from the sediment volume).
    batch = batch_of(107.0, 5.0, BUCKET, SAMPLE)
    assert 0.80 <= batch.liquor_litres / 5.0 <= 0.95


@given(st.floats(0.2, 60), st.floats(5, 100), st.floats(0.1, 0.6), st.floats(2, 60))
def test_the_water_planned_for_a_liquor_gives_it_and_hardly_more(liquor, strength, height, capacity):
    vessel = Vessel(height, capacity)
    at_strength = water_for_liquor(liquor, strength, vessel, SAMPLE)
    above_ash = water_above_ash(liquor, strength * liquor, vessel, SAMPLE)
    for water, grams in ((at_strength, at_strength * strength), (above_ash, strength * liquor)):
        batch = batch_of(grams, water, vessel, SAMPLE)
        assert batch.liquor_litres >= liquor * (1 - 1e-9)
        less = batch_of(grams * 0.999, water * 0.999, vessel, SAMPLE)
        assert less.liquor_litres < liquor or less.goes < batch.goes


def test_mud_without_clear_liquor_is_refused():
    with pytest.raises(ValueError, match="no clear liquor"):
        water_for_liquor(5.0, 600.0, BUCKET, SAMPLE)


def test_settling_takes_longer_for_deeper_liquor_finer_grains_and_colder_water():
    shallow, deep = (batch_of(107.0, 5.0, vessel, SAMPLE) for vessel in (Vessel(0.30, 24.0), BUCKET))
    assert settle_hours(shallow, SAMPLE, 288.15) < settle_hours(deep, SAMPLE, 288.15)
    assert settle_hours(deep, SAMPLE, 288.15, 1e-6) == pytest.approx(
        4 * settle_hours(deep, SAMPLE, 288.15, 2e-6), rel=0.01
    )
    assert settle_hours(deep, SAMPLE, 278.15) > settle_hours(deep, SAMPLE, 298.15)


def test_the_diameter_cleared_after_the_settling_time_is_that_of_the_settling_time():
    batch = batch_of(107.0, 5.0, BUCKET, SAMPLE)
    hours = settle_hours(batch, SAMPLE, 288.15, 2e-6)
    assert cleared_diameter(batch, SAMPLE, 288.15, hours) == pytest.approx(2e-6, rel=1e-3)


def test_a_batch_with_nothing_to_pour_needs_no_settling():
    mud = batch_of(4000.0, 5.0, BUCKET, SAMPLE)
    assert mud.liquor_litres == pytest.approx(0.0, abs=1e-12)
    assert settle_hours(mud, SAMPLE, 288.15) == 0.0
    assert cleared_diameter(mud, SAMPLE, 288.15, 24.0) == 0.0
