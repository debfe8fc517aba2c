"""The Python door: typed, short to use, and the same answers as the JSON door."""

from __future__ import annotations

import dataclasses
import json

import pint
import pytest

import feedcalc
from feedcalc import (
    Ash,
    Bucket,
    Can,
    Figure,
    InputErrors,
    Readings,
    Soil,
    Water,
    happened,
    judge,
    learn,
    plan,
    share,
    spread,
)
from feedcalc.engine import calculate
from tests.book.test_sharing import BOOK

NINE = [Can("9 L", 2)]


@pytest.fixture(scope="module")
def batch():
    return plan(ash=Ash(kind="oak", state="aged"), water=Water(temperature="12 degC"), cans=NINE, ranges="on")


def test_a_plan_has_the_figures_of_the_json_door(batch):
    asked = {"ash": {"kind": "oak", "state": "aged"}, "water": {"temperature": "12 degC"}}
    reply = json.loads(calculate(json.dumps({"schema": 1, **asked, "cans": [{"size": "9 L", "count": 2}]})))
    told = reply["values"]["liquor"]["potassium"]
    assert dataclasses.asdict(batch.potassium) == {name: told[name] for name in ("value", "unit", "low", "high")}
    assert batch.verdict == reply["values"]["verdict"]
    assert batch.dilution == f"1:{reply['values']['batch']['parts_water']['value']:g}"
    assert set(batch.figures) >= {"batch.ash_mass", "liquor.ph", "ladder.0.ph"}


@pytest.mark.parametrize(
    "five_litres",
    ["5 L", {"value": 5, "unit": "L"}, pint.UnitRegistry().Quantity(5.0, "litre"), Figure(5.0, "L", 5.0, 5.0)],
    ids=["text", "mapping", "pint", "figure"],
)
def test_a_quantity_may_be_text_a_mapping_of_pint_or_a_figure(five_litres):
    made = plan(ash=Ash(amount="100 g"), water=Water(amount=five_litres), ranges="off")
    assert made.water.value == pytest.approx(5.0)


def test_one_error_names_every_fault():
    with pytest.raises(InputErrors) as caught:
        plan(ash=Ash(amount="five cups"), cans=[Can("many")], soil=Soil(ph=77), bucket=Bucket(depth="deep"))
    fields = {error.field for error in caught.value.errors}
    assert fields == {"ash.amount", "cans.0.size", "soil.ph", "vessel.depth"}


def test_a_group_of_another_type_is_refused_as_any_fault():
    with pytest.raises(InputErrors, match="water: "):
        plan(water="5 L")


def test_answers_cannot_be_changed_by_accident(batch):
    with pytest.raises(dataclasses.FrozenInstanceError):
        batch.potassium.value = 1.0


def test_a_notebook_shows_the_sheet(batch):
    assert "data-figure" in batch._repr_html_()
    assert batch.reply["html"] == {}


def test_what_was_read_of_a_batch_starts_the_next_one():
    first = plan(
        ash=Ash(amount="100 g", kind="oak"), water=Water(amount="5 L"), readings=Readings(ec="7 mS/cm", ph=12.1)
    )
    known = learn("stove", first, day="2026-05-01")
    assert known.words
    plain, better = (plan(ash=Ash(kind="oak"), cans=NINE, earlier=each) for each in ((), known.evidence))
    assert better.potassium.high / better.potassium.low < plain.potassium.high / plain.potassium.low


def test_dry_ash_has_a_door_too():
    advice = spread(soil=Soil(ph=5.8, tested_with="laboratory", texture="loam"), plant="cabbage")
    assert (advice.verdict, advice.ash.unit) == ("go", "g/m2")
    assert advice.limited_by == "cap"


def test_a_recipe_is_judged_and_its_safe_version_can_be_planned():
    told = judge("1 glass of ash to 10 litres, a litre a bush", soil=Soil(ph=6.2, texture="loam"), ranges="off")
    assert (told.strength, told.verdict) == ("too strong", "go weaker")
    assert told.potassium.unit == "mg"
    assert json.loads(calculate(json.dumps({**told.safe, "html": False})))["ok"]
    assert "too strong" in told._repr_html_()


def test_a_mishap_tells_causes_and_what_to_do():
    told = happened("leaves scorched")
    assert len(told.causes) == len(told.today) >= 2
    assert told.soil_ph is None
    assert told.asked


def test_a_winters_ash_is_shared_out_over_the_beds_of_a_book():
    told = share(BOOK, ash=Ash(amount="20 kg"), now="2026-11-27T10:00", ranges="off")
    beds = {bed.name: bed for bed in told.beds}
    assert beds["Acid"].dry.value > 0 == beds["Berries"].dry.value
    assert beds["Berries"].reasons
    assert 0 < told.left.value < 20_000


def test_the_package_tells_its_names_and_nothing_else():
    assert feedcalc.__version__
    with pytest.raises(AttributeError, match="no attribute 'brew'"):
        _ = feedcalc.brew
    for name in feedcalc.__all__:
        assert getattr(feedcalc, name)


@pytest.mark.parametrize("value", ["no", 0, None, ["bench", "garden"], [["bench"]]])
def test_html_is_true_or_false_or_names_of_parts(value):
    reply = json.loads(calculate(json.dumps({"schema": 1, "html": value})))
    assert [error["field"] for error in reply["errors"]] == ["html"]
