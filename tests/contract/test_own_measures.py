"""What a sheet prints in the grower's own measures is short, true, and can be typed back in every language."""

from __future__ import annotations

import json
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feedcalc import published
from feedcalc.contract.choice_words import CHOICE_LABELS, choice_meant
from feedcalc.contract.fields import FIELD_OF_PATH
from feedcalc.contract.own_measures import OwnUnits, own_units, roughly, to_measure
from feedcalc.contract.quantities import read_quantity
from feedcalc.contract.text import plain_words
from feedcalc.engine import calculate_markdown, calculate_print
from feedcalc.words.errors import InputError
from feedcalc.words.languages import LANGUAGES, USUAL_LOCALE, language
from tests.asking import values_of

GROWERS = {
    "US": own_units((), "us"),
    "British gallons": own_units((("volume", "uk_gal"),), "uk"),
    "gallons in a metric country": own_units((("volume", "us_gal"),), "metric"),
    "metric": own_units((), "metric"),
}


@pytest.mark.parametrize("tongue", LANGUAGES)
@pytest.mark.parametrize("own", GROWERS.values(), ids=GROWERS)
@given(litres=st.floats(0.003, 200))
def test_an_amount_to_measure_out_can_be_typed_back_in_every_language(own, tongue, litres):
    locale = USUAL_LOCALE[tongue]
    words = language(tongue).speak(to_measure(litres, "L", own, locale))
    back = read_quantity(words, "volume", "water.amount", locale, own.customs).value
    assert back == pytest.approx(litres, rel=0.03, abs=0.00065), words  # half of a quarter teaspoon


@pytest.mark.parametrize("tongue", LANGUAGES)
@pytest.mark.parametrize(
    ("value", "unit", "kind", "base"),
    [(0.31, "m", "length", 0.31), (6.0, "m2", "area", 6.0), (12.0, "degC", "temperature", 12)],
)
def test_lengths_areas_and_temperatures_can_be_typed_back_in_every_language(tongue, value, unit, kind, base):
    us, locale = own_units((), "us"), USUAL_LOCALE[tongue]
    words = language(tongue).speak(to_measure(value, unit, us, locale))
    assert read_quantity(words, kind, "x", locale, "us").value == pytest.approx(base, rel=0.01)


@pytest.mark.parametrize(
    ("litres", "words"),
    [
        (2 * 3.785412, "2 gal"),
        (0.946353, "1 quart"),
        (0.0443603, "3 tablespoons"),
        (0.059147, "¼ cup"),
        (0.0024, "½ teaspoon"),
    ],
)
def test_a_us_grower_reads_round_amounts_in_the_measures_of_the_kitchen(litres, words):
    assert to_measure(litres, "L", GROWERS["US"], "en-US").replace("\u00a0", " ") == words


def test_no_amount_takes_more_than_two_measures():
    for litres in (0.013 * 1.17**step for step in range(60)):
        assert to_measure(litres, "L", GROWERS["US"], "en-US").count("\u00a0") <= 2


def test_a_rough_amount_keeps_one_unit_for_its_range():
    text, (low, high), unit = roughly(2.2, "L", GROWERS["US"], "en-US", (2.1, 2.4))
    assert (text, low, high, unit) == ("2.3\u00a0quarts", "2.2", "2.5", "quarts")


def test_units_typed_are_units_read():
    assert own_units((("volume", "L"),), "us").volume == "metric"
    assert own_units((("volume", "us_cup"),), "metric") == OwnUnits(customs="metric")
    assert own_units((("area", "yd^2"), ("temperature", "degF")), "metric").area == "ft^2"


def test_a_batch_in_gallons_is_planned_in_measures_of_gallons_and_cups():
    cup = 0.2365882365
    batch = values_of(cans=[{"size": "2 gal", "count": 2}], customs="us", ranges="off")["batch"]
    for litres in (batch["water_volume"]["value"], batch["liquor_per_can"]["value"]):
        assert litres / (cup / 4) == pytest.approx(round(litres / (cup / 4)), abs=1e-4)


