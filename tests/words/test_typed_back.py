"""Whatever is printed or offered in a language can be typed in that language, and is read as the same thing."""

import sys
from datetime import date, datetime
from html.parser import HTMLParser
from pathlib import Path

import pytest

from feedcalc.book.entries import EntryRecord
from feedcalc.book.entry_amounts import one_of
from feedcalc.contract.choice_words import CHOICE_LABELS, names_of_choice
from feedcalc.contract.dates import read_date, read_moment
from feedcalc.contract.fields import FIELD_OF_PATH, REQUEST_FIELDS
from feedcalc.contract.measures import measure_words, measured_out
from feedcalc.contract.own_measures import OwnUnits, roughly, to_measure
from feedcalc.contract.quantities import read_quantity, write_quantity
from feedcalc.contract.request import request_of
from feedcalc.contract.units import CUSTOMS, QUANTITY_KINDS, converted
from feedcalc.words.errors import InputErrors
from feedcalc.words.languages import LANGUAGES, USUAL_LOCALE, date_words, day_words, language, moment_words
from feedcalc.words.messages import is_short, said, said_in

sys.path.insert(0, str(Path(__file__).parents[2] / "site"))

NOW = "2026-05-01T09:00"
DAYS = [date(2026, month, day) for month in range(1, 13) for day in (1, 23)]
in_every_language = pytest.mark.parametrize("tag", LANGUAGES)


@in_every_language
@pytest.mark.parametrize("customs", CUSTOMS)
def test_every_unit_as_it_is_written(tag, customs):
    speak, locale = language(tag).speak, USUAL_LOCALE[tag]
    for kind in QUANTITY_KINDS.values():
        for unit in kind.units:
            if not unit.startswith("?"):
                value = converted(min(0.4 * kind.highest, 21.5), kind.base_unit, unit) if kind.highest < 1e9 else 21.5
                value = 2.0 if kind.whole else float(f"{value:.6g}")
                typed = speak(write_quantity(value, unit, 6, locale, trim=True))
                read = read_quantity(typed, kind.name, "x", locale, customs)
                assert read.value == pytest.approx(converted(value, unit, read.unit)), (kind.name, unit, typed)


@in_every_language
@pytest.mark.parametrize("customs", CUSTOMS)
@pytest.mark.parametrize("system", ["metric", "us", "uk"])
def test_every_amount_in_the_measures_of_a_kitchen_and_a_shed(tag, customs, system):
    speak, locale = language(tag).speak, USUAL_LOCALE[tag]
    us = {} if system == "metric" else {"area": "ft^2", "length": "in", "temperature": "degF"}
    own = OwnUnits(volume=system, customs=customs, **us)
    for unit, kind, scale in (("L", "volume", 1), ("m2", "area", 1), ("cm", "length", 100), ("degC", "temperature", 1)):
        for value in (0.02, 0.26, 0.63, 1.0, 1.9, 2.5, 3.9, 7.6, 20.0, 23.3):
            for words, error in (
                (to_measure(value, unit, own, locale), 0.02),
                (roughly(value, unit, own, locale)[0], 0.06),
            ):
                typed = speak(words)
                read = read_quantity(typed, kind, "x", locale, customs).value * scale
                assert read == pytest.approx(value, rel=error, abs=0.3 if kind == "temperature" else 0.003), typed
    for millilitres in (3, 5, 10, 15, 30, 60, 150, 240, 473, 500, 710, 1000, 2390):
        held, parts = measured_out(millilitres, customs)
        typed = speak(measure_words(parts, locale))
        assert read_quantity(typed, "volume", "x", locale, customs).value * 1000 == pytest.approx(held), typed


@in_every_language
def test_every_example_that_a_refusal_gives(tag):
    either = language(tag).speak(said("{first} or {second}", first="", second="")).strip("\u2068\u2069 ")
    for kind in QUANTITY_KINDS.values():
        spoken = language(tag).speak(kind.accepted)
        start = next(place for place, mark in enumerate(spoken) if mark.isdigit())
        examples = spoken[start:].replace(f" {either} ", "; ").replace(f" {either}", "; ").replace(", ", "; ")
        for example in examples.replace("، ", "; ").split("; "):
            if kind.name not in ("ph", "fraction"):
                read_quantity(example.strip(" .।"), kind.name, "x", USUAL_LOCALE[tag], "metric")


