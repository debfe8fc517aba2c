"""The season book as an answer: figures of the contract (``values.season``), verdicts with reasons, and the sheet.

Rules of this room:

* No sums and no limits of its own: it asks `feedcalc.season`, `feedcalc.metals` and `feedcalc.suitability`, and puts
  what they say under fixed names and into words. What a batch gave is worked out once for each distinct request.
* The verdict is the most careful direction of any reason: those of ground and plant, and those of what it had.
* A bed's own verdict is about dry ash now; what is planned (``what_if``) is judged as what it is.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from functools import lru_cache
from typing import Any

from feedcalc import published
from feedcalc.answer import Answer, Outcome, answer_to
from feedcalc.cautions import Caution, cautions_for
from feedcalc.dry_uses import ash_worth
from feedcalc.errors import InputError, InputErrors, NoSolution
from feedcalc.estimates import Estimate
from feedcalc.judging import DAYS_PER_YEAR, circumstances_of, feed_facts
from feedcalc.liming import TABLE_DEPTH_CM, soil_buffer
from feedcalc.metals import METALS, Compared, MetalFigures, countries, limits_of, metal_figures
from feedcalc.quantities import read_quantity, write_number
from feedcalc.readings import ash_told
from feedcalc.records import Record, read_document
from feedcalc.report import Figure, figure, flat_figures, sludge_grams, sludge_lime
from feedcalc.request import Request, read_request
from feedcalc.season import (
    LIQUID,
    QUANTITIES,
    Ashes,
    Aside,
    Bed,
    Book,
    Entry,
    Reader,
    Standing,
    Step,
    Told,
    Worth,
    a_year_before,
    batch_of,
    drawn_from,
    heaviest_day,
    interval_of,
    last_of,
    lime_need,
    next_ash_day,
    next_feed_day,
    retest_day,
    season_rule,
    standing_on,
    timeline,
    total_between,
    with_entry,
)
from feedcalc.spreading import asked_ash
from feedcalc.suitability import (
    DIRECTIONS,
    GO,
    HOLD,
    Circumstances,
    Reason,
    Verdict,
    suitability_limit,
    verdict_for,
)
from feedcalc.wording import said

TABLES_BEHIND_A_SEASON = (
    "ash_caps",
    "ash_composition",
    "ash_density",
    "ash_soluble",
    "ash_state",
    "compost",
    "feed_practice",
    "limes",
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
    steps: Mapping[str, tuple[Step, ...]]
    bed: str
    asked_bed: str
    cautions: tuple[Caution, ...]
    tables: tuple[str, ...]
    read_as: Mapping[str, str]


# -- what batches gave ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class AnsweredBatches:
    """What batches gave, worked out by their own requests; ``ranges`` ``off`` for typical figures alone."""

    ranges: str = "on"

    def litre_of_feed(self, request: str, dilution: str) -> Worth:
        """A litre of feed as poured, in grams; raises `InputError` where the request is no batch."""
        return _litre_of_feed(request, dilution, self.ranges)

    def whole_sludge(self, request: str) -> Worth:
        """All the sludge of a batch with the liquor left in it, in grams."""
        return _whole_sludge(request, self.ranges)

    def ash_of_batch(self, request: str) -> Ashes:
        """The ash of a batch, by all that was read of it."""
        return _ashes_of(self.answer(request, ""))

    def kept_ash(self, evidence: str) -> Ashes:
        """A kept ash; raises `InputError` where its evidence is none."""
        return _kept_ash(evidence, self.ranges)

    def answer(self, request: str, dilution: str) -> Answer:
        """The batch worked through, with another dilution where one is given."""
        return _answered(request, dilution, self.ranges)


@lru_cache(maxsize=256)
def _litre_of_feed(request: str, dilution: str, ranges: str) -> Worth:
    answer = _answered(request, dilution, ranges)

    def grams(element: str) -> Estimate:
        return answer.spread(lambda outcome: outcome.own.liquor.milligrams_per_litre(element) / 1000)

    def lime(outcome: Outcome) -> float:
        return max(outcome.own.liquor.alkalinity, 0.0) / 1000

    return Worth(
        grams("potassium"),
        grams("calcium"),
        grams("magnesium"),
        answer.spread(lime),
        answer.spread(lambda outcome: _as_ash(lime(outcome), outcome)),
    )


@lru_cache(maxsize=256)
def _whole_sludge(request: str, ranges: str) -> Worth:
    answer = _answered(request, "", ranges)

    def held(element: str) -> Estimate:
        return answer.spread(lambda outcome: max(sludge_grams(outcome, element), 0.0))

    return Worth(
        held("potassium"),
        held("calcium"),
        held("magnesium"),
        answer.spread(lambda outcome: max(sludge_lime(outcome), 0.0)),
        answer.spread(lambda outcome: outcome.batch.ash_grams),
    )


def _ashes_of(answer: Answer) -> Ashes:
    return Ashes(answer.typical.sample, tuple(outcome.sample for outcome in answer.others))


@lru_cache(maxsize=64)
def _kept_ash(evidence: str, ranges: str) -> Ashes:
    """By its evidence, a list of batches or one: ashes weighed by what was read of them, if anything was."""
    try:
        told = json.loads(evidence)
    except (ValueError, RecursionError):
        told = None
    batches = told if isinstance(told, list) else [told]
    if not batches or not all(isinstance(batch, dict) and isinstance(batch.get("ash", {}), dict) for batch in batches):
        problem = said("Nothing that was learned of this ash can be read.")
        raise InputError("ash", evidence[:60], problem, said("the evidence of a kept ash, as JSON"))
    newest = batches[-1]
    kind = {name: newest.get("ash", {}).get(name) for name in ("kind", "state")}
    asked = {name: newest[name] for name in ("locale", "customs") if name in newest}
    text = json.dumps({"schema": 1, **asked, "ash": {**kind, "earlier": batches}})
    if ranges == "on" and any(batch.get("measured") for batch in batches):
        return _ashes_of(_answered(text, "", ranges))
    try:
        return drawn_from(ash_told(read_request(text)))
    except InputErrors as errors:
        first = errors.errors[0]
        raise InputError("ash", first.given, first.problem, first.accepted) from None


def _as_ash(lime: float, outcome: Outcome) -> float:
    """Grams of the batch's ash that hold as much lime value; none where the ash holds none."""
    per_gram = outcome.sample.lime_value()
    return lime / per_gram if per_gram > 0 else 0.0


