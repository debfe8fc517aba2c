"""Units, language, order and empty fields do not change an answer, and cautions are never lost."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feedcalc.contract.cautions import hazard_at
from feedcalc.contract.fields import REQUEST_FIELDS
from feedcalc.words.languages import LANGUAGES
from tests.asking import WEIGHED, every_figure, reply_to, values_of
from tests.examples import examples

CLASSES = ("mild", "irritant", "corrosive")
CANS = {"cans": [{"size": "9 L", "count": 2}, {"size": "5 L", "count": 1}], "dilution": "1:10"}


def same(first: Any, second: Any, rel: float = 1e-5) -> None:
    """Assert that both have the same figures to the digits shown."""
    others = dict(every_figure(second))
    figures = dict(every_figure(first))
    assert figures.keys() == others.keys()
    for path, figure in figures.items():
        assert others[path]["unit"] == figure["unit"], path
        for end in ("value", "low", "high"):
            assert others[path][end] == (
                None if figure[end] is None else pytest.approx(figure[end], rel=rel, abs=1e-9)
            ), path


# -- cautions -----------------------------------------------------------------------------------------------------


@given(st.floats(-2, 17), st.floats(0, 5))
def test_no_hazard_is_lower_at_a_higher_ph(ph, more):
    weaker, stronger = hazard_at(ph) if ph >= 0 else hazard_at(0.0), hazard_at(max(ph, 0.0) + more)
    assert CLASSES.index(stronger.name) >= CLASSES.index(weaker.name)
    assert len(stronger.hazards) >= len(weaker.hazards) or stronger.name == "corrosive"
    assert bool(stronger.signal_word) >= bool(weaker.signal_word)


@examples(25)
@given(st.floats(0.2, 8), st.floats(1.05, 5), st.sampled_from(["fresh", "aged"]), st.sampled_from(["drench", "foliar"]))
def test_no_caution_disappears_for_a_stronger_liquor(grams_per_litre, factor, state, use):
    def cautions(strength: float) -> set[str]:
        ash = {"kind": "mixed", "state": state, "amount": f"{strength * 5:.4f} g"}
        reply = reply_to(ash=ash, water={"kind": "rain", "amount": "5 L"}, dilution="1:10", use=use)
        assert reply["ok"], reply["errors"]
        return {caution["id"] for caution in reply["cautions"]}

    weaker, stronger = cautions(grams_per_litre), cautions(grams_per_litre * factor)
    assert weaker - stronger <= {"liquor_irritant"}, "only a stronger word for the same danger takes its place"
    assert "liquor_irritant" not in weaker or stronger & {"liquor_irritant", "liquor_corrosive"}


@pytest.mark.parametrize("ph", [9.0, 10.5, 11.4, 11.6, 12.5, 13.4])
def test_a_higher_reading_never_removes_a_caution(ph):
    def cautions(reading: float) -> set[str]:
        reply = reply_to(WEIGHED, measured={"ph": f"{reading}", "temperature": "20 degC"})
        assert reply["ok"], reply["errors"]
        return {caution["id"] for caution in reply["cautions"]}

    assert cautions(ph) - cautions(ph + 0.5) <= {"liquor_irritant"}


# -- how it is put ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("language", sorted(LANGUAGES))
@pytest.mark.parametrize(
    "request_",
    [CANS, {**WEIGHED, "measured": {"ec": "9 mS/cm"}}, {"ask": "spread", "soil": {"ph": "5.8", "area": "6 m2"}}],
    ids=["cans", "a reading", "dry ash"],
)
def test_the_language_changes_no_figure(language, request_):
    told = {**request_, "locale": "en-GB", "now": "2026-05-01T09:00"}  # else the locale follows the language
    same(values_of(told), values_of(told, language=language))


NUMBERS = {
    "en-US": ("2.5 L", "0.05 kg", "4.5 m2", "7.25", "1:7.5"),
    "en-IN": ("2.5 L", "0.05 kg", "4.5 m2", "7.25", "1:7.5"),
    "de-DE": ("2,5 L", "0,05 kg", "4,5 m2", "7,25", "1:7,5"),
    "fr-FR": ("2,5 L", "0,05 kg", "4,5 m2", "7,25", "1:7,5"),
    "es-ES": ("2,5 L", "0,05 kg", "4,5 m2", "7,25", "1:7,5"),
    "pt-BR": ("2,5 L", "0,05 kg", "4,5 m2", "7,25", "1:7,5"),
    "hi-IN": ("2.5 L", "0.05 kg", "4.5 m2", "7.25", "1:7.5"),
}


def spoken(litres: str, kilograms: str, area: str, ph: str, dilution: str, **more: str) -> dict[str, Any]:
    return values_of(
        ash={"amount": kilograms},
        water={"amount": litres},
        soil={"area": area, "ph": ph, "texture": "loam"},
        dilution=dilution,
        customs="metric",
        **more,
    )


@pytest.mark.parametrize("locale", NUMBERS)
def test_numbers_in_the_form_of_each_locale_are_the_same_numbers(locale):
    same(spoken(*NUMBERS["en-US"], locale="en-GB"), spoken(*NUMBERS[locale], locale=locale))


NESTED = [field.path for field in REQUEST_FIELDS if field.path not in ("ask", "book", "schema")]


@pytest.mark.parametrize("empty", ["", "  ", None], ids=["nothing", "blanks", "null"])
def test_empty_fields_are_the_same_as_missing_fields(empty):
    request: dict[str, Any] = {}
    for path in NESTED:
        *groups, name = path.split(".")
        place = request
        for group in groups:
            place = place.setdefault(group, {})
        place[name] = empty
    base = {"ranges": "off", **CANS}
    told = reply_to(request, base)
    assert told["ok"], told["errors"]
    same(values_of(base), told["values"])


@given(st.permutations([("9 L", 2), ("5 L", 1), ("1.5 L", 3)]))
@examples(6)
def test_the_order_of_cans_changes_nothing_but_their_order(cans):
    def asked(order: list[tuple[str, int]]) -> dict[str, Any]:
        return values_of(cans=[{"size": size, "count": count} for size, count in order], dilution="1:10")

    first, second = asked([("9 L", 2), ("5 L", 1), ("1.5 L", 3)]), asked(cans)
    for name in ("ash_mass", "water_volume", "liquor_volume", "settle_time", "goes"):
        assert first["batch"][name] == second["batch"][name], name
    by_size = {can["size"]["value"]: can for can in first["batch"]["cans"]}
    for can in second["batch"]["cans"]:
        assert can == by_size[can["size"]["value"]]


@pytest.mark.parametrize("times", [2, 3])
def test_twice_the_cans_need_twice_the_ash_for_the_same_feed(times):
    vessel = {"capacity": "200 L", "depth": "60 cm"}
    few_cans = [{**can, "count": can["count"] * 2} for can in CANS["cans"]]
    many_cans = [{**can, "count": can["count"] * times} for can in few_cans]
    one = values_of(CANS, vessel=vessel, ash={"measure": "scales"}, cans=few_cans)
    many = values_of(CANS, vessel=vessel, ash={"measure": "scales"}, cans=many_cans)
    # What is weighed and filled is rounded to what scales and buckets show, here to within a twenty-fifth.
    assert many["batch"]["ash_mass"]["value"] == pytest.approx(times * one["batch"]["ash_mass"]["value"], rel=0.04)
    for name in ("potassium", "calcium", "alkalinity"):
        assert many["liquor"][name]["value"] == pytest.approx(one["liquor"][name]["value"], rel=0.04), name


# -- the season book ----------------------------------------------------------------------------------------------


def record(identity: str, kind: str, **fields: str) -> dict[str, Any]:
    told = {name: {"text": text, "at": "2026-05-01T09:00:00.000Z", "by": "x"} for name, text in fields.items()}
    return {"id": identity, "kind": kind, "fields": told, "history": []}


def season(*records: Mapping[str, Any], **more: str) -> dict[str, Any]:
    book = {"format": "feedcalc season book", "version": 1, "records": list(records)}
    values: dict[str, Any] = values_of(ask="season", book=book, now="2026-05-01T09:00", **more)["season"]
    assert values["set_aside"] == []
    return values


BED = record("b", "bed", name="South", area="6 m2", texture="loam", plant="tomato")
TEST = record("t", "soil test", bed="b", date="2026-03-01", ph="5.9", tested_with="laboratory")


def entry(amount: str, what: str = "dry ash", identity: str = "e", bed: str = "b", **more: str) -> dict[str, Any]:
    return record(identity, "entry", bed=bed, date="2026-04-01", what=what, amount=amount, **more)


def bed_south(*records: Mapping[str, Any], **more: str) -> dict[str, Any]:
    bed: dict[str, Any] = next(each for each in season(*records, **more)["beds"] if each["id"] == "b")
    assert not bed["set_aside"], bed["set_aside"]
    return bed


@pytest.mark.parametrize(
    "written",
    [
        ["500 g", "0.5 kg", "500000 mg", "1.10231131 lb", "17.6369810 oz"],
        ["1 L", "1000 mL", "100 cl", "0.264172052 gal (US)"],
    ],
)
def test_the_unit_of_an_entry_changes_no_total(written):
    first = bed_south(BED, TEST, entry(written[0]))
    for amount in written[1:]:
        same(without_entries(first), without_entries(bed_south(BED, TEST, entry(amount))), rel=2e-5)


def without_entries(bed: dict[str, Any]) -> dict[str, Any]:
    return {name: told for name, told in bed.items() if name not in ("entries", "area")}


@pytest.mark.parametrize("area", ["6 m^2", "60000 cm2", "64.5834625 sq ft", "0.0006 ha", "6 m²"])
def test_the_unit_of_a_bed_s_area_changes_no_total(area):
    plain = bed_south(BED, TEST, entry("500 g"))
    other = record("b", "bed", name="South", area=area, texture="loam", plant="tomato")
    same(without_entries(plain), without_entries(bed_south(other, TEST, entry("500 g"))), rel=2e-5)


def test_numbers_in_a_book_are_read_by_the_locale():
    plain = bed_south(BED, TEST, entry("1.5 kg"), locale="en-GB")
    same(plain, bed_south(BED, TEST, entry("1,5 kg"), locale="de-DE"))


@given(st.permutations(["bed", "test", "one", "two", "three"]))
@examples(10)
def test_the_order_of_a_book_changes_nothing(order):
    records = {
        "bed": BED,
        "test": TEST,
        "one": entry("500 g", identity="e1"),
        "two": entry("200 g", "lime", "e2", lime="garden_lime"),
        "three": entry("1 kg", identity="e3"),
    }
    told = bed_south(*records.values()), bed_south(*(records[name] for name in order))
    same(told[0], told[1])
    assert told[0]["verdict"] == told[1]["verdict"]


def test_entries_of_another_bed_do_not_count():
    other = record("n", "bed", name="North", area="2 m2", texture="clay")
    alone = bed_south(BED, TEST, entry("500 g"))
    beside = bed_south(BED, TEST, entry("500 g"), other, entry("9 kg", identity="x", bed="n"))
    assert beside == alone


def test_removed_records_do_not_count():
    removed = entry("9 kg", identity="x", removed="yes")
    assert bed_south(BED, TEST, entry("500 g"), removed) == bed_south(BED, TEST, entry("500 g"))


def test_twice_the_area_gets_the_same_dry_ash_per_square_metre():
    ground = {"ph": "5.8", "tested_with": "laboratory", "texture": "loam"}
    small, large = (
        values_of(ask="spread", soil={**ground, "area": area}, now="2026-05-01T09:00")["spread"]["advice"]
        for area in ("6 m2", "12 m2")
    )
    assert any(figure["unit"].endswith("/m2") for _, figure in every_figure(small))
    for path, figure in every_figure(small):
        if figure["unit"].endswith("/m2") and figure["value"] is not None:
            assert dict(every_figure(large))[path]["value"] == pytest.approx(figure["value"], rel=1e-6), path
