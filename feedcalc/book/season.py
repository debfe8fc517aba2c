"""The season book as an answer: figures of the contract (``values.season``), verdicts with reasons, and the sheet.

Rules of this room:

* No sums and no limits of its own: it asks `feedcalc.book.totals`, `feedcalc.garden.metals` and
  `feedcalc.garden.suitability`, and puts what they say under fixed names. What a batch gave is worked
  out once for each distinct request.
* The verdict is the most careful direction of any reason: those of ground and plant, and those of what it had.
* A bed's own verdict is about dry ash now; what is planned (``what_if``) is judged as what it is.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from typing import Any

from feedcalc.book.amounts import QUANTITIES, SEED, NutrientAmounts
from feedcalc.book.batches import AnsweredBatches
from feedcalc.book.book_file import read_document
from feedcalc.book.entries import Bed, Book, Entry, EntryRecord, Reader, RejectedRecord, batch_of
from feedcalc.book.metals import if_known, metals_of
from feedcalc.book.records import LIQUID, Record
from feedcalc.book.totals import (
    TimelineStep,
    a_year_before,
    heaviest_day,
    lime_need,
    next_ash_day,
    next_feed_day,
    retest_day,
    timeline,
    total_between,
    totals_on,
    with_entry,
)
from feedcalc.book.verdict import circumstances_of_bed, reasons_now, reasons_with, suitability_reasons, verdict_of
from feedcalc.contract.cautions import Caution, cautions_for
from feedcalc.contract.figures import Figure, figure
from feedcalc.contract.quantities import read_quantity
from feedcalc.contract.request import Request
from feedcalc.garden.circumstances import circumstances_of
from feedcalc.garden.dry_ash import ash_content
from feedcalc.garden.spreading import asked_ash
from feedcalc.garden.suitability import (
    HOLD,
    verdict_for,
)
from feedcalc.liquor.verdict import feed_facts
from feedcalc.uncertainty.estimates import Estimate, Steps, within_progress
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
    "suitability_limits",
    "suitability_reasons",
)
SEASONS = ("sowing", "growing", "resting")
WHAT_IF_ID = "what-if"
_UNITS = dict.fromkeys(QUANTITIES, "g/m2") | {"lime_value": "g CaCO3/m2"}


@dataclass(frozen=True, slots=True)
class SeasonAnswer:
    """``values`` of the reply, and the steps of each bed's timeline by its id.

    ``bed`` is the one to show, ``asked_bed`` the one that was asked for, empty where none was.
    """

    values: Mapping[str, Any]
    assumed: Mapping[str, str]
    steps: Mapping[str, tuple[TimelineStep, ...]]
    bed: str
    asked_bed: str
    cautions: tuple[Caution, ...]
    tables: tuple[str, ...]
    read_as: Mapping[str, str]


# -- the answer -----------------------------------------------------------------------------------------------


def season_answer_in_steps(request: Request) -> Steps[SeasonAnswer]:
    """The book of a request shown as on its day; raises `InputErrors` where book or ``what_if`` can't be read.

    Without ``now`` the last day that stands in the book counts as today. The slices tell of the batches; each bed is a
    slice of its own after them.
    """
    records, unread = _records(request.carried.get("book"))
    bed_id, what_if = _text(request, "bed"), _what_if_fields(request)
    assumed: dict[str, str] = {}
    read_as: dict[str, str] = {}
    today = request.moment.date() if request.moment else None
    reader = Reader(AnsweredBatches(request.word("ranges") or "on"), request.locale, request.customs)
    parts = 1 if what_if is None else 2
    book = yield from within_progress(reader.book_in_steps(records, today), 0, 1, parts)
    if today is None:
        today = max((day for bed in book.beds for day in _days(bed)), default=date(2000, 1, 1))
        assumed["now"] = today.isoformat()
    ash = asked_ash(request)
    ash_lime = ash_content(ash, SEED).lime
    steps: dict[str, tuple[TimelineStep, ...]] = {}
    beds = []
    for bed in book.beds:
        yield 1, parts
        steps[bed.id] = timeline(bed, _first_day(bed, today), today)
        beds.append(_SeasonValues(request, bed, book, today, ash_lime, steps[bed.id]).values())
    yield 1, parts
    chosen = bed_id or (book.beds[0].id if book.beds else "")
    values: dict[str, Any] = {
        "today": today.isoformat(),
        "beds": beds,
        "set_aside": [
            *(_aside(aside) for aside in book.aside),
            *({"id": "", "kind": "record", **error.as_dict()} for error in unread),
        ],
        "what_if": None,
        "metals": metals_of(records, book, today, request),
    }
    if what_if is not None:
        planned = _what_if(reader, records, book, what_if, chosen, today, request, ash_lime)
        values["what_if"] = yield from within_progress(planned, 1, 1, parts)
        read_as = _amount_read_as(what_if, request)
        chosen = values["what_if"]["bed"]
    asked = chosen if bed_id or what_if is not None else ""
    tables = (*TABLES_BEHIND_A_SEASON, *(("metal_limits",) if values["metals"] else ()))
    cautions = tuple(c for c in cautions_for(set()) if c.where == "applying" or c.id == "ammonia")
    return SeasonAnswer({"season": values}, assumed, steps, chosen, asked, cautions, tables, read_as)


def entry_records(records: Iterable[Record]) -> tuple[EntryRecord, ...]:
    """Records as the sums see them: the texts in force."""
    return tuple(EntryRecord(record.id, record.kind, record.texts()) for record in records)


def _records(book: object) -> tuple[tuple[EntryRecord, ...], tuple[InputError, ...]]:
    """The records of an envelope, and what of it could not be read."""
    try:
        records, aside = read_document(book)
    except InputError as error:
        raise InputErrors([_under("book", error)]) from None
    return entry_records(records), tuple(aside)


def _text(request: Request, name: str) -> str:
    given = request.carried.get(name, "")
    if not isinstance(given, str):
        raise InputErrors([InputError(name, "", said("This is not text."), said("the id of a record"))])
    return given


def _what_if_fields(request: Request) -> dict[str, str] | None:
    given = request.carried.get("what_if")
    if given is None:
        return None
    if not isinstance(given, dict) or not all(isinstance(text, str) for text in given.values()):
        problem = said("This is not an entry.")
        raise InputErrors([InputError("what_if", "", problem, said("the fields of an entry, as text"))])
    return given


def _first_day(bed: Bed, today: date) -> date:
    """The first day of a timeline: a year back, or as far as the bed's first entry or test."""
    return min([a_year_before(today), *(day for day in _days(bed) if day <= today)])


