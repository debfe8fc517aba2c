"""The label: nothing required is missing, and every figure keeps the range of the sheet."""

from __future__ import annotations

import html
import json
import re
from dataclasses import replace

import pytest

from feedcalc import published
from feedcalc.contract.cautions import hazard_at
from feedcalc.contract.figures import Shown
from feedcalc.sheets.paper.label import NOT_FOR_FOOD, Label, label_of
from tests.asking import WEIGHED, reply_to, sheet_of_text

# A liquor of each class, by the upper end of its pH range.
CLASSES = {
    "corrosive": {"ash": {"kind": "hardwood", "state": "fresh", "amount": "100 g"}, "water": {"amount": "5 L"}},
    "irritant": {"ash": {"kind": "mixed", "state": "aged", "amount": "20 g"}, "water": {"amount": "20 L"}},
}


def label(asked: dict, **more) -> Label:
    return label_of(sheet_of_text(json.dumps({"schema": 1, "ranges": "on", **asked, **more})))


def words_of(markup: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", markup)).split())


def with_ph(high: float) -> Label:
    """Return the label of a liquor whose pH is at most ``high``."""
    sheet = sheet_of_text(json.dumps({"schema": 1, "ranges": "off", **WEIGHED}))
    ph = Shown("liquor.ph_25", high - 0.5, f"{high - 0.5:.1f}", f"{high - 1:.1f} to {high:.1f}", "")
    return label_of(replace(sheet, hazard=hazard_at(high), figures={**sheet.figures, "liquor.ph_25": ph}))


@pytest.mark.parametrize(
    ("high", "name", "signal_word", "codes"),
    [
        (12.6, "corrosive", "Danger", {"H314"}),
        (11.5, "corrosive", "Danger", {"H314"}),
        (11.4, "irritant", "Danger", {"H315", "H318"}),
        (9.5, "mild", "", set()),
    ],
)
def test_the_hazard_class_follows_the_upper_end_of_the_ph(high, name, signal_word, codes):
    # CLP Regulation (EC) 1272/2008, Annex I, 3.2.2.2: pH 11.5 or more is taken as corrosive without a test.
    result = with_ph(high)
    assert result.hazard.name == name
    assert result.hazard.signal_word == signal_word
    assert {code for code, _ in result.hazard.hazards} == codes
    # CLP Annex I: the corrosion symbol goes with H314 and with H318.
    assert result.has_corrosion_symbol == bool(codes)


@pytest.mark.parametrize("high", [12.6, 11.4, 9.5])
def test_required_sentences_name_hazards_first_aid_and_food_containers(high):
    result = with_ph(high)
    text = " ".join(result.required)
    assert NOT_FOR_FOOD in result.required
    assert "Not for food containers" in text
    assert "Keep out of reach of children." in text
    for part_of_body in ("In the eye:", "On skin:", "Swallowed:"):
        assert part_of_body in text
    statements = {row["text"] for row in published.table("hazard_statements")}
    assert {text for _, text in (*result.hazard.hazards, *result.hazard.precautions)} <= statements


@pytest.mark.parametrize("language", ["es", "fr", "de", "pt", "hi"])
def test_every_statement_of_every_class_exists_in_each_language(language):
    known = {row["code"] for row in published.table("ghs_statements") if row["language"] == language}
    for row in published.table("hazard_classes"):
        assert {code for code in (*row["h_codes"].split("|"), *row["p_codes"].split("|")) if code} <= known
        assert not row["signal_word"] or row["signal_word"].lower() in known


@pytest.mark.parametrize(
    ("language", "code", "text"),
    [
        # Regulation (EC) No 1272/2008, Annex III, H314 and Annex IV, P102, in each of its languages.
        ("es", "H314", "Provoca quemaduras graves en la piel y lesiones oculares graves."),
        ("fr", "P102", "Tenir hors de portée des enfants."),
        ("de", "H314", "Verursacht schwere Verätzungen der Haut und schwere Augenschäden."),
        ("pt", "P102", "Manter fora do alcance das crianças."),
    ],
)
def test_statements_are_those_of_the_regulation(language, code, text):
    result = label_of(sheet_of_text(json.dumps({"schema": 1, **CLASSES["corrosive"]})), language=language)
    assert (code, text) in (*result.hazard.hazards, *result.hazard.precautions)


def test_without_a_range_the_worst_class_is_taken():
    sheet = sheet_of_text(json.dumps({"schema": 1, "ranges": "off", **CLASSES["irritant"]}))
    assert not sheet.figures["liquor.ph_25"].range
    assert label_of(sheet).hazard.name == "corrosive"


@pytest.mark.parametrize("name", CLASSES)
def test_the_page_shows_every_required_sentence_and_the_range_of_each_figure(name):
    asked = {"schema": 1, **CLASSES[name]}
    result = label(asked)
    assert result.hazard.name == name
    text = words_of(reply_to(asked, ranges="on")["html"]["label"])
    for sentence in result.required:
        assert sentence in text
    headline = sheet_of_text(json.dumps(asked)).figures["liquor.potassium"].headline("potassium")
    assert headline.replace("\u00a0", " ") in text
    for _, shown in (*result.strength[1:], *result.delivered):
        assert shown.range, shown.path
        assert f"(likely {shown.range})".replace("\u00a0", " ") in text


def test_the_label_says_whether_readings_were_used_for_its_class():
    assert "not tested" in label(CLASSES["irritant"]).class_words
    read = label(CLASSES["irritant"], measured={"ph": "10.6", "ph_by": "meter"})
    assert "with your readings" in read.class_words
    assert "not tested" not in read.class_words


def test_unknown_dates_are_empty_and_known_dates_have_their_year():
    dated = label(CLASSES["corrosive"], now="2026-12-30T18:00")
    assert (dated.made, dated.use_by[-4:]) == ("30 Dec 2026", "2027")
    undated = label(CLASSES["corrosive"])
    assert undated.made == undated.settled == undated.use_by == ""


def test_the_symbol_is_black_on_white_and_has_a_title():
    markup = reply_to(CLASSES["corrosive"], ranges="on")["html"]["label"]
    symbol = markup[markup.index("<svg") : markup.index("</svg>")]
    assert "<title" in symbol
    assert {"#000", "#fff"} <= set(re.findall(r'fill="([^"]+)"', symbol))
