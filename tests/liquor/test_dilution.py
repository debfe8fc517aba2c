"""The ladder: each rung is real chemistry with the water it is made with, and advice keeps to published limits."""

from __future__ import annotations

import pytest

from feedcalc import published
from feedcalc.chemistry import equilibrate
from feedcalc.garden.ash import ash_of
from feedcalc.garden.feed_limits import limits_for, strongest_parts
from feedcalc.garden.water import water_of_kind, water_of_report
from feedcalc.liquor.dilution import FEED_MINERALS, Feed, feed_at, is_within, ladder_rungs, parts_within, strength_of
from feedcalc.liquor.steeping import Liquor, steep
from tests.asking import WEIGHED, reply_to, rung, values_of

KELVIN = 293.15
RAIN, HARD = water_of_kind("rain"), water_of_kind("hard")
PURE = water_of_report("rain", {"hardness": 0.0, "alkalinity": 0.0, "ph": 7.0})
AGED = steep(ash_of("mixed", "aged").typical(), 21.4, RAIN, KELVIN, 24.0).liquor
FRESH = steep(ash_of("mixed", "fresh").typical(), 21.4, RAIN, KELVIN, 24.0).liquor
LIQUORS = pytest.mark.parametrize("liquor", [AGED, FRESH], ids=["aged", "fresh"])
STAGES = ("seedling", "young", "established")


def test_undiluted_is_the_liquor_itself():
    assert feed_at(AGED, 0.0, HARD, KELVIN).liquor is AGED


@LIQUORS
@pytest.mark.parametrize("parts", [1, 3, 10, 20])
def test_potassium_is_diluted_by_volume(liquor, parts):
    feed = feed_at(liquor, parts, PURE, KELVIN).liquor
    expected = liquor.milligrams_per_litre("potassium") / (1 + parts)
    # Volumes of liquor and water add up to within a per mille at these strengths.
    assert feed.milligrams_per_litre("potassium") == pytest.approx(expected, rel=2e-3)


@LIQUORS
@pytest.mark.parametrize("parts", [1, 3, 10])
def test_the_calcium_of_hard_water_stays_dissolved_or_becomes_haze(liquor, parts):
    feed = feed_at(liquor, parts, HARD, KELVIN)
    share = parts / (1 + parts)
    brought = liquor.milligrams_per_litre("calcium") / (1 + parts) + HARD.totals["calcium"] * 40078 * share
    fell_out = feed.liquor.equilibrium.formed["calcite"] / feed.liquor.equilibrium.litres * 40078
    assert feed.liquor.milligrams_per_litre("calcium") + fell_out == pytest.approx(brought, rel=5e-3)


@LIQUORS
@pytest.mark.parametrize("parts", [1, 3, 5, 10, 20])
def test_hard_water_gives_a_lower_ph_than_rain_and_precipitates_lime(liquor, parts):
    with_rain, with_hard = feed_at(liquor, parts, RAIN, KELVIN), feed_at(liquor, parts, HARD, KELVIN)
    assert with_hard.liquor.equilibrium.ph < with_rain.liquor.equilibrium.ph
    assert with_hard.lime_haze > 10
    assert with_hard.lime_haze > with_rain.lime_haze


@LIQUORS
def test_lime_that_precipitates_removes_its_alkalinity(liquor):
    feed = feed_at(liquor, 5, HARD, KELVIN)
    mixed = (liquor.alkalinity + 5 * HARD.alkalinity) / 6
    calcite = feed.liquor.equilibrium.formed["calcite"] / feed.liquor.equilibrium.litres * 100_090
    brucite = feed.liquor.equilibrium.formed["brucite"] / feed.liquor.equilibrium.litres * 100_090
    assert feed.liquor.alkalinity == pytest.approx(mixed - calcite - brucite, abs=3e-3 * mixed)


def test_the_starting_point_of_the_search_changes_no_result():
    near = feed_at(FRESH, 3, HARD, KELVIN).liquor.equilibrium
    alone, helped = feed_at(AGED, 3, HARD, KELVIN), feed_at(AGED, 3, HARD, KELVIN, near)
    assert helped.liquor.equilibrium.ph == pytest.approx(alone.liquor.equilibrium.ph, abs=1e-6)
    assert helped.lime_haze == pytest.approx(alone.lime_haze, rel=1e-5)


# -- how far to go ------------------------------------------------------------------------------------------------


def test_the_usual_rungs_are_those_that_growers_use():
    assert ladder_rungs() == (1, 3, 5, 7, 10, 15, 20)


def test_the_strictest_published_limit_of_a_stage_counts():
    alkalinity, conductivity, potassium = limits_for("seedling")
    # Plugs: 0.75 to 1.25 meq/L, 40 to 60 mg/L (Currey, seen).
    assert (alkalinity.high, alkalinity.unit) == (60.0, "mg/L CaCO3")
    # Water for seedlings below 0.75 mS/cm (Dole, seen); dilute complete feeds hold 100 mg/L at most (judgement).
    assert (conductivity.high, conductivity.unit) == (0.75, "mS/cm")
    assert (potassium.high, potassium.unit) == (100.0, "mg/L")


def test_limits_of_containers_bind_in_pots_and_trays_only():
    ground, pot, tray = (limits_for("established", place) for place in ("open ground", "pot", "plug tray"))
    for in_ground, in_pot, in_tray in zip(ground, pot, tray, strict=True):
        assert in_ground.high >= in_pot.high >= in_tray.high
    assert ground[0].high > pot[0].high
    assert limits_for("established", "plug tray") == limits_for("seedling")
    assert limits_for("seedling", "open ground")[0].high > limits_for("seedling")[0].high


