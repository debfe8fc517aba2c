"""Readings with what a kitchen holds: vinegar with turmeric, and the colour of red cabbage water."""

from __future__ import annotations

import csv
import io
import json

import pytest

from feedcalc import published
from feedcalc.engine import calculate_markdown
from feedcalc.liquor.instruments import end_point, reading_rule
from feedcalc.liquor.next_readings import narrowing
from tests.asking import WEIGHED, faults, reply_to, sheet_of_text, values_of

UNKNOWN = {**WEIGHED, "ash": {**WEIGHED["ash"], "state": "unknown"}}
# Red cabbage by pH, University of Washington lecture demonstrations: blue 8, blue-green 9, green 10, green-yellow 11.
CABBAGE = "colour,ph\nblue,8\nblue-green,9\ngreen,10\ngreen-yellow,11\n"


def width(figure) -> float:
    return figure["high"] / figure["low"]


def test_turmeric_turns_yellow_around_the_published_dissociation_constants():
    row = next(row for row in published.table("indicators") if row["indicator"] == "turmeric")
    low, high = float(row["ph"]) - 2 * float(row["width"]), float(row["ph"]) + 2 * float(row["width"])
    assert low < 7.43 < 8.38 < high


@pytest.mark.parametrize("printed", list(csv.DictReader(io.StringIO(CABBAGE))), ids=lambda row: row["colour"])
def test_a_colour_of_cabbage_water_stands_for_the_published_ph(printed):
    rows = [row for row in published.table("indicators") if row["role"] == "colour"]
    assert {row["colour"]: float(row["ph"]) for row in rows}[printed["colour"]] == float(printed["ph"])


@pytest.mark.parametrize("indicator", ["turmeric", "red cabbage", "strip"])
def test_a_titration_with_an_indicator_narrows_lime_value(indicator):
    before = values_of(UNKNOWN, ranges="on")["liquor"]["alkalinity"]
    after = values_of(UNKNOWN, measured={"acid_drops": "1.5 mL", "acid_by": indicator}, ranges="on")
    assert after["evidence"]["readings"] == ["measured.acid_drops"]
    assert width(after["liquor"]["alkalinity"]) < 0.6 * width(before)


def test_the_same_vinegar_means_more_alkalinity_where_the_colour_changes_at_a_higher_ph():
    by = {
        indicator: values_of(WEIGHED, measured={"acid_drops": "1.2 mL", "acid_by": indicator})["liquor"]["alkalinity"]
        for indicator in ("red cabbage", "turmeric", "strip")
    }
    assert by["red cabbage"]["value"] > by["turmeric"]["value"] > by["strip"]["value"]


def test_a_ph_that_is_given_for_the_colour_change_counts_before_the_indicator():
    given = {"acid_drops": "1.2 mL", "acid_end": 6}
    with_indicator = values_of(WEIGHED, measured={**given, "acid_by": "turmeric"})["liquor"]
    assert with_indicator == values_of(WEIGHED, measured=given)["liquor"]


def test_without_an_indicator_the_end_point_is_that_of_a_strip():
    class Nothing:
        def number(self, path):
            return None

        def word(self, path):
            return ""

    assert end_point(Nothing()) == (reading_rule("end_point"), 0.0)


def test_a_colour_of_cabbage_water_narrows_the_ph():
    before = values_of(UNKNOWN, ranges="on")["liquor"]["ph"]
    after = values_of(UNKNOWN, measured={"colour": "green-yellow"}, ranges="on")
    assert after["evidence"]["readings"] == ["measured.colour"]
    assert after["liquor"]["ph"]["value"] < before["value"]
    assert after["liquor"]["ph"]["high"] - after["liquor"]["ph"]["low"] < before["high"] - before["low"]


def test_a_colour_that_no_ash_gives_is_named_and_changes_no_figure():
    reply = reply_to(WEIGHED, measured={"colour": "purple"}, ranges="on")
    assert "cabbage water" in " ".join(reply["warnings"])
    assert "vinegar left in the cup" in " ".join(reply["warnings"])
    assert reply["values"]["liquor"] == values_of(WEIGHED, ranges="on")["liquor"]


def test_an_unknown_colour_or_indicator_is_refused_with_the_choices():
    found = faults(measured={"colour": "pink", "acid_by": "beetroot"})
    assert "green-yellow" in found["measured.colour"]["accepted"]
    assert "turmeric" in found["measured.acid_by"]["accepted"]


def test_the_kitchen_assay_is_ranked_with_the_other_readings():
    readings = values_of(WEIGHED, ranges="on")["assay"]["readings"]
    shares = {tuple(reading["fields"]): reading for reading in readings}
    assert shares["measured.acid_drops",]["lime_value"] > shares["measured.ph",]["lime_value"]
    assert shares["measured.ec",]["potassium"] > shares["measured.acid_drops",]["potassium"] > 0
    assert [reading["potassium"] for reading in readings] == sorted(
        (reading["potassium"] for reading in readings), reverse=True
    )


def test_a_reading_that_was_taken_is_not_advised_again():
    assay = values_of(WEIGHED, measured={"acid_drops": "1 mL", "acid_by": "turmeric"}, ranges="on")["assay"]
    assert assay["kitchen"] == ""
    assert all("measured.acid_drops" not in reading["fields"] for reading in assay["readings"])


def test_two_readings_narrow_at_least_as_much_as_the_better_one():
    one, other = [float(x) for x in range(50)], [float(x * x % 17) for x in range(50)]
    figure = [a + 3 * b for a, b in zip(one, other, strict=True)]
    alone = max(narrowing([(one, 1.0)], figure), narrowing([(other, 1.0)], figure))
    assert 1 >= narrowing([(one, 1.0), (other, 1.0)], figure) > alone


def test_the_sheet_gives_the_recipe_with_its_cautions():
    text = json.dumps({"schema": 1, **WEIGHED})
    assert sheet_of_text(text).after["assay"]["kitchen"] == "measured.acid_drops"
    _, markdown = calculate_markdown(text, "sheet")
    for words in ("goggles", "never the bucket", "100 mL", "turmeric", "0.1 mL at a time", "for a minute"):
        assert words in markdown
    html = reply_to(WEIGHED, ranges="on")["html"]["trust"]
    assert "goggles" in html
    assert "never the bucket" in html
