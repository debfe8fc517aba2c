"""Lime haze in a can: how much, and what it clogs."""

from __future__ import annotations

import pytest

from feedcalc import published
from feedcalc.chemistry import equilibrate
from feedcalc.garden.ash import ash_of
from feedcalc.garden.water import water_of_kind
from feedcalc.liquor.dilution import Feed, feed_at
from feedcalc.liquor.haze import HELD_BACK, MAY_CLOG, PASSES, haze_in_can
from feedcalc.liquor.steeping import Liquor, steep

KELVIN = 288.15


@pytest.fixture(scope="module")
def liquor() -> Liquor:
    return steep(ash_of("mixed", "aged").typical(), 21.4, water_of_kind("rain"), KELVIN, 24).liquor


def feed_with(haze: float) -> Feed:
    return Feed(7.0, Liquor(equilibrate({"potassium": 0.002, "carbon": 0.001}, KELVIN)), haze)


def test_a_can_holds_haze_in_proportion_to_its_size(liquor):
    feed = feed_at(liquor, 7, water_of_kind("hard"), KELVIN)
    small, large = haze_in_can(feed, 5.0, KELVIN), haze_in_can(feed, 10.0, KELVIN)
    assert small.grams_per_can > 0.1
    assert large.grams_per_can == pytest.approx(2 * small.grams_per_can)


def test_haze_is_no_more_than_the_hard_water_brought(liquor):
    water = water_of_kind("hard")
    feed = feed_at(liquor, 7, water, KELVIN)
    brought = water.totals["calcium"] * 100.09 * 1000 * 7 / 8
    assert haze_in_can(feed, 1.0, KELVIN).milligrams_per_litre < brought * 1.05


def test_rainwater_gives_no_haze_and_clogs_nothing(liquor):
    found = haze_in_can(feed_at(liquor, 7, water_of_kind("rain"), KELVIN), 9.0, KELVIN)
    assert not found.is_visible
    assert {risk.risk for risk in found.risks} == {PASSES}
    assert {risk.filter_first for risk in found.risks} == {""}


def test_fine_openings_clog_before_coarse_ones():
    order = [PASSES, MAY_CLOG, HELD_BACK]
    risks = sorted(haze_in_can(feed_with(150.0), 9.0, KELVIN).risks, key=lambda risk: risk.opening_micrometres.typical)
    ranks = [order.index(risk.risk) for risk in risks]
    assert ranks == sorted(ranks, reverse=True)
    assert ranks[0] == 2
    assert ranks[-1] == 0


def test_the_suggested_filter_is_a_standard_sieve_finer_than_the_opening_by_the_rule():
    sieves = {row["name"]: float(row["micrometre"]) for row in published.table("grain_sizes") if row["kind"] == "sieve"}
    for risk in haze_in_can(feed_with(150.0), 9.0, KELVIN).risks:
        if risk.risk != PASSES:
            assert sieves[risk.filter_first] == risk.filter_micrometres
            finest = min(sieves.values())
            assert risk.filter_micrometres <= max(risk.opening_micrometres.low / 7, finest)


def test_crystals_sink_in_hours_to_days():
    """5 micrometre calcite in 25 cm of water at 15 degC by Stokes: 9.81 * 1711 * 25e-12 / (18 * 1.138e-3) m/s."""
    found = haze_in_can(feed_with(150.0), 9.0, KELVIN)
    by_hand = 0.25 / (9.81 * 1711 * 25e-12 / (18 * 1.138e-3)) / 3600
    assert found.hours_to_sink.typical == pytest.approx(by_hand, rel=0.01)
    assert found.hours_to_sink.low < 1 < 48 < found.hours_to_sink.high


@pytest.mark.parametrize(("litres", "depth"), [(0.0, 0.2), (9.0, 0.0)])
def test_an_impossible_can_or_depth_is_refused(litres, depth):
    with pytest.raises(ValueError, match="above zero"):
        haze_in_can(feed_with(10.0), litres, KELVIN, depth)
