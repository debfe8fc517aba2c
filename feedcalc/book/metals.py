"""Metals of a book: each laboratory report beside the beds that got the ash, as figures of the contract.

Rules of this room: no sums and no limits of its own, it asks `feedcalc.garden.metals`; only what holds the ash's grains
counts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from feedcalc.book.amounts import NutrientAmounts
from feedcalc.book.entries import Bed, Book, Entry, EntryRecord
from feedcalc.book.totals import (
    a_year_before,
    season_rule,
    total_between,
)
from feedcalc.contract.figures import figure
from feedcalc.contract.quantities import read_quantity
from feedcalc.contract.request import Request
from feedcalc.garden.metals import METALS, Compared, MetalFigures, countries, limits_of, metal_figures
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.errors import InputError
from feedcalc.words.messages import said


def metals_of(records: Sequence[EntryRecord], book: Book, today: date, request: Request) -> list[dict[str, Any]]:
    """Each analysis of ash on each bed that got it, beside the country's limits; those of soil on their bed."""
    told = [record for record in records if record.kind == "metals" and record.text("removed") != "yes"]
    soils: dict[str, dict[str, float]] = {}
    found: list[dict[str, Any]] = []
    analyses = []
    for record in sorted(told, key=lambda record: (record.text("date"), record.id)):
        try:
            figures = _analysis(record, request)
        except InputError as error:
            found.append({"id": record.id, "name": record.text("name"), "set_aside": error.as_dict(), "beds": []})
            continue
        if record.text("of") == "soil":
            soils[record.text("bed")] = figures  # the newest, being the last in order of date
        analyses.append((record, figures))
    for record, figures in analyses:
        country = request.word("country") or _country_named(record.text("country"))
        row = countries()[country]
        of_soil = record.text("of") == "soil"
        beds = [
            bed for bed in book.beds if (bed.id == record.text("bed") if of_soil else _solids(bed, record.text("ash")))
        ]
        shown = [
            {
                "bed": bed.id,
                "name": bed.name,
                "metals": [
                    _metal(metal)
                    for metal in metal_figures(
                        {} if of_soil else figures,
                        figures if of_soil else soils.get(bed.id, {}),
                        None if of_soil else _heaviest(bed, record.text("ash")),
                        None if of_soil else _yearly(bed, record.text("ash"), today),
                        country,
                        season_rule("metal_depth").typical,
                        season_rule("soil_density"),
                    )
                ],
            }
            for bed in beds
        ]
        found.append(
            {
                "id": record.id,
                "name": record.text("name"),
                "set_aside": None,
                "date": record.text("date"),
                "of": record.text("of") or "ash",
                "ash_name": book.ashes.get(record.text("ash"), ""),
                "country": country,
                "country_name": said(row["name"]),
                "country_note": said(row["note"]),
                "source": row["source"],
                "status": row["status"],
                "notes": _notes_of(country),
                "beds": shown,
            }
        )
    return found


def _country_named(text: str) -> str:
    """The country by its code or name; the European Union, which is told as such, for any other."""
    found = (code for code, row in countries().items() if text.casefold() in (code.casefold(), row["name"].casefold()))
    return next(found, "EU")


def _notes_of(country: str) -> list[dict[str, str]]:
    """What must be said beside the limits of a country, each once."""
    limits = {limit.note: limit for limit in limits_of(country) if limit.note}
    return [{"text": said(note), "source": limit.source, "status": limit.status} for note, limit in limits.items()]


def _analysis(record: EntryRecord, request: Request) -> dict[str, float]:
    """mg/kg by metal; a bare number is taken as mg/kg, as laboratories print it."""
    figures = {}
    for metal in METALS:
        text = record.text(metal)
        if not text:
            continue
        if text[-1].isdigit():
            text += " mg/kg"
        quantity = read_quantity(
            text, "mass_fraction", metal, request.locale, request.customs, minimum=0.0, maximum=100
        )
        figures[metal] = quantity.value * 1000
    if not figures:
        raise InputError("cadmium", "", said("No metal stands in this analysis."), said("mg/kg, such as 1.5"))
    return figures


def _solids(bed: Bed, ash_id: str) -> list[Entry]:
    """Entries whose grains the analysis is of: those of the named ash, or of any where none is named."""
    return [e for e in bed.entries if e.solids.high > 0 and (not ash_id or e.ash_record == ash_id)]


def _only_solids(entry: Entry) -> Entry:
    return replace(entry, worth=NutrientAmounts(ash=entry.solids))


def _heaviest(bed: Bed, ash_id: str) -> Estimate | None:
    """The most dry ash (g/m2) that a single entry brought; nothing where none did, None where an area is missing."""
    each = [_only_solids(entry).per_square_metre() for entry in _solids(bed, ash_id)]
    if any(worth is None for worth in each):
        return None
    return max((worth.ash for worth in each if worth), key=lambda ash: ash.typical, default=Estimate.exactly(0.0))


def _yearly(bed: Bed, ash_id: str, today: date) -> Estimate | None:
    only = replace(bed, entries=tuple(_only_solids(entry) for entry in _solids(bed, ash_id)))
    total = total_between(only, a_year_before(today), today)
    return total.ash if total else None


def _metal(metal: MetalFigures) -> dict[str, Any]:
    return {
        "metal": metal.metal,
        "in_ash": if_known(metal.in_ash, lambda value: figure(Estimate.exactly(value), "mg/kg")),
        "in_soil": if_known(metal.in_soil, lambda value: figure(Estimate.exactly(value), "mg/kg")),
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
        "note": said(limit.note) if limit.note else "",
    }


def if_known(value: Any, told: Callable[[Any], Any]) -> Any:
    """What ``told`` makes of a value, None where there is none."""
    return None if value is None else told(value)
