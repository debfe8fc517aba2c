"""Plan, verdict and readings as one argument: what was read is used where it can be, and limits hold at 25 degC."""

from __future__ import annotations

import pytest

from feedcalc.garden.ash import ash_of
from feedcalc.garden.feed_limits import strongest_parts
from feedcalc.garden.water import water_of_kind
from feedcalc.liquor.dilution import FEED_MINERALS, feed_at
from feedcalc.liquor.steeping import steep
from tests.asking import reply_to, values_of
from tests.chemistry.reference import reference_equilibrium

ANY = {"ash": {"kind": "mixed", "amount": "107 g"}, "water": {"kind": "rain", "amount": "5 L", "temperature": "20 °C"}}
FRESH = {"ash": {**ANY["ash"], "state": "fresh"}, "water": ANY["water"]}
GROUND = {"soil": {"ph": 6.0, "tested_with": "meter", "texture": "loam"}, "plant": "tomato", "season": "growing"}


@pytest.mark.parametrize(
    "measured",
    [
        {"ec": "3.6 mS/cm"},
        {"ec": "3.6 mS/cm", "ph": 11.0},
        {"ec": "7 mS/cm", "ph": 12.3},
        {"ec": "11 mS/cm", "ph": 12.6},
    ],
)
def test_ordinary_readings_fit_ash_of_unknown_state(measured):
    values = values_of(ANY, measured=measured)
    assert values["evidence"]["readings"] == [f"measured.{name}" for name in measured]
    assert values["suggestions"] == []


def test_a_weak_liquor_of_ash_said_to_be_fresh_is_taken_as_leached_and_said():
    reply = reply_to(FRESH, measured={"ec": "0.9 mS/cm"})
    (suggestion,) = reply["values"]["suggestions"]
    assert (suggestion["field"], suggestion["value"]) == ("ash.state", "leached")
    assert reply["read_as"]["ash.state"] == suggestion["because"]
    assert reply["values"]["evidence"]["readings"] == ["measured.ec"]
    assert reply["values"]["liquor"]["ec"]["value"] == pytest.approx(0.9, rel=0.15)


def test_a_liquor_hardly_stronger_than_tap_water_is_taken_as_leached_or_refused_with_its_causes():
    reply = reply_to(FRESH, measured={"ec": "0.6 mS/cm"})
    if reply["values"]["suggestions"]:
        assert reply["values"]["suggestions"][0]["value"] == "leached"
        return
    assert reply["values"]["evidence"]["readings"] == []
    assert "Likely causes" in " ".join(reply["warnings"])


@pytest.mark.parametrize(("read", "meant"), [("5 µS/cm", "5 mS/cm"), ("5000 mS/cm", "5 mS/cm"), ("5 mS/cm", "")])
def test_swapped_units_are_put_right_both_ways_and_said(read, meant):
    values, right = (values_of(ANY, measured={"ec": ec}) for ec in (read, "5 mS/cm"))
    said = {found["field"]: found["value"].replace("\u00a0", " ") for found in values["suggestions"]}
    assert said == ({"measured.ec": meant} if meant else {})
    assert values["liquor"]["potassium"] == right["liquor"]["potassium"]
    assert values["batch"]["parts_water"] == right["batch"]["parts_water"]


def test_a_strip_alone_makes_no_plan_stronger_and_a_meter_may():
    parts = {
        by: values_of(FRESH, measured={"ph": 12, "ph_by": by} if by else {})["batch"]["parts_water"]["value"]
        for by in ("", "strip", "meter")
    }
    assert parts["strip"] >= parts[""]
    assert parts["meter"] <= parts["strip"]


@pytest.mark.parametrize("colour", ["green-yellow", "green", "blue-green"])
def test_the_colour_of_cabbage_water_alone_makes_no_plan_stronger(colour):
    asked = {"ash": FRESH["ash"], "water": FRESH["water"], "place": "pot"}
    unread = values_of(asked)["batch"]["parts_water"]["value"]
    assert values_of(asked, measured={"colour": colour})["batch"]["parts_water"]["value"] >= unread


