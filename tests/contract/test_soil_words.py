"""A soil that is only called acid, neutral or alkaline is read as a range at every door."""

import json
from importlib import resources

import pytest

from feedcalc.contract.choice_words import soil_ph_meant
from feedcalc.engine import calculate
from tests.asking import faults, reply_to, values_of

SPREAD = {"ask": "spread", "plant": "tomato"}


ACID, NEUTRAL, ALKALINE = (
    ("acid", "sauer", "acide", "ácido", "अम्लीय"),
    ("Neutral", "neutre", "neutro"),
    ("alkaline", "alkalisch", "calcaire", "alcalino", "क्षारीय"),
)


@pytest.mark.parametrize(
    ("word", "ph"), [(word, ph) for words, ph in ((ACID, 5.7), (NEUTRAL, 6.9), (ALKALINE, 7.9)) for word in words]
)
def test_the_words_of_six_languages_are_read(word, ph):
    meant = soil_ph_meant(word)
    assert meant is not None
    assert meant[0] == ph


def test_acid_soil_may_have_ash_and_neutral_or_alkaline_soil_none():
    acid, neutral, alkaline = (values_of(SPREAD, soil={"ph": word}) for word in ("acid", "neutral", "alkaline"))
    assert 0 < acid["spread"]["advice"]["ash"]["value"] <= 98
    assert neutral["spread"]["advice"]["ash"]["value"] == alkaline["spread"]["advice"]["ash"]["value"] == 0
    # Called acid it may be at 6.5 as well, so it gets no more than one that a kit read as the same.
    by_kit = values_of(SPREAD, soil={"ph": "5.7", "tested_with": "kit"})
    assert acid["spread"]["advice"]["ash"]["value"] <= by_kit["spread"]["advice"]["ash"]["value"]


def test_it_is_said_back_how_the_word_was_read():
    assert "5.7, give or take 0.8" in reply_to(SPREAD, soil={"ph": "acidic"})["read_as"]["soil.ph"]
    assert "soil.ph" in faults(SPREAD, soil={"ph": "lovely"})


def test_a_book_takes_the_word_as_a_soil_test():
    book = json.loads((resources.files("feedcalc.book") / "demo_book.json").read_text(encoding="utf-8"))
    for record in book["records"]:
        if record["kind"] == "soil test":
            record["fields"]["ph"]["text"] = "acid"
    asked = {"schema": 1, "ask": "season", "book": book, "now": "2026-05-02T18:00", "ranges": "off"}
    beds = json.loads(calculate(json.dumps(asked)))["values"]["season"]["beds"]
    (test, *_) = [bed["soil_ph"] for bed in beds if bed["soil_ph"]]
    assert (test["low"], test["value"], test["high"]) == pytest.approx((4.9, 5.7, 6.5))


def test_untested_soil_is_told_the_cheap_signs_and_their_limits():
    html = reply_to(SPREAD)["html"]["spread"]
    assert "If it does not fizz, that proves nothing" in html
    assert "at most 25\u00a0g/m²" in html
    assert "at most 25\u00a0g/m²" not in reply_to(SPREAD, soil={"ph": "6"})["html"]["spread"]
