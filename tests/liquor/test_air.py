"""Liquor standing in air, and the turn from mild to caustic."""

from __future__ import annotations

from itertools import pairwise
from math import inf

import pytest

from feedcalc.chemistry import equilibrate
from feedcalc.garden.ash import ash_of
from feedcalc.garden.water import water_of_kind
from feedcalc.liquor import air as standing
from feedcalc.liquor.acid import acid_for, acids
from feedcalc.liquor.air import (
    caustic_switch,
    days_in_air_until,
    exposure_to_air,
    hydroxide_share,
    liquor_in_equilibrium_with_air,
)
from feedcalc.liquor.steeping import JUDGED_AT_KELVIN, Liquor, steep

KELVIN = 288.15
DAYS = (0, 1, 3, 7, 14, 30, 60)


@pytest.fixture(scope="module")
def fresh() -> Liquor:
    return steep(ash_of("mixed", "fresh").typical(), 21.4, water_of_kind("rain"), KELVIN, 24).liquor


@pytest.fixture(scope="module")
def aged() -> Liquor:
    return steep(ash_of("mixed", "aged").typical(), 21.4, water_of_kind("rain"), KELVIN, 24).liquor


def test_exposure_starts_as_poured_off_and_ends_in_equilibrium_with_air(fresh):
    found = exposure_to_air(fresh, 0.06, 10.0, KELVIN, (0, 1000))
    # Whatever the temperature of the liquor, its pH is told as at 25 degC, where limits hold.
    assert found.rows[0].ph.typical == pytest.approx(fresh.ph_25, abs=0.01)
    assert found.rows[1].ph.typical == pytest.approx(
        liquor_in_equilibrium_with_air(fresh, JUDGED_AT_KELVIN, 420e-6).equilibrium.ph, abs=0.03
    )


def test_the_ph_only_falls_and_its_range_holds_the_typical_value(fresh, aged):
    for liquor in (fresh, aged):
        rows = exposure_to_air(liquor, 0.06, 10.0, KELVIN, DAYS).rows
        for before, after in pairwise(rows):
            assert after.ph.low <= before.ph.low
            assert after.ph.typical <= before.ph.typical
            assert after.ph.high <= before.ph.high


@pytest.mark.parametrize("ph", [13.0, 11.5, 10.0, 5.0])
def test_days_until_a_ph_are_those_of_the_whole_course(fresh, aged, ph):
    for liquor in (fresh, aged):
        course = exposure_to_air(liquor, 0.06, 10.0, KELVIN, ())
        assert days_in_air_until(liquor, ph, 0.06, 10.0, KELVIN) == course.days_until(ph)


def test_an_open_bucket_takes_days_to_weeks_not_hours_or_years(aged):
    soonest, typical, latest = exposure_to_air(aged, 0.06, 10.0, KELVIN, ()).days_until(10.0)
    assert 2 < soonest <= typical <= latest < 60


def test_half_the_depth_takes_half_the_time(fresh):
    deep = exposure_to_air(fresh, 0.06, 10.0, KELVIN, ()).days_until(11.5)
    shallow = exposure_to_air(fresh, 0.12, 10.0, KELVIN, ()).days_until(11.5)
    assert [2 * days for days in shallow] == pytest.approx(list(deep))


def test_a_cover_slows_the_fall_of_ph_and_a_tight_lid_stops_it(fresh):
    left_open = exposure_to_air(fresh, 0.06, 10.0, KELVIN, (7,))
    covered = exposure_to_air(fresh, 0.06, 10.0, KELVIN, (7,), is_covered=True)
    assert covered.rows[0].ph.typical > left_open.rows[0].ph.typical
    assert covered.rows[0].ph.high == pytest.approx(fresh.ph_25, abs=0.01)
    assert covered.days_until(11.5)[2] is None