# Whole answers are large; what a book asks again and again is kept by the two above.
@lru_cache(maxsize=8)
def _answered(text: str, dilution: str, ranges: str) -> Answer:
    try:
        document = json.loads(text)
        if not isinstance(document, dict):
            raise ValueError("a batch is an object")
    except (ValueError, RecursionError):
        raise InputError(
            "request", text[:60], said("This is not a batch."), said("the request of a batch as JSON")
        ) from None
    asked = {name: given for name, given in document.items() if name not in ("ask", "ranges")}
    asked |= {"schema": 1, "ranges": ranges} | ({"dilution": dilution} if dilution else {})
    try:
        return answer_to(read_request(json.dumps(asked)))
    except InputErrors as errors:
        first = errors.errors[0]
        where = "dilution" if first.field == "dilution" and dilution else f"request.{first.field}"
        raise InputError(where, first.given, first.problem, first.accepted) from None
    except NoSolution as reason:
        raise InputError("request", "", str(reason), said("less extreme amounts")) from None
    except Exception as fault:
        # A fault of ours with one batch must not hide the rest of a book.
        problem = said("feedcalc failed on this batch ({fault}); it is not counted.", fault=type(fault).__name__)
        raise InputError("request", "", problem, said("a report of this batch to us")) from None


# -- the answer -----------------------------------------------------------------------------------------------