class _Choices(HTMLParser):
    """The choices of the page's forms: name of the field, value, and the English words as they stand."""

    def __init__(self):
        super().__init__()
        self.found, self.field, self.value = [], "", None

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        if tag == "select":
            self.field = given.get("name") or given.get("id") or ""
        self.value = given.get("value") if tag == "option" else None

    def handle_endtag(self, tag):
        self.field = "" if tag == "select" else self.field

    def handle_data(self, data):
        if self.value:
            self.found.append((self.field, self.value, data))
            self.value = None


def choices_of_the_page():
    from building.assemble import page_without_engine

    reader = _Choices()
    reader.feed(page_without_engine())
    return [row for row in reader.found if row[0] in FIELD_OF_PATH or row[0] in CHOICE_LABELS]


def meant_by(field, typed, tag):
    """Return the choice that is read where a text is typed into a field of a request or of the season book."""
    if field not in FIELD_OF_PATH and field != "customs":
        choices = tuple(CHOICE_LABELS[field])
        return one_of(EntryRecord("a", "entry", {field: typed}), field, choices)
    given = typed
    for part in reversed(field.split(".")):
        given = {part: given}
    given = {**given, "acid": {"kind": "vinegar", "target_ph": "7"}} if field != "acid.kind" else given
    if field == "acid.kind":
        given["acid"]["target_ph"] = "7"
    request = request_of({"schema": 1, "language": tag, **given})
    return request.customs if field == "customs" else request.word(field)


@in_every_language
def test_every_choice_that_the_page_offers(tag):
    choices = choices_of_the_page()
    assert len(choices) > 100
    for field, value, english in choices:
        typed = language(tag).speak(said_in(f"choice: {field}", english) if is_short(english) else said(english))
        assert meant_by(field, typed, tag) == value, (field, typed)


@in_every_language
def test_every_choice_that_a_refusal_lists_or_a_sheet_names(tag):
    for field in REQUEST_FIELDS:
        if field.kind in ("choice", "ash") and field.path not in ("ask", "country", "ranges"):
            for choice in field.choices:
                for name in names_of_choice(field.path, choice):
                    typed = language(tag).speak(name)
                    assert meant_by(field.path, typed, tag) == choice, (field.path, typed)


@in_every_language
def test_the_choices_in_a_refusal_are_those_names_in_that_language(tag):
    with pytest.raises(InputErrors) as refused:
        request_of({"schema": 1, "language": tag, "soil": {"texture": "zzzz"}})
    (error,) = refused.value.errors
    spoken = language(tag).speak(error.accepted)
    for choice in ("sand", "loam", "clay", "peat"):
        assert language(tag).speak(names_of_choice("soil.texture", choice)[0]) in spoken


@in_every_language
def test_every_date_and_time_of_a_sheet_and_a_label(tag):
    speak, locale = language(tag).speak, USUAL_LOCALE[tag]
    for day in DAYS:
        moment = datetime(day.year, day.month, day.day, 18, 5)
        assert read_date(speak(date_words(day)), locale) == day
        assert read_date(speak(day_words(moment)), locale, near=date(2026, 7, 2)) == day
        assert read_moment(speak(moment_words(moment)), locale, near=date(2026, 7, 2)) == moment
        request = {"schema": 1, "language": tag, "now": NOW, "soil": {"ph": "6", "tested_on": speak(date_words(day))}}
        assert request_of(request).word("soil.tested_on") == day.isoformat()


@pytest.mark.parametrize("digits", ["٠١٢٣٤٥٦٧٨٩", "۰۱۲۳۴۵۶۷۸۹", "०१२३४५६७८९"])
def test_digits_of_other_scripts_in_numbers_and_dates(digits):
    script = str.maketrans("0123456789", digits)
    assert read_quantity("2.5 kg".translate(script), "mass", "x", "en-GB").value == 2500
    assert read_date("2026-05-01".translate(script)) == date(2026, 5, 1)


@pytest.mark.parametrize(("typed", "grams"), [("٢٫٥ kg", 2500), ("١٬٥٠٠ g", 1500), ("۱۲٫۵ g", 12.5), ("٢،٥ kg", 2500)])
def test_the_marks_of_arabic_numbers(typed, grams):
    assert read_quantity(typed, "mass", "x", "de-DE").value == grams
