"""Reading of a request: defaults, customs, bounds, and paths in our own code."""

from __future__ import annotations

import json
from typing import Any

import pytest

from feedcalc.contract.fields import REQUEST_FIELDS, WORD_PATHS
from feedcalc.contract.request import Request, read_request, request_of, with_fields
from feedcalc.contract.units import QUANTITY_KINDS
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.languages import LOCALES


def read(**asked: Any) -> Request:
    return read_request(json.dumps({"schema": 1, **asked}))


def test_each_path_occurs_once_in_the_list_of_fields():
    paths = [field.path for field in REQUEST_FIELDS]
    assert len(paths) == len(set(paths))


def test_each_field_has_a_meaning_and_a_known_kind():
    for field in REQUEST_FIELDS:
        assert field.meaning
        assert field.kind in QUANTITY_KINDS or field.kind in ("choice", "ash", "text", "passage", "moment", "masses")
        assert field.kind != "choice" or field.choices
        assert field.default is None or not field.choices or field.default in field.choices


@pytest.mark.parametrize("area", ["120 m2", "0.5 ha", "1 acre", "400 sq ft", "3 hectares"])
@pytest.mark.parametrize("asked", [{}, {"customs": "us"}, {"locale": "en-US"}, {"locale": "de-DE", "customs": "uk"}])
def test_fields_that_are_added_make_the_request_that_has_them_from_the_start(area, asked):
    base = read(**asked, ash={"kind": "hardwood"}, soil={"texture": "clay"})
    added = with_fields(base, {"soil.area": area, "soil.ph": "6.2", "plant": " leek "})
    whole = read(**asked, ash={"kind": "hardwood"}, soil={"texture": "clay", "area": area, "ph": "6.2"}, plant=" leek ")
    assert added == whole
    assert added.own == whole.own
    assert base == read(**asked, ash={"kind": "hardwood"}, soil={"texture": "clay"})


@pytest.mark.parametrize(("path", "text"), [("soil.area", "some"), ("soil.ph", "15"), ("plant", "leek\x07")])
def test_a_field_that_is_added_is_refused_as_any(path, text):
    with pytest.raises(InputError) as refusal:
        with_fields(read(), {path: text})
    assert refusal.value.field == path


def test_defaults_are_read_like_typed_text_and_listed_as_assumed():
    request = read()
    for field in REQUEST_FIELDS:
        if field.default is not None:
            assert request.assumed[field.path] == field.default
            assert field.path in request.numbers or field.path in request.words


@pytest.mark.parametrize(
    ("locale", "customs", "cup"),
    [("en-US", "us", 236.588), ("en-GB", "uk", 284.131), ("de-DE", "metric", 250.0), ("en-AU", "metric", 250.0)],
)
def test_a_bare_cup_is_the_cup_of_the_country(locale, customs, cup):
    request = read(locale=locale, ash={"amount": "1 cup"})
    assert request.customs == customs
    assert request.readings["ash.amount"].value * 1000 == pytest.approx(cup, abs=0.001)


def test_customs_can_differ_from_the_locale():
    assert read(locale="en-GB", customs="us", water={"amount": "1 gal"}).known("water.amount") == pytest.approx(
        3.785412
    )


@pytest.mark.parametrize("locale", LOCALES)
def test_every_locale_reads_its_own_decimal_mark(locale):
    decimal = "," if locale in ("de-DE", "fr-FR", "es-ES", "pt-PT", "pt-BR") else "."
    assert read(locale=locale, water={"amount": f"2{decimal}5 L"}).known("water.amount") == 2.5


def test_an_ambiguous_number_is_refused_unless_the_locale_settles_it():
    settled = read(locale="en-GB", water={"amount": "1,234 L"}).readings["water.amount"]
    assert settled.value == 1234
    assert "1234" in settled.echo
    with pytest.raises(InputErrors, match=r"water\.amount: The mark in 1\.234 could separate thousands or decimals"):
        read(locale="de-DE", water={"amount": "1.234 L"})


