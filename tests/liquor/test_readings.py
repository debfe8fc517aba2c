"""Readings through the door: they narrow the ranges, or are named and left out."""

from __future__ import annotations

import json

import pytest

from feedcalc.engine import calculate_markdown
from tests.asking import WEIGHED, faults, reply_to, values_of

FRESH = {**WEIGHED, "ash": {**WEIGHED["ash"], "state": "fresh"}}


def width(figure) -> float:
    return figure["high"] / figure["low"]


def test_a_conductivity_and_a_ph_narrow_potassium_alkalinity_and_ph():
    before = values_of(WEIGHED, ranges="on")["liquor"]
    after = values_of(WEIGHED, measured={"ec": "3.5 mS/cm", "ph": 11.6, "temperature": "20 °C"}, ranges="on")
    # Aged ash may hold some free lime, which conducts as potash does, so potassium narrows less than conductivity.
    for name, share in (("potassium", 0.6), ("alkalinity", 0.8), ("ec", 0.6)):
        assert width(after["liquor"][name]) < share * width(before[name]), name
    assert after["liquor"]["ph"]["high"] - after["liquor"]["ph"]["low"] < before["ph"]["high"] - before["ph"]["low"]
    assert after["liquor"]["ec"]["value"] == pytest.approx(3.5, rel=0.12)
    assert after["liquor"]["ph"]["value"] == pytest.approx(11.6, abs=0.3)
    assert after["evidence"]["readings"] == ["measured.ec", "measured.ph"]
    assert after["evidence"]["effective_samples"]["value"] > 20


def test_a_higher_reading_means_more_potassium_in_every_can():
    low, high = (values_of(WEIGHED, measured={"ec": text}, ranges="on") for text in ("2 mS/cm", "5 mS/cm"))
    assert low["liquor"]["potassium"]["high"] < high["liquor"]["potassium"]["value"]
    assert low["delivered"]["per_can"]["potassium"]["value"] < high["delivered"]["per_can"]["potassium"]["value"]


def test_the_answer_without_ranges_follows_the_reading_too():
    quick = values_of(WEIGHED, measured={"ec": "5 mS/cm"})["liquor"]
    full = values_of(WEIGHED, measured={"ec": "5 mS/cm"}, ranges="on")["liquor"]
    assert quick["ec"]["value"] == pytest.approx(5.0, rel=0.1)
    assert full["potassium"]["low"] <= quick["potassium"]["value"] <= full["potassium"]["high"]


def test_the_feed_may_be_read_instead_of_the_liquor():
    feed = values_of(WEIGHED, measured={"ec": "0.45 mS/cm", "of": "feed"}, ranges="on")
    chosen = next(row for row in feed["ladder"] if row["chosen"])
    assert chosen["ec"]["value"] == pytest.approx(0.45, rel=0.12)


def test_vinegar_narrows_alkalinity():
    before = values_of(FRESH, ranges="on")["liquor"]["alkalinity"]
    after = values_of(FRESH, measured={"acid_drops": "3 mL"}, ranges="on")["liquor"]["alkalinity"]
    assert width(after) < 0.5 * width(before)


def test_weighings_narrow_what_a_cup_gives():
    cup = {**WEIGHED, "ash": {"kind": "mixed", "amount": "1 us_cup"}}
    before = values_of(cup, ranges="on")["batch"]["ash_mass"]
    weighed = {"weighings": ["96 g", "101 g", "99 g"], "weighed_measure": "1 us_cup"}
    after = values_of(cup, ash=weighed, ranges="on")["batch"]["ash_mass"]
    assert after["value"] == pytest.approx(296 / 3, rel=0.01)
    assert after["high"] - after["low"] < 0.5 * (before["high"] - before["low"])


@pytest.mark.parametrize(("ec", "cause"), [("80 mS/cm", "sludge"), ("200 µS/cm", "plain water")])
@pytest.mark.parametrize("ranges", ["on", "off"])
def test_a_reading_that_no_ash_explains_is_named_and_changes_no_figure(ec, cause, ranges):
    reply = reply_to(WEIGHED, measured={"ec": ec}, ranges=ranges)
    told = " ".join(reply["warnings"])
    assert "likely ash" in told
    assert cause in told
    assert reply["values"]["liquor"] == values_of(WEIGHED, ranges=ranges)["liquor"]
    assert reply["values"]["evidence"]["readings"] == []


def test_readings_that_contradict_each_other_are_named_together():
    reply = reply_to(FRESH, measured={"ec": "4.8 mS/cm", "ph": 13, "ph_width": 0.05}, ranges="on")
    assert "together" in " ".join(reply["warnings"])


def test_a_clear_line_determines_the_settling_time():
    slow, quick = (
        values_of(WEIGHED, measured={"clear_depth": depth, "clear_after": "2 h"})["batch"]["settle_time"]["value"]
        for depth in ("1 cm", "8 cm")
    )
    assert slow == pytest.approx(8 * quick, rel=0.03)