@pytest.mark.parametrize(
    ("text", "litres"),
    [
        ("1 quart and ½ cup", 1.06465),
        ("1 gal 2 quarts", 5.678118),
        ("1 cup + 2 tablespoons", 0.266162),
        ("1 L 200 ml", 1.2),
    ],
)
def test_two_amounts_are_added_up(text, litres):
    assert read_quantity(text, "volume", "water.amount", customs="us").value == pytest.approx(litres, rel=1e-5)


@pytest.mark.parametrize(
    "text", ["1 cup 250 mL", "2 cups 1 quart", "1 L 1 cup", "3 cups and 17 tablespoons", "5 L 2", "1 gal 4 L"]
)
def test_two_amounts_that_may_say_one_twice_are_refused(text):
    with pytest.raises(InputError, match="more than one number"):
        read_quantity(text, "volume", "water.amount", customs="us")


@pytest.mark.parametrize("field", sorted({row["field"] for row in published.table("choice_words")}))
def test_a_word_for_a_choice_means_one_choice_only(field):
    meant: dict[str, str] = {}
    for row in published.table("choice_words"):
        if row["field"] == field:
            for word in row["words"].split("|"):
                assert meant.setdefault(plain_words(word), row["choice"]) == row["choice"], word
    of_soil = tuple(row["word"] for row in published.table("soil_words"))
    choices = tuple(CHOICE_LABELS[field]) if field in ("what", "of") else FIELD_OF_PATH[field].choices or of_soil
    assert {choice for choice in meant.values() if choice not in choices} <= {"dry ash"}


@pytest.mark.parametrize(
    ("typed", "texture"),
    # The twelve classes of the soil triangle.
    [
        *(("sand", "sand"), ("loamy sand", "sand"), ("sandy loam", "sand"), ("loam", "loam"), ("silt loam", "loam")),
        *(("silt", "loam"), ("sandy clay loam", "loam"), ("clay loam", "clay"), ("silty clay loam", "clay")),
        *(("sandy clay", "clay"), ("silty clay", "clay"), ("clay", "clay"), ("Lehm", "loam"), ("Tonboden", "clay")),
    ],
)
def test_the_classes_of_the_soil_triangle_are_read(typed, texture):
    assert choice_meant("soil.texture", typed, ("sand", "loam", "clay", "peat")) == texture


def test_a_us_grower_reads_no_litres_and_no_metres_on_any_sheet():
    asked = {"cans": [{"size": "2 gal", "count": 2}], "soil": {"texture": "loam", "area": "60 sq ft"}}
    batch = {"schema": 1, "customs": "us", "locale": "en-US", "ranges": "off", **asked}
    _, short = calculate_markdown(json.dumps(batch), "short")
    _, spread = calculate_markdown(
        json.dumps(batch | {"ask": "spread", "soil": {"ph": 5.8, "area": "60 sq ft"}}), "spread"
    )
    words = short + spread.split("##")[0]
    assert "quart" in short
    assert "lb/100\u00a0sq\u00a0ft" in spread
    assert not re.search(r"\d\s*(L|mL|cm|g/m²|m²|°C)\b(?! of)", words.replace("25 °C", ""))
    _, full = calculate_markdown(json.dumps(batch), "sheet")
    assumed = full.split("## What we assumed")[1].split("##")[0].replace("5 L of water", "")  # a customary ratio
    assert "59\u00a0°F" in assumed
    assert not re.search(r"\d\s*(L|cm|°C)\b", assumed)
    _, wall = calculate_print(json.dumps(batch | {"soil": {"ph": 5.8}, "ask": "wall"}))
    steps = wall.text.split("[ ]", 1)[1]
    assert "each square foot" in steps
    assert not re.search(r"\d\s*(L|mL|cm)\b", steps)
