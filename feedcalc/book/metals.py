"""Metals in a season book: every laboratory report with the beds it bears on, as figures of the contract.

Loads and limits come from `feedcalc.garden.metals`. Only entries that brought the ash's solid grains count.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import date
from typing import Any

from feedcalc.book.amounts import NutrientAmounts
from feedcalc.book.entries import Bed, Book, Entry, EntryRecord
from feedcalc.book.figures import if_known
from feedcalc.book.totals import past_year_total, season_rule
from feedcalc.book.verdict import season_reason
from feedcalc.contract.figures import exact_figure, figure
from feedcalc.contract.numbers import write_number
from feedcalc.contract.quantities import read_quantity
from feedcalc.contract.request import Request
from feedcalc.garden.metals import (
    LOAD,
    MATERIAL,
    METALS,
    SOIL,
    Compared,
    MetalFigures,
    countries,
    limits_of,
    metal_figures,
)
from feedcalc.garden.suitability import Reason
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.errors import InputError
from feedcalc.words.languages import MACHINE_WORDS
from feedcalc.words.messages import said

# mg/kg by metal.
_Contents = Mapping[str, float]


def metals_of(records: Sequence[EntryRecord], book: Book, today: date, request: Request) -> list[dict[str, Any]]:
    """Return ``values.season.metals``: an analysis of ash with the beds that received it, one of soil with its bed."""
    reports = [record for record in records if record.kind == "metals" and not record.is_removed]
    soils: dict[str, _Contents] = {}
    rejected: list[dict[str, Any]] = []
    read: list[tuple[EntryRecord, _Contents]] = []
    for record in sorted(reports, key=lambda record: (record.text("date"), record.id)):
        try:
            contents = _contents(record, request)
        except InputError as error:
            values = {"id": record.id, "name": record.text("name"), "set_aside": error.as_dict(), "beds": []}
            rejected.append(values)
            continue
        if record.text("of") == "soil":
            soils[record.text("bed")] = contents  # the newest, because reports are sorted by date
        read.append((record, contents))
    found = list(rejected)
    for record, contents in read:
        country = request.word("country") or _country_named(record.text("country"))
        if record.text("of") == "soil":
            beds = [
                _bed_values(bed, country, today, in_soil=contents) for bed in book.beds if bed.id == record.text("bed")
            ]
        else:
            beds = [
                _bed_values(bed, country, today, in_soil=soils.get(bed.id, {}), in_ash=contents, solids=solids)
                for bed in book.beds
                if (solids := _solid_entries(bed, record.text("ash")))
            ] or [_on_no_bed(contents, country)]
        found.append(_report_values(record, country, book, beds))
    return found


def contents_of_ash(records: Sequence[EntryRecord], request: Request) -> dict[str, float]:
    """Return the mg/kg of each metal by the newest analyses of ash in a book; analyses that cannot be read add none."""
    contents: dict[str, float] = {}
    reports = [record for record in records if record.kind == "metals" and not record.is_removed]
    for report in sorted(reports, key=lambda record: (record.text("date"), record.id)):
        if report.text("of") != "soil":
            with suppress(InputError):
                contents |= _contents(report, request)
    return contents


def metal_reasons(
    records: Sequence[EntryRecord], book: Book, bed: Bed, entry: Entry, today: date, request: Request
) -> list[Reason]:
    """Return which limits a planned entry passes by the book's analyses of its ash; ``bed`` holds the entry already."""
    if entry.solids.high <= 0:
        return []
    planned = replace(book, beds=(bed,))
    reasons = []
    for report in metals_of(records, planned, today, request):
        concerns = not report["set_aside"] and report["of"] == "ash" and report["ash"] in ("", entry.ash_record)
        for metal in (metal for row in report["beds"] for metal in row["metals"]) if concerns else ():
            reasons += _reasons_of_metal(metal, report["country_name"], request.locale)
    return list(dict.fromkeys(reasons))


_PASSED = {MATERIAL: "season_metal_above", LOAD: "season_metal_load_above", SOIL: "season_metal_soil_above"}
_COMPARED = {MATERIAL: "in_ash", LOAD: "per_year", SOIL: "in_soil"}


def _reasons_of_metal(metal: Mapping[str, Any], country: str, locale: str) -> list[Reason]:
    """Return a reason for each limit of a row of `_metal` that is passed, or one for those that may be."""
    name, reasons = MACHINE_WORDS[metal["metal"]], []
    for limit in metal["limits"]:
        if limit["verdict"] == "above" and limit["kind"] in _PASSED:
            found = {
                "value": write_number(metal[_COMPARED[limit["kind"]]]["value"], 2, locale, trim=True),
                "limit": write_number(limit["limit"]["value"], 2, locale, trim=True),
            }
            by = (limit["source"], limit["status"])
            reasons.append(season_reason(_PASSED[limit["kind"]], by, metal=name, country=country, **found))
    if not reasons and any(limit["verdict"] == "may be above" for limit in metal["limits"]):
        reasons.append(season_reason("season_metal_may_be_above", metal=name, country=country))
    return reasons


