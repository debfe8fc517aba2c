"""The answer to ``"ask": "season"``: a season book on a day, as ``values.season`` of the contract.

* No totals or limits are computed here. What a batch gave is computed once for each distinct request.
* The verdict of a bed is about dry ash now; that of a plan (``what_if``) is about what is planned.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from feedcalc.book.amounts import SEED
from feedcalc.book.batches import AnsweredBatches
from feedcalc.book.book_file import read_document
from feedcalc.book.entries import Bed, Book, EntryRecord, entry_records
from feedcalc.book.figures import BedFigures, rejected_values
from feedcalc.book.metals import metals_of
from feedcalc.book.reader import Reader
from feedcalc.book.totals import TimelineStep, a_year_before, timeline
from feedcalc.book.what_if import WhatIf, amount_read_as, error_under
from feedcalc.contract.cautions import Caution, cautions_for
from feedcalc.contract.request import Request
from feedcalc.frozen import frozen
from feedcalc.garden.dry_ash import ash_content
from feedcalc.garden.spreading import asked_ash
from feedcalc.uncertainty.estimates import Steps, within_progress
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.messages import said

TABLES_BEHIND_A_SEASON = (
    "ash_caps",
    "ash_composition",
    "ash_density",
    "ash_soluble",
    "ash_state",
    "compost",
    "feed_practice",
    "limes",
    "plant_names",
    "plants",
    "plant_soil_ph",
    "season_reasons",
    "season_rules",
    "soil_buffers",
    "soil_ceiling",
    "suitability_limits",
    "suitability_reasons",
)


@frozen
class SeasonAnswer:
    """``values`` of the reply, and the timeline of each bed by its id.

    ``bed`` is the id of the bed to show, ``asked_bed`` that of the bed that was asked for, empty if none was.
    """

    values: Mapping[str, Any]
    assumed: Mapping[str, str]
    steps: Mapping[str, tuple[TimelineStep, ...]]
    bed: str
    asked_bed: str
    cautions: tuple[Caution, ...]
    tables: tuple[str, ...]
    read_as: Mapping[str, str]


def season_answer_in_steps(request: Request) -> Steps[SeasonAnswer]:
    """Return the answer about the book of a request; raises `InputErrors` if the book or ``what_if`` cannot be read.

    Without ``now`` the last day in the book counts as today. Progress is the number of computed batches; after them
    each bed is a slice of its own.
    """
    records, unread = _records(request.carried.get("book"))
    bed_id, plan = _text(request, "bed"), _planned_fields(request)
    today = request.moment.date() if request.moment else None
    batches = AnsweredBatches(request.word("ranges") or "on")
    reader = Reader(batches, request.locale, request.customs)
    parts = 1 if plan is None else 2
    book = yield from within_progress(reader.book_in_steps(records, today), 0, 1, parts)
    assumed: dict[str, str] = {}
    if today is None:
        today = max((day for bed in book.beds for day in _days(bed)), default=date(2000, 1, 1))
        assumed["now"] = today.isoformat()
    ash_lime = ash_content(asked_ash(request), SEED).lime
    timelines: dict[str, tuple[TimelineStep, ...]] = {}
    beds = []
    for bed in book.beds:
        yield 1, parts
        steps = timelines[bed.id] = timeline(bed, _first_day(bed, today), today)
        figures = BedFigures(request=request, bed=bed, book=book, today=today, ash_lime=ash_lime, steps=steps)
        beds.append(figures.values())
    yield 1, parts
    chosen = bed_id or (book.beds[0].id if book.beds else "")
    values: dict[str, Any] = {
        "today": today.isoformat(),
        "beds": beds,
        "set_aside": _rejected(book, unread),
        "what_if": None,
        "metals": metals_of(records, book, today, request),
    }
    if plan is not None:
        what_if = WhatIf(
            request=request, batches=batches, reader=reader, records=records, book=book, today=today, ash_lime=ash_lime
        )
        values["what_if"] = yield from within_progress(what_if.values(plan, chosen), 1, 1, parts)
        chosen = values["what_if"]["bed"]
    return SeasonAnswer(
        values={"season": values},
        assumed=assumed,
        steps=timelines,
        bed=chosen,
        asked_bed=chosen if bed_id or plan is not None else "",
        cautions=tuple(c for c in cautions_for(set()) if c.where == "applying" or c.id == "ammonia"),
        tables=(*TABLES_BEHIND_A_SEASON, *(("metal_limits",) if values["metals"] else ())),
        read_as={} if plan is None else amount_read_as(plan, request),
    )


def _records(book: object) -> tuple[tuple[EntryRecord, ...], tuple[InputError, ...]]:
    """Return the records of a book's JSON object, and what of it could not be read."""
    try:
        records, rejected = read_document(book)
    except InputError as error:
        raise InputErrors([error_under("book", error)]) from None
    return entry_records(records), tuple(rejected)


def _rejected(book: Book, unread: tuple[InputError, ...]) -> list[dict[str, str]]:
    return [
        *(rejected_values(rejected) for rejected in book.rejected),
        *({"id": "", "kind": "record", **error.as_dict()} for error in unread),
    ]


def _text(request: Request, name: str) -> str:
    given = request.carried.get(name, "")
    if not isinstance(given, str):
        raise InputErrors([InputError(name, "", said("This is not text."), said("the id of a record"))])
    return given


def _planned_fields(request: Request) -> dict[str, str] | None:
    given = request.carried.get("what_if")
    if given is None:
        return None
    if not isinstance(given, dict) or not all(isinstance(text, str) for text in given.values()):
        problem = said("This is not an entry.")
        raise InputErrors([InputError("what_if", "", problem, said("the fields of an entry, as text"))])
    return given


def _first_day(bed: Bed, today: date) -> date:
    """Return the first day of a timeline: a year ago, or the bed's first entry or test if that is earlier."""
    return min([a_year_before(today), *(day for day in _days(bed) if day <= today)])


def _days(bed: Bed) -> list[date]:
    """Return the days of a bed's tests and entries."""
    return [test.day for test in bed.tests] + [entry.day for entry in bed.entries]
