"""Measures without a mark, strengths in words, rates on the ground and pens that show ppm."""

from __future__ import annotations

import pytest

from feedcalc.contract.quantities import read_dilution, read_quantity, read_rate
from feedcalc.contract.request import request_of
from feedcalc.contract.units import HAND_MEASURES, converted
from feedcalc.liquor.ash_evidence import span_of_hand
from feedcalc.published import table
from tests.asking import faults, reply_to, values_of

GLASS_IN_TEN = {"ash": {"amount": "1 glass"}, "water": {"amount": "10 L"}, "dilution": "1:3"}


def test_the_typical_size_of_each_measure_is_the_same_in_both_places():
    sizes = {row["measure"]: float(row["typical"]) for row in table("hand_measures")}
    assert sizes.keys() == HAND_MEASURES
    assert {name: pytest.approx(converted(1.0, name, "mL")) for name in sizes} == sizes


@pytest.mark.parametrize(
    "typed",
    ["2 pails", "2 buckets", "2 Eimer", "2 seaux", "2 cubos", "2 baldes", "2 \u092c\u093e\u0932\u094d\u091f\u0940"],
)
def test_a_bucket_is_read_in_every_language_with_how_wide_it_may_be(typed):
    read = read_quantity(typed, "volume", "water.amount", customs="metric")
    assert read.value == 20
    assert read.span[0] < 1 < read.span[1]
    assert "14" in read.echo
    assert "38" in read.echo


def test_a_bucket_whose_size_is_told_is_that_bucket():
    told = reply_to({"ash": {"amount": "100 g"}, "water": {"amount": "1 bucket"}, "vessel": {"capacity": "15 L"}})
    assert told["values"]["batch"]["water_volume"]["value"] == 15


def test_ash_by_the_glass_has_a_wider_strength_than_ash_by_the_mark():
    by_glass = values_of(GLASS_IN_TEN, ranges="on", samples="20")["liquor"]["potassium"]
    marked = values_of(GLASS_IN_TEN, {"ash": {"amount": "200 mL"}}, ranges="on", samples="20")["liquor"]["potassium"]
    assert by_glass["value"] == pytest.approx(marked["value"])
    assert by_glass["high"] / by_glass["low"] > 1.1 * marked["high"] / marked["low"]


def test_a_bucket_of_ash_to_a_bucket_of_water_has_the_ratio_of_one_bucket():
    same = {"schema": 1, "ash": {"amount": "1/4 bucket"}, "water": {"amount": "2 buckets"}}
    assert span_of_hand(request_of(same)) == (1.0, 1.0)
    other = {"schema": 1, "ash": {"amount": "1 glass"}, "water": {"amount": "1 bucket"}}
    low, high = span_of_hand(request_of(other))
    assert low < 0.75 < 1.5 < high


@pytest.mark.parametrize(
    ("typed", "parts"),
    [
        ("undiluted", 0),
        ("Quarter strength", 3),
        ("half strength", 1),
        ("unverd\u00fcnnt", 0),
        ("au quart", 3),
        ("sin diluir", 0),
    ],
)
def test_strength_in_words_is_a_dilution(typed, parts):
    assert read_dilution(typed, "dilution") == parts


@pytest.mark.parametrize(
    ("typed", "grams_per_square_metre"),
    # Pounds to 1000 square feet are 4.88 g/m2 each (definition of pound and foot).
    [("20 lb per 1000 sq ft", 97.65), ("5 lb/100 sq ft", 244.1), ("4 oz to the sq yd", 135.6), ("1 kg auf 10 m2", 100)],
)
def test_a_rate_is_read_as_people_say_it(typed, grams_per_square_metre):
    amount, area = read_rate(typed, "rate")
    assert amount.value / area == pytest.approx(grams_per_square_metre, rel=1e-3)


def test_a_pen_in_ppm_is_asked_for_its_scale_and_then_read():
    assert faults({"measured": {"ec": "3500 ppm"}})["measured.ec"]["problem"].count("mS/cm") == 2
    assert read_quantity("3500 ppm 500", "conductivity", "measured.ec").value == pytest.approx(7.0)
    assert read_quantity("3500 ppm (700)", "conductivity", "measured.ec").value == pytest.approx(5.0)