def test_cans_are_counted_and_empty_rows_ignored():
    cans = read(cans=[{"size": "9 L", "count": 2}, {"size": "", "count": ""}, {"size": "750 ml"}]).cans
    assert [(can.litres, can.count) for can in cans] == [(9.0, 2), (0.75, 1)]


def test_a_list_of_too_many_cans_is_refused():
    with pytest.raises(InputErrors, match="cans"):
        read(cans=[{"size": "9 L"}] * 21)


@pytest.mark.parametrize(("written", "parts"), [("1:3", 3.0), ("1 : 10", 10.0), ("2:7", 3.5), ("1:0", 0.0)])
def test_a_dilution_gives_liquor_first(written, parts):
    assert read(dilution=written).dilution_parts == parts


@pytest.mark.parametrize("written", ["0:3", "1:-3", "1:3:5", "a:b", "1:5000"])
def test_text_that_is_not_a_dilution_is_refused(written):
    with pytest.raises(InputErrors, match="dilution"):
        read(dilution=written)


def test_a_solution_is_converted_to_mol_and_degrees_celsius():
    solution = read(
        solution={"totals": {"potassium": 12.3}, "minerals": ["calcite", "calcite"], "carbon_dioxide": "420 ppm"}
    ).solution
    assert solution is not None
    assert solution.totals == {"potassium": pytest.approx(0.0123)}
    assert solution.minerals == ("calcite",)
    assert solution.temperature_celsius == 25.0
    assert solution.carbon_dioxide_atm == pytest.approx(4.2e-4)


@pytest.mark.parametrize(
    ("path", "inside", "outside"),
    [
        ("water.temperature", "0 degC", "-1 degC"),
        ("water.temperature", "45 degC", "46 degC"),
        ("steep.time", "60 d", "61 d"),
        ("vessel.depth", "3 m", "3.1 m"),
        ("soil.ph", "11", "11.1"),
        ("acid.target_ph", "4", "3.9"),
        ("ash.density", "1.5 g/mL", "1.6 g/mL"),
    ],
)
def test_bounds_of_a_field_are_inclusive(path, inside, outside):
    def asked(text: str) -> dict[str, Any]:
        nested: Any = text
        for name in reversed(path.split(".")):
            nested = {name: nested}
        if path.startswith("acid"):
            nested["acid"]["kind"] = "vinegar"
        return nested

    assert read(**asked(inside)).number(path) is not None
    with pytest.raises(InputErrors) as refusal:
        read(**asked(outside))
    assert path in [error.field for error in refusal.value.errors]


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("number", "mesured.ec"),
        ("number", "ash.kind"),
        ("number", "ash.weighings.0"),
        ("known", "samples "),
        ("known", "now"),
        ("word", "ash.knid"),
        ("word", "ash.amount"),
        ("group", "ash.analyses"),
        ("group", "ash.kind"),
    ],
)
def test_a_misspelt_path_in_our_own_code_raises(method, path):
    with pytest.raises(KeyError, match=path):
        getattr(read(), method)(path)


def test_every_field_is_read_by_number_word_or_group():
    request = read()
    for field in REQUEST_FIELDS:
        if field.kind == "masses":
            assert request.group(field.path) == {}
        elif field.path != "now":
            assert isinstance(
                request.word(field.path) if field.path in WORD_PATHS else request.number(field.path), str | float | None
            )


def test_weighings_are_reached_as_a_group():
    request = read(ash={"weighings": "98 g; 104 g", "weighed_measure": "1 L"})
    assert request.group("ash.weighings") == {"0": 98.0, "1": 104.0}


def test_a_parsed_document_gives_the_same_request_as_its_text():
    document = {"schema": 1, "ash": {"amount": "100 g"}, "cans": [{"size": "9 L", "count": 2}]}
    assert request_of(document) == read_request(json.dumps(document))