def season_answer(request: Request) -> SeasonAnswer:
    """The book of a request shown as on its day; raises `InputErrors` where book or ``what_if`` can't be read.

    Without ``now`` the last day that stands in the book counts as today.
    """
    records, unread = _records(request.carried.get("book"))
    bed_id, what_if = _text(request, "bed"), _what_if_fields(request)
    assumed: dict[str, str] = {}
    read_as: dict[str, str] = {}
    today = request.moment.date() if request.moment else None
    reader = Reader(AnsweredBatches(request.word("ranges") or "on"), request.locale, request.customs)
    book = reader.book(records, today)
    if today is None:
        today = max((day for bed in book.beds for day in _days(bed)), default=date(2000, 1, 1))
        assumed["now"] = today.isoformat()
    ash = asked_ash(request)
    ash_lime = ash_worth(ash, SEED).lime
    steps = {bed.id: timeline(bed, _first_day(bed, today), today) for bed in book.beds}
    told = [_Told(request, bed, book, today, ash_lime, steps[bed.id]) for bed in book.beds]
    chosen = bed_id or (book.beds[0].id if book.beds else "")
    values: dict[str, Any] = {
        "today": today.isoformat(),
        "beds": [bed.values() for bed in told],
        "set_aside": [
            *(_aside(aside) for aside in book.aside),
            *({"id": "", "kind": "record", **error.as_dict()} for error in unread),
        ],
        "what_if": None,
        "metals": _metals(records, book, today, request),
    }
    if what_if is not None:
        values["what_if"] = _what_if(reader, records, book, what_if, chosen, today, request, ash_lime)
        read_as = _amount_read_as(what_if, request)
        chosen = values["what_if"]["bed"]
    asked = chosen if bed_id or what_if is not None else ""
    tables = (*TABLES_BEHIND_A_SEASON, *(("metal_limits",) if values["metals"] else ()))
    cautions = tuple(c for c in cautions_for(set()) if c.where == "applying" or c.id == "ammonia")
    return SeasonAnswer({"season": values}, assumed, steps, chosen, asked, cautions, tables, read_as)


def told_of(records: Iterable[Record]) -> tuple[Told, ...]:
    """Records as the sums see them: the texts in force."""
    return tuple(Told(record.id, record.kind, record.texts()) for record in records)


def _records(book: object) -> tuple[tuple[Told, ...], tuple[InputError, ...]]:
    """The records of an envelope, and what of it could not be read."""
    try:
        records, aside = read_document(book)
    except InputError as error:
        raise InputErrors([_under("book", error)]) from None
    return told_of(records), tuple(aside)


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


SEED = 1


def _first_day(bed: Bed, today: date) -> date:
    """The first day of a timeline: a year back, or as far as the bed's first entry or test."""
    return min([a_year_before(today), *(day for day in _days(bed) if day <= today)])


def _days(bed: Bed) -> list[date]:
    """Every day on which something stands in the book for a bed."""
    return [test.day for test in bed.tests] + [entry.day for entry in bed.entries]


@dataclass(frozen=True, slots=True)
class _Told:
    """A bed put into words and figures on a day."""

    request: Request
    bed: Bed
    book: Book
    today: date
    ash_lime: Estimate
    steps: tuple[Step, ...]

    def values(self) -> dict[str, Any]:
        bed, today = self.bed, self.today
        standing = standing_on(bed, today, self.ash_lime)
        suits = verdict_for(_circumstances(self.request, bed, today))
        verdict = _verdict(suits.reasons, _reasons_now(bed, standing, self.request.locale))
        next_ash = None if suits.word == HOLD else next_ash_day(bed, today)
        feed = next_feed_day(bed, today)
        need = lime_need(bed, standing)
        room = 0.0 if standing.advice is None or verdict.word == HOLD else standing.advice.ash
        return {
            "id": bed.id,
            "name": bed.name,
            "area": _maybe(bed.area, lambda area: figure(Estimate.exactly(area), "m2")),
            "texture": bed.texture,
            "place": bed.place,
            "plant": bed.plant,
            "note": bed.note,
            "soil_ph": _maybe(standing.test, lambda test: figure(test.known_ph(), "1")),
            "soil_ph_now": _maybe(standing.known_ph, lambda ph: figure(ph, "1")),
            "soil_tested_on": _maybe(standing.test, lambda test: test.day.isoformat()),
            "soil_tests": [
                {"id": test.id, "date": test.day.isoformat(), "ph": test.ph, "tested_with": test.tested_with}
                for test in bed.tests
            ],
            "ash_this_year": _maybe(standing.year, lambda year: figure(year.ash, "g/m2")),
            "cap": figure(Estimate(standing.cap.low, standing.cap.high, standing.cap.high), "g/m2"),
            "cap_source": standing.cap.source,
            **(_figures(standing.year) if standing.year else dict.fromkeys(_UNITS)),
            "calendar_year": _maybe(standing.calendar, _figures),
            "target_ph": figure(Estimate.exactly(standing.target_ph), "1"),
            "lime_need": _maybe(need, lambda lime: figure(lime, "g CaCO3/m2")),
            "shift": figure(standing.moved, "1"),
            "room": figure(Estimate.exactly(room), "g/m2"),
            "room_for_bed": _maybe(bed.area, lambda area: figure(Estimate.exactly(room * area), "g")),
            "limited_by": "held back" if standing.advice is None or room == 0 else standing.advice.limited_by,
            "next_earliest": _maybe(feed, lambda days: days[0].isoformat()),
            "next_usual": _maybe(feed, lambda days: days[1].isoformat()),
            "next_ash": _maybe(next_ash, lambda day: day.isoformat()),
            "retest_on": _maybe(retest_day(bed, today), lambda day: day.isoformat()),
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
            "per_square_metre": _maybe(own, _figures),
            "running": _maybe(running, _figures),
        }