def test_caustic_liquor_with_lime_precipitates_chalk_before_it_turns_mild(fresh):
    rows = exposure_to_air(fresh, 0.06, 10.0, KELVIN, (0, 7)).rows
    assert rows[1].alkalinity.typical < rows[0].alkalinity.typical
    assert fresh.equilibrium.dissolved["calcium"] > 1e-3


def test_a_neutralised_feed_releases_gas_and_its_ph_rises(aged):
    feed = acid_for(aged, acids()["vinegar"], 0.05, 7.0, KELVIN).feed
    rows = exposure_to_air(feed, 0.06, 10.0, KELVIN, (0, 1, 7, 60)).rows
    typical = [row.ph.typical for row in rows]
    assert typical == sorted(typical)
    assert typical[-1] > 8.5


def test_finer_steps_change_the_times_by_less_than_the_tolerance(fresh, monkeypatch):
    coarse = exposure_to_air(fresh, 0.06, 10.0, KELVIN, ()).days_until(11.5)
    monkeypatch.setattr(standing, "_STEPS", 192)
    fine = exposure_to_air(fresh, 0.06, 10.0, KELVIN, ()).days_until(11.5)
    assert list(coarse) == pytest.approx(list(fine), rel=0.02)


def test_lye_without_carbon_can_be_exposed_to_air():
    lye = Liquor(equilibrate({"potassium": 0.02}, KELVIN))
    row = exposure_to_air(lye, 0.06, 10.0, KELVIN, (365,)).rows[0]
    assert row.ph.typical < 9.6


@pytest.mark.parametrize(("surface", "litres", "days"), [(0.0, 1.0, (1,)), (1.0, -1.0, (1,)), (1.0, 1.0, (-1,))])
def test_an_impossible_vessel_or_day_is_refused(aged, surface, litres, days):
    with pytest.raises(ValueError, match=r"must be above 0|before the start"):
        exposure_to_air(aged, surface, litres, KELVIN, days)


def test_free_lime_turns_carbonate_into_hydroxide_until_the_carbonate_is_used_up():
    found = caustic_switch(ash_of("mixed", "fresh").typical(), 21.4, water_of_kind("rain"), KELVIN, 24)
    ph = [row[1] for row in found.rows]
    # Slaking takes up some water, which pH at 25 degC of what is dissolved leaves out: 0.00002 from step to step.
    assert all(after >= before - 5e-5 for before, after in pairwise(ph))
    assert found.rows[0][2] < 0.15  # carbonate alone makes a little hydroxide with water
    assert max(row[2] for row in found.rows) > 0.9
    assert 0.0 < found.corrosive_from < 0.1
    # Past the turn more lime changes nothing: saturated lime water holds no more.
    assert ph[-1] - ph[-5] < 0.001


def test_the_switch_needs_as_much_lime_as_there_is_carbonate():
    """Ca(OH)2 + K2CO3 -> CaCO3 + 2 KOH: mol of free lime for mol of carbonate, and the liquor is all hydroxide."""
    sample = ash_of("mixed", "fresh").typical()
    mol = sample.reachable_mol_per_kilogram()
    alkali_carbonate = (mol["potassium"] + mol["sodium"] - 2 * mol["sulfur"] - mol["chloride"]) / 2
    calcium = sample.grams_per_kilogram["calcium"] / 40.078
    found = caustic_switch(sample, 21.4, water_of_kind("rain"), KELVIN, 24)
    spent = next(row[0] for row in found.rows if row[2] > 0.9)
    assert spent == pytest.approx(alkali_carbonate / calcium, abs=0.026)


def test_hydroxide_share_of_aged_and_fresh_liquor(fresh, aged):
    assert hydroxide_share(aged) < 0.3 < 0.9 < hydroxide_share(fresh)
    assert hydroxide_share(Liquor(equilibrate({"chloride": 0.001}, KELVIN))) == 0.0


def test_a_closed_vessel_never_reaches_equilibrium_with_air(fresh):
    assert exposure_to_air(fresh, 0.06, 10.0, KELVIN, (), is_covered=True).slow[-1][0] == inf