def test_the_grains_that_still_cloud_are_named_only_where_a_clear_line_was_seen():
    seen = values_of(WEIGHED, measured={"clear_depth": "8 cm", "clear_after": "2 h"})
    assert 1 < seen["settling"]["clouding_diameter"]["value"] < 10
    assert "clouding_diameter" not in values_of(WEIGHED)["settling"]
    # The sheet prints one time to wait; what it rests on is said where settling is explained.
    asked = {"schema": 1, "ranges": "off", **WEIGHED, "measured": {"clear_depth": "8 cm", "clear_after": "2 h"}}
    assert "how deep you saw it clear" in calculate_markdown(json.dumps(asked), "settle")[1]


def test_the_sheet_suggests_the_most_useful_measurement_that_is_still_missing():
    by_cup = {**WEIGHED, "ash": {"kind": "mixed", "state": "fresh", "amount": "1 us_cup"}}
    before = reply_to(by_cup, ranges="on")["html"]["trust"]
    after = reply_to(by_cup, ash={"weighings": "98 g; 101 g", "weighed_measure": "1 us_cup"}, ranges="on")["html"][
        "trust"
    ]
    assert "weigh the ash" in before
    assert "weigh the ash" not in after


def test_without_readings_the_unknowns_that_matter_are_ranked():
    matters = values_of(WEIGHED, ranges="on")["evidence"]["matters"]
    assert matters[0]["unknown"] in ("content.potassium", "free_lime")
    shares = [max(row["potassium"], row["ph"], row["lime_value"]) for row in matters]
    assert shares == sorted(shares, reverse=True)
    assert all(0 <= share <= 1 for share in shares)


def test_where_the_ash_is_taken_by_the_cup_its_weight_matters_for_potassium():
    by_cup = {**WEIGHED, "ash": {"kind": "mixed", "state": "aged", "amount": "1 us_cup"}}
    found = {row["unknown"]: row["potassium"] for row in values_of(by_cup, ranges="on")["evidence"]["matters"]}
    weighed = {row["unknown"]: row["potassium"] for row in values_of(WEIGHED, ranges="on")["evidence"]["matters"]}
    assert found["density"] > weighed["density"] + 0.05


@pytest.mark.parametrize("of", ["liquor", "feed"])
def test_a_high_ph_reading_warns_even_where_it_is_rejected(of):
    read = {"ph": 13.9, "ph_width": 0.05, "of": of}
    weak = {**WEIGHED, "ash": {"kind": "bark", "state": "aged", "amount": "5 g"}}
    assert "<strong>corrosive<" not in reply_to(weak, ranges="on")["html"]["bench"]
    reply = reply_to(weak, measured=read, ranges="on")
    assert reply["values"]["evidence"]["readings"] == []
    assert "<strong>corrosive<" in reply["html"]["bench"]


def test_a_clear_line_without_its_time_is_refused():
    assert set(faults(WEIGHED, measured={"clear_depth": "5 cm"})) == {"measured.clear_after"}


def test_impossible_weighings_are_refused():
    assert "ash.weighings" in faults(WEIGHED, ash={"weighings": ["one cup"]})
    assert "ash.weighings" in faults(WEIGHED, ash={"weighings": 5})
    assert "ash.weighings" in faults(WEIGHED, ash={"weighings": ["2 g"]})


def test_the_sheet_may_still_suggest_a_reading_that_was_rejected():
    refused = reply_to(WEIGHED, measured={"ec": "80 mS/cm"}, ranges="on")["html"]["trust"]
    used = reply_to(WEIGHED, measured={"ec": "4.2 mS/cm"}, ranges="on")["html"]["trust"]
    assert "s conductivity</strong>" in refused
    assert "s conductivity</strong>" not in used


@pytest.mark.parametrize("of", ["liquor", "feed"])
def test_a_rejected_low_ph_relaxes_no_verdict(of):
    ground = {"soil": {"ph": 6.0, "tested_with": "meter", "texture": "loam"}, "plant": "tomato", "season": "growing"}
    read = {"ph": 7, "of": of}
    reply = reply_to(FRESH, ground, use="foliar", measured=read, ranges="on")
    assert reply["values"]["evidence"]["readings"] == []
    assert reply["values"]["verdict"] == "go weaker"
    # At 25 degC the typical feed stays below the pH of lye, that of a strong ash does not.
    assert {"foliar_doubted", "feed_may_be_caustic"} <= {reason["id"] for reason in reply["values"]["reasons"]}


def test_after_a_reading_the_ranking_is_of_the_remaining_uncertainty():
    # A conductivity may come of potash or of caustic lime: once it is read, how caustic the lime is bears on potassium.
    by_cup = {**FRESH, "ash": {"kind": "mixed", "state": "fresh", "amount": "1 us_cup"}}
    before, after = (
        {row["unknown"]: row["potassium"] for row in values_of(by_cup, **read, ranges="on")["evidence"]["matters"]}
        for read in ({}, {"measured": {"ec": "7 mS/cm"}})
    )
    assert before["free_lime"] < 0.1 < after["free_lime"]
    assert after["density"] < before["density"]