def _figures(worth: Worth) -> dict[str, Figure]:
    return {name: figure(getattr(worth, name), _UNITS[name]) for name in QUANTITIES}


def _maybe(value: Any, told: Callable[[Any], Any]) -> Any:
    return None if value is None else told(value)


def _aside(aside: Aside) -> dict[str, str]:
    return {"id": aside.id, "kind": aside.kind, **aside.error.as_dict()}


def _what_if(
    reader: Reader,
    records: Sequence[Told],
    book: Book,
    fields: Mapping[str, str],
    chosen: str,
    today: date,
    request: Request,
    ash_lime: Estimate,
) -> dict[str, Any]:
    """The same bed with an entry that is not made yet."""
    texts = {"date": today.isoformat(), "bed": chosen} | {name: text for name, text in fields.items() if text.strip()}
    beds = {bed.id: bed for bed in book.beds}
    bed = beds.get(texts["bed"])
    if bed is None:
        problem = InputError("what_if.bed", texts["bed"], said("There is no such bed in the book."), said("a bed's id"))
        raise InputErrors([problem])
    record = Told(texts.get("id") or WHAT_IF_ID, "entry", texts)
    ashes = {told.id: told for told in records if told.kind == "ash" and told.text("removed") != "yes"}
    try:
        # A plan may lie ahead.
        entry = reader.entry(record, bed, ashes)
    except InputErrors as errors:
        raise InputErrors([_under("what_if", error) for error in errors.errors]) from None
    except InputError as error:
        raise InputErrors([_under("what_if", error)]) from None
    before = replace(bed, entries=tuple(kept for kept in bed.entries if kept.id != entry.id))
    after = with_entry(before, entry)
    heaviest = heaviest_day(after, entry)
    standing = standing_on(after, heaviest, ash_lime)
    asked = _circumstances(request, bed, entry.day)
    if texts.get("season", "") in SEASONS:
        asked = replace(asked, season=texts["season"])
    batch = batch_of(record)
    if entry.what == LIQUID and batch:
        answer = AnsweredBatches(reader.batches.ranges if isinstance(reader.batches, AnsweredBatches) else "on").answer(
            batch, record.text("dilution")
        )
        asked = replace(
            circumstances_of(answer.request, feed_facts(answer)),
            **{name: getattr(asked, name) for name in _OF_THE_BED if name != "season" or asked.season},
        )
    suits = _suits(asked, entry)
    reasons = _reasons_with(before, after, entry, standing, standing_on(before, heaviest, ash_lime), request.locale)
    verdict = _verdict(suits, reasons)
    return {
        "bed": bed.id,
        "date": entry.day.isoformat(),
        "what": entry.what,
        "amount": entry.amount,
        "in_all": {name: figure(getattr(entry.worth, name), _UNITS[name].removesuffix("/m2")) for name in QUANTITIES},
        "per_square_metre": _maybe(entry.per_square_metre(), _figures),
        "ash_this_year": _maybe(standing.year, lambda year: figure(year.ash, "g/m2")),
        "cap": figure(Estimate(standing.cap.low, standing.cap.high, standing.cap.high), "g/m2"),
        **(_figures(standing.year) if standing.year else dict.fromkeys(_UNITS)),
        "shift": figure(standing.moved, "1"),
        "soil_ph_after": _maybe(standing.known_ph, lambda ph: figure(ph, "1")),
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


def _suits(case: Circumstances, entry: Entry) -> tuple[Reason, ...]:
    """What soil and plant say of an entry: of ash and feed everything, of lime what bears on lime."""
    reasons = verdict_for(case).reasons
    if entry.what in (LIQUID, "dry ash", "sludge") or entry.solids.high > 0:
        return reasons
    if entry.worth.lime_value.high <= 0:
        return ()
    kept = ("soil_", "plant_") if entry.what != "compost" else ("plant_",)
    return tuple(reason for reason in reasons if reason.id.startswith(kept))


def _under(place: str, error: InputError) -> InputError:
    return InputError(f"{place}.{error.field}", error.given, error.problem, error.accepted)


def _circumstances(request: Request, bed: Bed, day: date) -> Circumstances:
    test = bed.test_before(day)
    return Circumstances(
        soil_ph=test.ph if test else None,
        tested_with=test.tested_with if test else "",
        tested_years_ago=(day - test.day).days / DAYS_PER_YEAR if test else None,
        texture=bed.texture,
        plant=bed.plant,
        stage=request.word("stage"),
        use=request.word("use"),
        season=request.word("season"),
        place=bed.place,
        locale=request.locale,
    )


def _verdict(*groups: Sequence[Reason]) -> Verdict:
    reasons = sorted(
        (reason for group in groups for reason in group), key=lambda reason: -DIRECTIONS.index(reason.towards)
    )
    return Verdict(reasons[0].towards if reasons else GO, tuple(reasons))


# -- reasons --------------------------------------------------------------------------------------------------


def _reason(reason_id: str, source: tuple[str, str] | None = None, /, **parts: str) -> Reason:
    row = next(row for row in published.table("season_reasons") if row["id"] == reason_id)
    where, status = source or (row["source"], row["status"])
    return Reason(reason_id, said(row["text"], **parts), row["towards"], where, status)


def _number(value: float, locale: str) -> str:
    return write_number(value, 2, locale, trim=True)


def _reasons_now(bed: Bed, standing: Standing, locale: str) -> list[Reason]:
    """What the book says of a bed as it stands, for dry ash."""
    reasons = _reasons_of_the_book(bed, standing, locale)
    test, year, cap = standing.test, standing.year, standing.cap
    if test is None or year is None:
        return reasons
    by = (cap.source, cap.status)
    told = {"had": _number(year.ash.typical, locale), "cap": _number(cap.high, locale), "ph": _number(test.ph, locale)}
    if cap.high == 0.0:
        reasons.append(_reason("season_no_cap", by, ph=told["ph"]))
    elif year.ash.typical > cap.high * (1 + 1e-9):
        reasons.append(_reason("season_cap_passed", by, **told))
    elif year.ash.typical >= cap.high * (1 - 1e-9):
        reasons.append(_reason("season_cap_spent", by, **told))
    else:
        reasons.append(_reason("season_room", by, had=told["had"], cap=told["cap"]))
    if _need_is_met(standing):
        reasons.append(_reason("season_need_met", ph=_number(_known(standing).typical, locale)))
    return reasons


def _reasons_of_the_book(bed: Bed, standing: Standing, locale: str) -> list[Reason]:
    """What the book itself leaves in doubt: no area, records set aside, a test too far back."""
    reasons = []
    if bed.area is None:
        reasons.append(_reason("season_no_area"))
    lost = [aside for aside in bed.aside if aside.kind == "entry"]
    if lost:
        reasons.append(_reason("season_set_aside", count=str(len(lost))))
    if standing.moved.typical >= season_rule("retest_shift").typical:
        reasons.append(_reason("season_retest", shift=_number(standing.moved.typical, locale)))
    return reasons


def _reasons_with(
    before: Bed, after: Bed, entry: Entry, standing: Standing, earlier: Standing, locale: str
) -> list[Reason]:
    """What the book says of an entry that is not made yet: ``standing`` with it, ``earlier`` without."""
    reasons = _reasons_of_the_book(before, earlier, locale)
    reasons += _interval_reasons(before, entry, locale)
    test, year, cap, own = standing.test, standing.year, standing.cap, entry.per_square_metre()
    if test is None or year is None or own is None:
        return reasons
    is_liquid = entry.what == LIQUID
    by = (cap.source, cap.status)
    told = {"had": _number(year.ash.typical, locale), "cap": _number(cap.high, locale), "ph": _number(test.ph, locale)}
    if own.ash.high > 0:
        if cap.high == 0.0:
            reasons += [] if is_liquid else [_reason("season_no_cap", by, ph=told["ph"])]
        elif year.ash.typical > cap.high * (1 + 1e-9):
            reasons.append(_reason("season_over_cap_feed" if is_liquid else "season_over_cap", by, **told))
        elif year.ash.high > cap.high * (1 + 1e-9):
            high = _number(year.ash.high, locale)
            reasons.append(_reason("season_may_pass_cap", by, had=told["had"], high=high, cap=told["cap"]))
        else:
            reasons.append(_reason("season_within", by, had=told["had"], cap=told["cap"]))
    if own.lime_value.high <= 0:
        return reasons
    if _need_is_met(earlier):
        known = _number(_known(earlier).typical, locale)
        reasons.append(_reason("season_need_met_feed" if is_liquid else "season_need_met", ph=known))
    elif not is_liquid:
        reasons += _lime_reasons(before, own, earlier, locale)
    return reasons


def _lime_reasons(before: Bed, own: Worth, earlier: Standing, locale: str) -> list[Reason]:
    need = lime_need(before, earlier)
    lime = _number(own.lime_value.typical, locale)
    if need is not None and own.lime_value.typical > need.typical * (1 + 1e-9):
        target = _number(earlier.target_ph, locale)
        return [_reason("season_over_need", lime=lime, need=_number(need.typical, locale), target=target)]
    stop = suitability_limit("soil_stop")
    room = soil_buffer(before.texture, TABLE_DEPTH_CM).low * max(stop - _known(earlier).high, 0.0)
    if own.lime_value.high > room:
        return [_reason("season_past_stop", lime=lime, stop=_number(stop, locale))]
    return []


def _interval_reasons(before: Bed, entry: Entry, locale: str) -> list[Reason]:
    last, interval = last_of(before, entry.what, entry.day), interval_of(entry.what)
    if last is None or interval.high == 0.0:
        return []
    days = (entry.day - last).days
    by = ("our_judgement", "judgement") if entry.what == LIQUID else ("common_practice", "practice")
    if days < interval.low:
        earliest = date.fromordinal(last.toordinal() + round(interval.low)).isoformat()
        least = said("{count} days", count=_number(interval.low, locale))
        return [_reason("season_too_soon", by, days=str(days), least=least, date=earliest)]
    if days < interval.typical:
        usual = said("{count} days", count=_number(interval.typical, locale))
        return [_reason("season_rather_soon", by, days=str(days), usual=usual)]
    return []


def _known(standing: Standing) -> Estimate:
    assert standing.known_ph is not None
    return standing.known_ph


def _need_is_met(standing: Standing) -> bool:
    """Whether what was given since the test has brought the soil to its target by typical figures."""
    return (
        standing.known_ph is not None
        and standing.moved.typical > 0
        and standing.known_ph.typical >= standing.target_ph - 1e-9
    )


# -- metals ---------------------------------------------------------------------------------------------------


def _metals(records: Sequence[Told], book: Book, today: date, request: Request) -> list[dict[str, Any]]:
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
        country = request.word("country") or record.text("country").upper() or "EU"
        if country not in countries():
            country = "EU"
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


def _notes_of(country: str) -> list[dict[str, str]]:
    """What must be said beside the limits of a country, each once."""
    limits = {limit.note: limit for limit in limits_of(country) if limit.note}
    return [{"text": said(note), "source": limit.source, "status": limit.status} for note, limit in limits.items()]


def _analysis(record: Told, request: Request) -> dict[str, float]:
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
    return replace(entry, worth=Worth(ash=entry.solids))


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
        "in_ash": _maybe(metal.in_ash, lambda value: figure(Estimate.exactly(value), "mg/kg")),
        "in_soil": _maybe(metal.in_soil, lambda value: figure(Estimate.exactly(value), "mg/kg")),
        "per_application": _maybe(metal.per_application, lambda value: figure(value, "g/ha")),
        "per_year": _maybe(metal.per_year, lambda value: figure(value, "g/ha")),
        "limits": [_compared(each) for each in metal.compared],
        "years_to_limit": _maybe(metal.years_to_limit, lambda value: figure(value, "a")),
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


# -- the sheet ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SeasonSheet:
    """What the templates of a season need: the values, every figure in words by its path, and the steps to draw."""

    values: Mapping[str, Any]
    words: Mapping[str, str]
    steps: Mapping[str, tuple[Step, ...]]
    bed: str
    asked_bed: str
    assumed: Mapping[str, str]
    cautions: tuple[Caution, ...]
    locale: str
    spoken: Mapping[str, str]


def season_sheet(answer: SeasonAnswer, locale: str) -> SeasonSheet:
    """The sheet of an answer, numbers written as the grower's country writes them."""
    words = {path: _in_words(told, locale) for path, told in flat_figures(answer.values).items()}
    return SeasonSheet(
        answer.values,
        words,
        answer.steps,
        answer.bed,
        answer.asked_bed,
        answer.assumed,
        answer.cautions,
        locale,
        SPOKEN,
    )


# The words of the contract that a grower reads too: they stay as they are in ``values`` and are said on the sheet.
SPOKEN: Mapping[str, str] = {
    "go": said("go"),
    "go weaker": said("go weaker"),
    "hold back": said("hold back"),
    "liquid feed": said("liquid feed"),
    "dry ash": said("dry ash"),
    "sludge": said("sludge"),
    "compost": said("compost"),
    "lime": said("lime"),
    "other": said("other"),
    "cadmium": said("cadmium"),
    "lead": said("lead"),
    "zinc": said("zinc"),
    "copper": said("copper"),
    "nickel": said("nickel"),
    "chromium": said("chromium"),
    "arsenic": said("arsenic"),
    "mercury": said("mercury"),
    "potassium": said("potassium"),
    "calcium": said("calcium"),
    "magnesium": said("magnesium"),
    "lime_value": said("lime value"),
    "ash": said("ash"),
}

_WRITTEN = {
    "g/m2": "\u00a0g/m²",
    "g CaCO3/m2": "\u00a0g/m²",
    "g CaCO3": "\u00a0g",
    "1": "",
    "g": "\u00a0g",
    "m2": "\u00a0m²",
    "mg/kg": "\u00a0mg/kg",
    "g/ha": "\u00a0g/ha",
    "a": "",
}


def _in_words(told: Figure, locale: str) -> str:
    """A figure with its range, two figures each: no more is known."""
    unit = _WRITTEN[told["unit"]]
    low, value, high = (_number(told[name], locale) for name in ("low", "value", "high"))
    if low == high:
        return value + unit
    return said("{value} ({low} to {high})", value=value + unit, low=low, high=high)


def timeline_words(bed: Mapping[str, Any], words: Mapping[str, str], at: str) -> dict[str, str]:
    """Title, description and caption of a bed's timeline; ``at`` is where its figures stand in ``words``."""
    return {
        "title": said("What {bed} had in the last twelve months, day by day", bed=bed["name"]),
        "description": said(
            "Ash of the twelve months up to each day goes in steps; it stands at {ash} now, and the cap at {cap}. "
            "Lime value stands at {lime}. Entries are marked by letters, as in the list below.",
            ash=words[at + "ash_this_year"],
            cap=words[at + "cap"],
            lime=words[at + "lime_value"],
        ),
        "caption": said(
            "Thick line: ash, with its range. Dashes: the cap. Dots: lime value. Round: liquid feed, square: dry ash, "
            "diamond: sludge, triangle: compost, pointing down: lime, cross: other."
        ),
    }