def parts_needed(limits, liquor, water):
    """The parts of water by the ladder of this liquor in this water."""
    ladder = [Feed(0.0, liquor, 0.0), *(feed_at(liquor, parts, water, KELVIN) for parts in ladder_rungs())]
    alone = strength_of(Liquor(equilibrate(water.totals, KELVIN, FEED_MINERALS)))
    return parts_within(limits, ladder, alone)


def test_parts_of_water_follow_from_the_mixing_line():
    alkalinity = limits_for("seedling")[:1]
    # 670 mg/L down to 60 with water of 0: 670 / 60 = 11.2 volumes, so 10.2 parts of water, rounded up.
    alkaline = Liquor(equilibrate({"potassium": 0.01340, "carbon": 0.0067}, KELVIN))
    assert alkaline.alkalinity == pytest.approx(669, abs=3)
    assert parts_needed(alkalinity, alkaline, PURE) == 11


def test_no_water_is_needed_where_the_liquor_is_weak_enough():
    weak = Liquor(equilibrate({"potassium": 0.0005, "carbon": 0.0004}, KELVIN))
    assert parts_needed(limits_for("established"), weak, PURE) == 0


def test_water_above_the_limit_itself_can_dilute_nothing():
    assert parts_needed(limits_for("seedling"), AGED, HARD) == float("inf")


@LIQUORS
@pytest.mark.parametrize("stage", STAGES)
def test_every_limit_is_met_at_the_parts_found_and_one_is_not_with_a_part_less(liquor, stage):
    limits = limits_for(stage)
    parts = parts_needed(limits, liquor, PURE)
    assert is_within(limits, feed_at(liquor, parts, PURE, KELVIN).liquor)
    assert not is_within(limits, feed_at(liquor, parts - 1, PURE, KELVIN).liquor)


@LIQUORS
def test_the_limit_of_potassium_alone_asks_for_its_share_of_water(liquor):
    potassium = limits_for("seedling")[2:]
    # Potassium is diluted by volume, so the volumes are the quotient of concentration and limit, rounded up.
    volumes = liquor.milligrams_per_litre("potassium") / potassium[0].high
    assert parts_needed(potassium, liquor, PURE) == pytest.approx(volumes - 0.5, abs=0.51)


@pytest.mark.parametrize("state", ["fresh", "aged"])
@pytest.mark.parametrize("water", ["rain", "soft", "medium", "hard"])
@pytest.mark.parametrize("stage", STAGES)
def test_feed_at_the_recommended_dilution_meets_its_limits(stage, water, state):
    asked = WEIGHED | {"ash": WEIGHED["ash"] | {"state": state}, "dilution_water": {"kind": water}}
    advice = values_of(asked)["recommended"][stage]
    if advice is None:
        assert water in ("medium", "hard")
        return
    parts = advice["parts_water"]["value"]
    row = rung(values_of(asked, dilution=f"1:{parts:g}"), parts)
    for limit in advice["limits"]:
        assert row[limit["quantity"]]["value"] <= limit["at_most"] * 1.0005, limit
    assert stage in row["within_limits_for"]


@pytest.mark.parametrize("stage", STAGES)
def test_one_part_less_of_plain_water_would_exceed_the_limits(stage):
    pure = {"analysis": {"hardness": "0 mg/L", "alkalinity": "0 mg/L", "ph": 7}}
    parts = values_of(WEIGHED, dilution_water=pure)["recommended"][stage]["parts_water"]["value"]
    row = rung(values_of(WEIGHED, dilution_water=pure, dilution=f"1:{parts - 1:g}"), parts - 1)
    assert stage not in row["within_limits_for"]


def test_weaker_feed_is_recommended_for_tender_plants():
    advice = values_of(WEIGHED)["recommended"]
    parts = [advice[stage]["parts_water"]["value"] for stage in STAGES]
    assert parts == sorted(parts, reverse=True)


def test_the_practice_for_seedlings_is_several_times_too_strong_for_plugs():
    row = rung(values_of(WEIGHED), 3)
    assert "seedling" not in row["within_limits_for"]
    plug = next(row for row in published.table("feed_limits") if row["id"] == "alkalinity_plug")
    assert row["alkalinity"]["value"] > 2 * float(plug["high"])


def test_the_reply_says_that_no_dilution_meets_the_limits_and_suggests_rainwater():
    reply = reply_to(WEIGHED, dilution_water={"kind": "very_hard"}, stage="seedling", dilution="")
    assert reply["values"]["recommended"]["seedling"] is None
    assert any("No dilution" in warning and "rainwater" in warning for warning in reply["warnings"])


def test_a_missing_dilution_becomes_the_recommended_one_for_the_stage():
    for stage in STAGES:
        values = values_of(WEIGHED, dilution="", stage=stage)
        recommended = values["recommended"][stage]["parts_water"]["value"]
        assert values["batch"]["parts_water"]["value"] == max(recommended, strongest_parts(stage))


def test_liquor_and_water_of_every_rung_fill_the_can():
    for row in values_of(WEIGHED, cans=[{"size": "7 L", "count": 1}])["ladder"]:
        assert row["liquor_per_can"]["value"] + row["water_per_can"]["value"] == pytest.approx(7.0)