@pytest.mark.parametrize("stage", ["seedling", "young", "established"])
def test_no_reading_makes_a_plan_stronger_than_the_floor_of_the_stage(stage):
    values = values_of(ANY, stage=stage, measured={"ec": "0.6 mS/cm"})
    assert values["batch"]["parts_water"]["value"] >= strongest_parts(stage)


@pytest.mark.parametrize("state", ["fresh", "aged"])
@pytest.mark.parametrize("celsius", [12.0, 25.0])
def test_the_ph_of_a_feed_agrees_with_an_independent_solver_at_two_temperatures(state, celsius):
    rain, kelvin = water_of_kind("rain"), celsius + 273.15
    liquor = steep(ash_of("mixed", state).typical(), 21.4, rain, 298.15, 24.0).liquor
    feed = feed_at(liquor, 9.0, rain, 298.15).liquor
    shown = feed_at(liquor, 9.0, rain, kelvin).liquor
    for found, at in ((feed.equilibrium, 298.15), (shown.equilibrium, kelvin)):
        expected = reference_equilibrium(found.totals, at, FEED_MINERALS, constants="chosen")
        assert found.ph == pytest.approx(expected.ph, abs=0.01)
    # The meter shows more in the cold; what a limit looks at hardly moves.
    assert shown.ph_25 == pytest.approx(feed.equilibrium.ph, abs=0.02)
    if celsius < 25:
        assert shown.equilibrium.ph > feed.equilibrium.ph + 0.2


@pytest.mark.parametrize("state", ["fresh", "aged", "leached", "unknown"])
def test_the_verdict_on_a_batch_does_not_depend_on_its_temperature(state):
    told = []
    for celsius in (8, 12, 20, 28):
        water = {"kind": "rain", "amount": "5 L", "temperature": f"{celsius} °C"}
        values = values_of(GROUND, ash={**ANY["ash"], "state": state}, water=water, dilution="1:9")
        told.append((values["verdict"], {reason["id"] for reason in values["reasons"]}))
    assert all(one == told[0] for one in told), told


def poured_and_made(values):
    """The litres of liquor that go into the cans, and those that pour off."""
    batch = values["batch"]
    poured = sum(can["count"]["value"] * can["liquor"]["value"] for can in batch["cans"])
    return poured, batch["liquor_volume"]["value"]


@pytest.mark.parametrize("dilution", [{}, {"dilution": "1:3"}], ids=["our dilution", "dilution given"])
@pytest.mark.parametrize("cans", [{}, {"cans": [{"size": "10 L", "count": 2}]}], ids=["no cans", "two cans"])
@pytest.mark.parametrize("litres", [0.5, 1, 4.9, 5, 5.5, 20])
def test_no_plan_pours_more_than_pours_off(litres, cans, dilution):
    asked = {"ash": {"state": "aged"}, "water": {"amount": f"{litres} L"}}
    reply = reply_to(asked, cans, dilution)
    poured, made = poured_and_made(reply["values"])
    assert 0 < poured <= made * (1 + 1e-5)
    filled = sum(can["count"]["value"] * can["size"]["value"] for can in reply["values"]["batch"]["cans"])
    if cans and filled < 20:
        assert any("clear liquor" in warning for warning in reply["warnings"])
    elif cans and not dilution and reply["values"]["batch"]["parts_water"]["value"] > strongest_parts("established"):
        assert any("limits would allow" in warning for warning in reply["warnings"])


def test_cans_are_filled_as_far_as_the_liquor_goes():
    asked = {"ash": {"state": "aged", "amount": "1 us_cup"}, "water": {"amount": "5 L"}, "dilution": "1:3"}
    batch = values_of(asked, cans=[{"size": "10 L", "count": 2}])["batch"]
    (whole, part) = batch["cans"]
    assert (whole["size"]["value"], whole["count"]["value"]) == (10, 1)
    assert part["size"]["value"] == pytest.approx(4 * part["liquor"]["value"], rel=0.01)
    assert 0 < part["size"]["value"] < 10