def _days(bed: Bed) -> list[date]:
    """Every day on which something stands in the book for a bed."""
    return [test.day for test in bed.tests] + [entry.day for entry in bed.entries]


@dataclass(frozen=True, slots=True)
class _SeasonValues:
    """A bed put into words and figures on a day."""

    request: Request
    bed: Bed
    book: Book
    today: date
    ash_lime: Estimate
    steps: tuple[TimelineStep, ...]

    def values(self) -> dict[str, Any]:
        bed, today = self.bed, self.today
        standing = totals_on(bed, today, self.ash_lime)
        suits = verdict_for(circumstances_of_bed(self.request, bed, today))
        verdict = verdict_of(suits.reasons, reasons_now(bed, standing, self.request.locale))
        next_ash = None if suits.word == HOLD else next_ash_day(bed, today)
        feed = next_feed_day(bed, today)
        need = lime_need(bed, standing)
        room = 0.0 if standing.advice is None or verdict.word == HOLD else standing.advice.ash
        return {
            "id": bed.id,
            "name": bed.name,
            "area": if_known(bed.area, lambda area: figure(Estimate.exactly(area), "m2")),
            "texture": bed.texture,
            "place": bed.place,
            "plant": bed.plant,
            "note": bed.note,
            "soil_ph": if_known(standing.test, lambda test: figure(test.known_ph(), "1")),
            "soil_ph_now": if_known(standing.known_ph, lambda ph: figure(ph, "1")),
            "soil_tested_on": if_known(standing.test, lambda test: test.day.isoformat()),
            "soil_tests": [
                {"id": test.id, "date": test.day.isoformat(), "ph": test.ph, "tested_with": test.tested_with}
                for test in bed.tests
            ],
            "ash_this_year": if_known(standing.year, lambda year: figure(year.ash, "g/m2")),
            "cap": figure(Estimate(standing.cap.low, standing.cap.high, standing.cap.high), "g/m2"),
            "cap_source": standing.cap.source,
            **(_figures(standing.year) if standing.year else dict.fromkeys(_UNITS)),
            "calendar_year": if_known(standing.calendar, _figures),
            "target_ph": figure(Estimate.exactly(standing.target_ph), "1"),
            "lime_need": if_known(need, lambda lime: figure(lime, "g CaCO3/m2")),
            "shift": figure(standing.moved, "1"),
            "room": figure(Estimate.exactly(room), "g/m2"),
            "room_for_bed": if_known(bed.area, lambda area: figure(Estimate.exactly(room * area), "g")),
            "limited_by": "held back" if standing.advice is None or room == 0 else standing.advice.limited_by,
            "next_earliest": if_known(feed, lambda days: days[0].isoformat()),
            "next_usual": if_known(feed, lambda days: days[1].isoformat()),
            "next_ash": if_known(next_ash, lambda day: day.isoformat()),
            "retest_on": if_known(retest_day(bed, today), lambda day: day.isoformat()),
            "verdict": verdict.word,
            "reasons": [asdict(reason) for reason in verdict.reasons],
            "entries": [self._entry(entry) for entry in bed.entries],
            "set_aside": [_aside(aside) for aside in bed.aside],
            "timeline": [
                {
                    "date": step.day.isoformat(),
                    "ash": figure(step.ash, "g/m2"),
                    "lime_value": figure(step.lime, "g CaCO3/m2"),
                    "cap": figure(Estimate.exactly(step.cap), "g/m2"),
                }
                for step in self.steps
            ],
        }

    def _entry(self, entry: Entry) -> dict[str, Any]:
        own = entry.per_square_metre()
        running = total_between(self.bed, a_year_before(entry.day), entry.day)
        return {
            "id": entry.id,
            "date": entry.day.isoformat(),
            "what": entry.what,
            "amount": entry.amount,
            "where": entry.patch,
            "note": entry.note,
            "ash_name": self.book.ashes.get(entry.ash_record, ""),
            "in_all": {
                name: figure(getattr(entry.worth, name), _UNITS[name].removesuffix("/m2")) for name in QUANTITIES
            },
            "per_square_metre": if_known(own, _figures),
            "running": if_known(running, _figures),
        }