def _report_values(record: EntryRecord, country: str, book: Book, beds: list[dict[str, Any]]) -> dict[str, Any]:
    row = countries()[country]
    return {
        "id": record.id,
        "name": record.text("name"),
        "set_aside": None,
        "date": record.text("date"),
        "of": record.text("of") or "ash",
        "ash": record.text("ash"),
        "ash_name": book.ashes.get(record.text("ash"), ""),
        "country": country,
        "country_name": row["name"],
        "country_note": row["note"],
        "source": row["source"],
        "status": row["status"],
        "notes": _notes_of(country),
        "beds": beds,
    }


def _bed_values(
    bed: Bed,
    country: str,
    today: date,
    *,
    in_soil: _Contents,
    in_ash: _Contents | None = None,
    solids: Sequence[Entry] | None = None,
) -> dict[str, Any]:
    """Return a bed with its metals; ``solids`` are the entries that brought the ash, None for an analysis of soil."""
    metals = metal_figures(
        in_ash=in_ash or {},
        in_soil=in_soil,
        per_application=None if solids is None else _heaviest(solids),
        per_year=None if solids is None else _yearly(bed, solids, today),
        country=country,
        depth_cm=season_rule("metal_depth").typical,
        soil_density=season_rule("soil_density"),
    )
    return {"bed": bed.id, "name": bed.name, "metals": [_metal(metal) for metal in metals]}


def _on_no_bed(in_ash: _Contents, country: str) -> dict[str, Any]:
    """Return the metals of an ash that no bed has received, beside the limits for what is spread."""
    metals = metal_figures(
        in_ash=in_ash,
        in_soil={},
        per_application=None,
        per_year=None,
        country=country,
        depth_cm=season_rule("metal_depth").typical,
        soil_density=season_rule("soil_density"),
    )
    return {"bed": "", "name": said("no bed has got this ash yet"), "metals": [_metal(metal) for metal in metals]}


def _country_named(text: str) -> str:
    """Return the code of a country given by code or name, ``EU`` for any other text."""
    found = (code for code, row in countries().items() if text.casefold() in (code.casefold(), row["name"].casefold()))
    return next(found, "EU")


def _notes_of(country: str) -> list[dict[str, str]]:
    """Return the notes on the limits of a country, each once."""
    limits = {limit.note: limit for limit in limits_of(country) if limit.note}
    return [{"text": note, "source": limit.source, "status": limit.status} for note, limit in limits.items()]


def _contents(record: EntryRecord, request: Request) -> _Contents:
    """Return the mg/kg of each metal in a report; a bare number is in mg/kg, as laboratories print it."""
    contents = {}
    for metal in METALS:
        text = record.text(metal)
        if not text:
            continue
        if text[-1].isdigit():
            text += " mg/kg"
        typed = {"locale": request.locale, "customs": request.customs}
        quantity = read_quantity(text, "mass_fraction", metal, **typed, minimum=0.0, maximum=100)
        contents[metal] = quantity.value * 1000
    if not contents:
        raise InputError("cadmium", "", said("There is no metal in this analysis."), said("mg/kg, such as 1.5"))
    return contents


def _solid_entries(bed: Bed, ash_id: str) -> list[Entry]:
    """Return the entries that brought solid grains of the ash with this id, or of any ash if the id is empty.

    Their amounts are reduced to the ash of these grains.
    """
    return [
        replace(entry, amounts=NutrientAmounts(ash=entry.solids))
        for entry in bed.entries
        if entry.solids.high > 0 and (not ash_id or entry.ash_record == ash_id)
    ]


def _heaviest(solids: Sequence[Entry]) -> Estimate | None:
    """Return the most dry ash (g/m2) of a single entry, 0 if there is none; None if an area is not known."""
    found: list[Estimate] = []
    for entry in solids:
        amounts = entry.per_square_metre()
        if amounts is None:
            return None
        found.append(amounts.ash)
    return max(found, key=lambda ash: ash.typical, default=Estimate.exactly(0.0))


def _yearly(bed: Bed, solids: Sequence[Entry], today: date) -> Estimate | None:
    """Return the dry ash (g/m2) of the past twelve months; None if an area is not known."""
    total = past_year_total(replace(bed, entries=tuple(solids)), today)
    return total.ash if total else None


def _metal(metal: MetalFigures) -> dict[str, Any]:
    return {
        "metal": metal.metal,
        "in_ash": if_known(metal.in_ash, lambda value: exact_figure(value, "mg/kg")),
        "in_soil": if_known(metal.in_soil, lambda value: exact_figure(value, "mg/kg")),
        "per_application": if_known(metal.per_application, lambda value: figure(value, "g/ha")),
        "per_year": if_known(metal.per_year, lambda value: figure(value, "g/ha")),
        "limits": [_compared(each) for each in metal.compared],
        "years_to_limit": if_known(metal.years_to_limit, lambda value: figure(value, "a")),
    }


def _compared(each: Compared) -> dict[str, Any]:
    limit = each.limit
    return {
        "kind": limit.kind,
        "limit": figure(Estimate(limit.low, limit.high, limit.high), limit.unit),
        "verdict": each.verdict,
        "applies": limit.applies,
        "source": limit.source,
        "status": limit.status,
        "note": limit.note,
    }