@pytest.mark.parametrize("stage", ["seedling", "young", "established"])
@pytest.mark.parametrize("can", ["0.25 L", "1 L", "9 L"])
@pytest.mark.parametrize("ash", ["1 us_cup", "1 kg"])
def test_more_ash_than_the_cans_need_is_steeped_as_usual_and_what_is_left_is_told(ash, can, stage):
    reply = reply_to(ash={"state": "fresh", "amount": ash}, cans=[{"size": can, "count": 1}], stage=stage, place="pot")
    assert reply["ok"], reply["errors"]
    batch = reply["values"]["batch"]
    assert batch["ash_mass"]["value"] / batch["water_volume"]["value"] < 25
    assert reply["values"]["verdict"] == "go"
    poured, made = poured_and_made(reply["values"])
    assert (made > 2 * poured) == any("of the ash is enough" in warning for warning in reply["warnings"])


def test_readings_fill_the_cans_that_were_asked_for_not_those_of_the_plan_without_them():
    asked = {"ash": {"state": "aged", "amount": "1 us_cup"}, "water": {"amount": "5 L"}}
    cans = [{"size": "10 L", "count": 5}]
    unread, read = (reply_to(asked, more, cans=cans) for more in ({}, {"measured": {"ec": "9 mS/cm"}}))
    assert sum(can["size"]["value"] * can["count"]["value"] for can in unread["values"]["batch"]["cans"]) < 50
    (can,) = read["values"]["batch"]["cans"]
    assert can["count"]["value"] == 5
    assert not any("of the 5 cans" in warning for warning in read["warnings"])


def test_a_feed_that_would_lift_the_soil_past_ph_7_is_to_be_spread_over_more_ground():
    ground = {
        "soil": {"ph": 6.8, "tested_with": "laboratory", "texture": "sand", "area": "0.02 m^2"},
        "plant": "tomato",
    }
    values = values_of(ground, cans=[{"size": "100 L", "count": 3}])
    assert values["verdict"] == "go weaker"
    (way,) = values["ways"]
    assert way["id"] == "spread"
    litres = way["litres_per_square_metre"]["value"]
    ground["soil"]["area"] = f"{300 / litres} m^2"
    assert values_of(ground, cans=[{"size": "100 L", "count": 3}])["verdict"] == "go"


@pytest.mark.parametrize(
    ("can", "ash", "water", "stage", "place", "dilution"),
    [
        ("9 L", {"kind": "hardwood", "state": "aged"}, "rain", "seedling", "raised bed", "1:4"),
        ("0.5 L", {"kind": "mixed", "state": "aged"}, "medium", "established", "pot", "1:1"),
        ("1 L", {"kind": "bark", "state": "fresh"}, "hard", "young", "pot", "1:1"),
        ("1 L", {"kind": "mixed", "state": "fresh"}, "soft", "seedling", "plug tray", "1:4"),
    ],
)
@pytest.mark.parametrize("plant", ["tomato", "blackberry", "something nobody lists"])
def test_who_takes_the_dilution_that_is_offered_is_not_told_to_go_weaker_again(
    can, ash, water, stage, place, dilution, plant
):
    asked = {"ash": ash, "water": {"kind": water}, "stage": stage, "place": place, "plant": plant}
    asked |= {"cans": [{"size": can, "count": 2}], "soil": {"ph": 5.6, "tested_with": "meter"}}
    values = values_of(asked, dilution=dilution)
    assert values["verdict"] == "go weaker"
    (way,) = (way for way in values["ways"] if way["id"] == "dilute")
    assert values_of(asked, dilution=f"1:{way['parts_water']['value']:g}")["verdict"] == "go"