def _figures(worth: NutrientAmounts) -> dict[str, Figure]:
    return {name: figure(getattr(worth, name), _UNITS[name]) for name in QUANTITIES}


def _aside(aside: RejectedRecord) -> dict[str, str]:
    return {"id": aside.id, "kind": aside.kind, **aside.error.as_dict()}


def _what_if(
    reader: Reader,
    records: Sequence[EntryRecord],
    book: Book,
    fields: Mapping[str, str],
    chosen: str,
    today: date,
    request: Request,
    ash_lime: Estimate,
) -> Steps[dict[str, Any]]:
    """The same bed with an entry that is not made yet."""
    texts = {"date": today.isoformat(), "bed": chosen} | {name: text for name, text in fields.items() if text.strip()}
    beds = {bed.id: bed for bed in book.beds}
    bed = beds.get(texts["bed"])
    if bed is None:
        problem = InputError("what_if.bed", texts["bed"], said("There is no such bed in the book."), said("a bed's id"))
        raise InputErrors([problem])
    written = next((told for told in records if told.id == texts.get("id")), None)
    if written and written.text("amount") == texts.get("amount"):
        # A written amount that stays keeps its customs.
        texts = {"customs": written.text("customs")} | texts
    record = EntryRecord(texts.get("id") or WHAT_IF_ID, "entry", texts)
    ashes = {told.id: told for told in records if told.kind == "ash" and told.text("removed") != "yes"}
    try:
        # A plan may lie ahead.
        entry = yield from reader.entry_in_steps(record, bed, ashes)
    except InputErrors as errors:
        raise InputErrors([_under("what_if", error) for error in errors.errors]) from None
    except InputError as error:
        raise InputErrors([_under("what_if", error)]) from None
    before = replace(bed, entries=tuple(kept for kept in bed.entries if kept.id != entry.id))
    after = with_entry(before, entry)
    heaviest = heaviest_day(after, entry)
    standing = totals_on(after, heaviest, ash_lime)
    asked = circumstances_of_bed(request, bed, entry.day)
    if texts.get("season", "") in SEASONS:
        asked = replace(asked, season=texts["season"])
    batch = batch_of(record)
    if entry.what == LIQUID and batch:
        ranges = reader.batches.ranges if isinstance(reader.batches, AnsweredBatches) else "on"
        answer = yield from AnsweredBatches(ranges).answer(batch, record.text("dilution"))
        asked = replace(
            circumstances_of(answer.request, feed_facts(answer)),
            **{name: getattr(asked, name) for name in _OF_THE_BED if name != "season" or asked.season},
        )
    suiting = suitability_reasons(asked, entry)
    reasons = reasons_with(before, after, entry, standing, totals_on(before, heaviest, ash_lime), request.locale)
    verdict = verdict_of(suiting, reasons)
    return {
        "bed": bed.id,
        "date": entry.day.isoformat(),
        "what": entry.what,
        "amount": entry.amount,
        "in_all": {name: figure(getattr(entry.worth, name), _UNITS[name].removesuffix("/m2")) for name in QUANTITIES},
        "per_square_metre": if_known(entry.per_square_metre(), _figures),
        "ash_this_year": if_known(standing.year, lambda year: figure(year.ash, "g/m2")),
        "cap": figure(Estimate(standing.cap.low, standing.cap.high, standing.cap.high), "g/m2"),
        **(_figures(standing.year) if standing.year else dict.fromkeys(_UNITS)),
        "shift": figure(standing.moved, "1"),
        "soil_ph_after": if_known(standing.known_ph, lambda ph: figure(ph, "1")),
        "verdict": verdict.word,
        "reasons": [asdict(reason) for reason in verdict.reasons],
    }


def _amount_read_as(fields: Mapping[str, str], request: Request) -> dict[str, str]:
    """How the amount of a plan was read, where it could have been read otherwise."""
    kind = {"liquid feed": "volume", "lime": "mass"}.get(fields.get("what", "").strip(), "mass_or_volume")
    try:
        echo = read_quantity(fields.get("amount", ""), kind, "amount", request.locale, request.customs).echo
    except InputError:
        return {}  # a share in %, which can be read in one way only
    return {"what_if.amount": echo} if echo else {}


# What of the circumstances the bed tells, rather than the request of the batch.
_OF_THE_BED = ("soil_ph", "tested_with", "tested_years_ago", "texture", "plant", "place", "season", "locale")


def _under(place: str, error: InputError) -> InputError:
    return InputError(f"{place}.{error.field}", error.given, error.problem, error.accepted)


# -- the sheet ------------------------------------------------------------------------------------------------
