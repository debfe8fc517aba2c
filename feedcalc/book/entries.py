"""A season book read: beds with their soil tests and entries, every entry turned into grams.

Rules of this room:

* What a person typed is read by the readers that read everything else, in their locale and customs.
* An entry that can't be read is set aside with the reason. It never stops the others and is never dropped unsaid.
* What a batch gave is asked of a `Batches`, so that no chemistry is known here. A liquid feed counts as the ash that
  holds as much lime value.
* A book is read in slices, because a batch that is asked for the first time takes a while.
* An entry is read by the customs it was written in, where it tells them: a cup stays the same cup in anyone's book.
* ``where`` that starts with a number is a part of the bed, else words; the same text is the same part.
"""

from __future__ import annotations

import base64
from bisect import bisect_right
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import Protocol, TypeVar

from feedcalc import published
from feedcalc.book.amounts import (
    NOTHING,
    OWN_FIGURES,
    QUANTITIES,
    Ashes,
    NutrientAmounts,
    compost_amounts,
    difference_of,
    drawn_from,
    dry_ash_amounts,
    lime_amounts,
    sludge_amounts,
    total_of,
)
from feedcalc.book.records import COMPOST, DRY, ENTRY_KINDS, LIME, LIQUID, SLUDGE
from feedcalc.contract.fields import PLACES
from feedcalc.contract.quantities import Quantity, read_quantity
from feedcalc.contract.units import CUSTOMS
from feedcalc.garden.ash import ash_of
from feedcalc.garden.suitability import soil_test_error
from feedcalc.uncertainty.estimates import Estimate, Steps, run_to_end, within_progress
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.messages import said

TEXTURES = ("sand", "loam", "clay", "peat")
TESTERS = ("laboratory", "meter", "kit", "strip")
# Of whatever is given at once, in g or L.
LEAST_AMOUNT, MOST_AMOUNT = 1e-3, 1e9
Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class EntryRecord:
    """A record of the book as far as it bears on the sums: id, kind and the texts in force, by field."""

    id: str
    kind: str
    texts: Mapping[str, str]

    def text(self, name: str) -> str:
        """What stands in a field, without outer spaces; empty where there is nothing."""
        return self.texts.get(name, "").strip()


class Batches(Protocol):
    """What batches of liquor gave, by the request that describes them (JSON text), each worked out in slices."""

    def litre_of_feed(self, request: str, dilution: str) -> Steps[NutrientAmounts]:
        """A litre of feed as poured; ``dilution`` (``1:3``) instead of the request's own unless it is empty."""

    def whole_sludge(self, request: str) -> Steps[NutrientAmounts]:
        """All the sludge that stays in the bucket."""

    def ash_of_batch(self, request: str) -> Steps[Ashes]:
        """The ash a batch was made of, by all that was read of it."""

    def kept_ash(self, evidence: str) -> Steps[Ashes]:
        """A kept ash, by the evidence of its record (JSON text)."""


@dataclass(frozen=True, slots=True)
class SoilTest:
    """A soil test: day, pH as read, and by what means (empty where nobody said)."""

    id: str
    day: date
    ph: float
    tested_with: str

    def known_ph(self, moved: Estimate = NOTHING) -> Estimate:
        """The pH with the error of the reading, and moved by lime given since."""
        error = soil_test_error(self.tested_with)
        return Estimate(self.ph - error + moved.low, self.ph + moved.typical, self.ph + error + moved.high)


@dataclass(frozen=True, slots=True)
class Entry:
    """Something a bed was given: grams on the ground it covered, ``area`` of that in m2 (None where unknown).

    ``patch`` names the part of the bed it went on, empty for all of it.
    """

    id: str
    day: date
    what: str
    amount: str
    worth: NutrientAmounts
    patch: str = ""
    area: float | None = None
    note: str = ""
    ash_record: str = ""
    solids: Estimate = NOTHING  # dry ash whose grains reached the ground, g: what brings metals

    def per_square_metre(self) -> NutrientAmounts | None:
        """Grams to the square metre of the ground it covered."""
        return None if self.area is None else self.worth.scaled(1 / self.area)


class Sums:
    """Running totals of entries to the square metre, part by part, so that any span of days is one difference.

    A bed of years is asked for its total on every day something changes; adding anew each time would take the
    square of its entries.
    """

    def __init__(self, entries: Sequence[Entry]) -> None:
        """``entries`` in order of date."""
        self._days: dict[str, list[date]] = {}
        self._totals: dict[str, list[NutrientAmounts]] = {}
        self._unknown = [entry.day for entry in entries if entry.area is None]
        for entry in entries:
            totals = self._totals.setdefault(entry.patch, [NutrientAmounts()])
            totals.append(total_of((totals[-1], entry.per_square_metre() or NutrientAmounts())))
            self._days.setdefault(entry.patch, []).append(entry.day)

    def between(self, after: date, up_to: date) -> dict[str, NutrientAmounts] | None:
        """What each part got after one day and up to another, by its name; None where a covered area is not known.

        Only parts that got something are named.
        """
        if bisect_right(self._unknown, up_to) > bisect_right(self._unknown, after):
            return None
        found = {}
        for patch, days in self._days.items():
            first, last = bisect_right(days, after), bisect_right(days, up_to)
            if last > first:
                found[patch] = difference_of(self._totals[patch][last], self._totals[patch][first])
        return found


@dataclass(frozen=True, slots=True)
class RejectedRecord:
    """A record that is not counted, and why."""

    id: str
    kind: str
    error: InputError


@dataclass(frozen=True, slots=True)
class Bed:
    """A bed: what it is, its soil tests and entries in order of date, and what of it could not be read."""

    id: str
    name: str
    area: float | None = None
    texture: str = ""
    place: str = ""
    plant: str = ""
    note: str = ""
    tests: tuple[SoilTest, ...] = ()
    entries: tuple[Entry, ...] = ()
    aside: tuple[RejectedRecord, ...] = ()
    sums: Sums = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "sums", Sums(self.entries))

    def test_before(self, day: date) -> SoilTest | None:
        """The newest soil test up to a day; of two on one day the more alkaline, which is the careful one."""
        found = [test for test in self.tests if test.day <= day]
        return max(found, key=lambda test: (test.day, test.ph)) if found else None


@dataclass(frozen=True, slots=True)
class Book:
    """A book worked through: its beds, what belongs to none of them, and the names of the ashes in it."""

    beds: tuple[Bed, ...]
    aside: tuple[RejectedRecord, ...] = ()
    ashes: Mapping[str, str] = field(default_factory=dict)


# -- reading the book -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Reader:
    """Reads what people typed in a book, by their locale and customs; ``batches`` answers for liquor and sludge."""

    batches: Batches
    locale: str = "en-GB"
    customs: str = "metric"

    def book(self, records: Iterable[EntryRecord], today: date | None = None) -> Book:
        """The book in ``records``. An entry dated after the day after ``today`` is set aside; None takes all."""
        return run_to_end(self.book_in_steps(records, today))

    def book_in_steps(self, records: Iterable[EntryRecord], today: date | None = None) -> Steps[Book]:
        """`book` in slices, told by how many of the batches behind its entries are worked out."""
        records = tuple(records)
        gone = {record.id for record in records if record.text("removed") == "yes"}
        kept = [record for record in records if record.id not in gone]
        ashes = {record.id: record for record in kept if record.kind == "ash"}
        beds = {record.id: self._bed(record) for record in kept if record.kind == "bed"}
        tests: dict[str, list[SoilTest]] = {bed: [] for bed in beds}
        entries: dict[str, list[Entry]] = {bed: [] for bed in beds}
        aside: dict[str, list[RejectedRecord]] = {bed: list(beds[bed].aside) for bed in beds}
        lost: list[RejectedRecord] = []
        places: dict[tuple[str, ...], int] = {}
        for record in kept:
            if record.kind == "entry":
                places.setdefault(_behind(record), len(places))
        for record in kept:
            if record.kind not in ("soil test", "entry"):
                continue
            bed = record.text("bed")
            if bed in gone:
                continue
            if bed not in beds:
                problem = InputError(
                    "bed", bed, said("There is no such bed in the book."), said("the id of a bed in the book")
                )
                lost.append(RejectedRecord(record.id, record.kind, problem))
                continue
            try:
                if record.kind == "soil test":
                    tests[bed].append(self.soil_test(record, today))
                else:
                    reading = self.entry_in_steps(record, beds[bed], ashes, today)
                    entry = yield from within_progress(reading, places[_behind(record)], 1, len(places))
                    entries[bed].append(entry)
            except InputErrors as errors:
                aside[bed] += [RejectedRecord(record.id, record.kind, error) for error in errors.errors]
            except InputError as error:
                aside[bed].append(RejectedRecord(record.id, record.kind, error))
        return Book(
            tuple(
                Bed(
                    bed.id,
                    bed.name,
                    bed.area,
                    bed.texture,
                    bed.place,
                    bed.plant,
                    bed.note,
                    tuple(sorted(tests[bed.id], key=lambda test: (test.day, test.id))),
                    tuple(sorted(entries[bed.id], key=lambda entry: (entry.day, entry.id))),
                    tuple(aside[bed.id]),
                )
                for bed in sorted(beds.values(), key=lambda bed: (bed.name.casefold(), bed.id))
            ),
            tuple(lost),
            {record.id: record.text("name") or record.id for record in ashes.values()},
        )

    def faults_of(
        self, record: EntryRecord, records: Iterable[EntryRecord], today: date | None = None
    ) -> tuple[InputError, ...]:
        """Why a record would be set aside among the beds and ashes of ``records``; none where it can be counted."""
        around = [told for told in records if told.kind in ("bed", "ash") and told.id != record.id]
        book = self.book([*around, record], today)
        aside = [*book.aside, *(each for bed in book.beds for each in bed.aside)]
        return tuple(each.error for each in aside if each.id == record.id)

    def _bed(self, record: EntryRecord) -> Bed:
        aside: list[RejectedRecord] = []

        def or_aside(read: Callable[[], Result], otherwise: Result) -> Result:
            try:
                return read()
            except InputError as error:
                aside.append(RejectedRecord(record.id, "bed", error))
                return otherwise

        area = or_aside(lambda: self._area(record), None)
        texture = or_aside(lambda: _one_of(record, "texture", TEXTURES), "")
        place = or_aside(lambda: _one_of(record, "place", PLACES), "")
        name = record.text("name") or record.id
        return Bed(record.id, name, area, texture, place, record.text("plant"), record.text("note"), aside=tuple(aside))

    def _area(self, record: EntryRecord) -> float | None:
        return self._read(record, "area", "area", minimum=0.001, maximum=1e8).value if record.text("area") else None

    def soil_test(self, record: EntryRecord, today: date | None = None) -> SoilTest:
        """A soil test; raises `InputError` where it can't be read."""
        ph = self._read(record, "ph", "ph", minimum=2.5, maximum=11).value
        return SoilTest(record.id, _day(record, today), ph, _one_of(record, "tested_with", TESTERS))

    def entry_in_steps(
        self, record: EntryRecord, bed: Bed, ashes: Mapping[str, EntryRecord], today: date | None = None
    ) -> Steps[Entry]:
        """An entry on a bed; raises `InputError` or `InputErrors` where it can't be read."""
        customs = record.text("customs")
        if customs in CUSTOMS and customs != self.customs:
            return (yield from replace(self, customs=customs).entry_in_steps(record, bed, ashes, today))
        day = _day(record, today)
        what = _one_of(record, "what", ENTRY_KINDS) or ""
        if not what:
            raise InputError(
                "what",
                "",
                said("What was given is not said."),
                said("one of {choices}", choices=", ".join(ENTRY_KINDS)),
            )
        patch, area = self._where(record, bed)
        worth, solids = yield from self._given(record, what, ashes)
        return Entry(
            record.id,
            day,
            what,
            record.text("amount"),
            worth,
            patch,
            area,
            record.text("note"),
            record.text("ash"),
            solids,
        )

    def _where(self, record: EntryRecord, bed: Bed) -> tuple[str, float | None]:
        """The part of the bed that is named, and its area: an area, a share in %, or words (then all of the bed)."""
        where = record.text("where")
        if not where or not (where[0].isdigit() or where[0] in "½¼¾⅓⅔"):
            return "", bed.area
        part = where.split(";")[0].strip()
        key = " ".join(where.casefold().split())
        if part.endswith("%"):
            share = read_quantity(part, "fraction", "where", self.locale, self.customs, minimum=0.01, maximum=1.0).value
            return key, None if bed.area is None else bed.area * share
        area = read_quantity(part, "area", "where", self.locale, self.customs, minimum=0.001, maximum=1e8).value
        if bed.area is not None and area > bed.area * 1.001:
            raise InputError("where", where, said("This is larger than the bed."), said("at most the area of the bed"))
        return key, area

    # -- what was given ---------------------------------------------------------------------------------------

    def _given(
        self, record: EntryRecord, what: str, ashes: Mapping[str, EntryRecord]
    ) -> Steps[tuple[NutrientAmounts, Estimate]]:
        if what == LIQUID:
            return (yield from self._liquid(record)), NOTHING
        if what == DRY:
            grams = self._amount(record, "amount")
            return dry_ash_amounts((yield from self._ash(record, ashes)), grams)
        if what == SLUDGE:
            return (yield from self._sludge(record, ashes))
        if what == COMPOST:
            return (yield from self._compost(record, ashes))
        if what == LIME:
            return self._lime(record), NOTHING
        return self._own(record, required=True), NOTHING

    def _liquid(self, record: EntryRecord) -> Steps[NutrientAmounts]:
        litres = self._read(record, "amount", "volume", minimum=0.001, maximum=1e7).value
        request = batch_of(record)
        if request:
            litre = yield from self.batches.litre_of_feed(request, record.text("dilution"))
            return litre.scaled(litres)
        if any(record.text(name) for name in OWN_FIGURES):
            return self._own(record, required=True)
        raise InputError(
            "request",
            record.text("batch"),
            said("What this feed was made from is not known."),
            said("the batch it came from, or its own figures of potassium and lime value"),
        )

    def _sludge(self, record: EntryRecord, ashes: Mapping[str, EntryRecord]) -> Steps[tuple[NutrientAmounts, Estimate]]:
        amount, request = record.text("amount"), batch_of(record)
        if amount.endswith("%"):
            if not request:
                accepted = said("a volume or a weight, or the batch that the share is of")
                raise InputError("amount", amount, said("A share of what is not said."), accepted)
            share = read_quantity(amount, "fraction", "amount", self.locale, self.customs, minimum=0.001, maximum=1)
            whole = yield from self.batches.whole_sludge(request)
            worth = whole.scaled(share.value)
            return worth, worth.ash
        ash = yield from self.batches.ash_of_batch(request) if request else self._ash(record, ashes)
        quantity = self._amount(record, "amount")
        return sludge_amounts(ash, quantity)

    def _compost(
        self, record: EntryRecord, ashes: Mapping[str, EntryRecord]
    ) -> Steps[tuple[NutrientAmounts, Estimate]]:
        quantity = self._amount(record, "amount")
        parts = [_instead(compost_amounts(quantity), self._own(record, required=False), record)]
        solids = NOTHING
        if record.text("ash_amount"):
            layered = self._amount(record, "ash_amount")
            worth, solids = dry_ash_amounts((yield from self._ash(record, ashes)), layered)
            parts.append(worth)
        return total_of(parts), solids

    def _lime(self, record: EntryRecord) -> NutrientAmounts:
        if record.text("lime_value"):
            return self._own(record, required=True)
        grams = self._read(record, "amount", "mass", minimum=0.001, maximum=1e9).value
        names = [row["id"] for row in published.table("limes")]
        return lime_amounts(_one_of(record, "lime", names) or names[0], grams)

    def _own(self, record: EntryRecord, required: bool) -> NutrientAmounts:
        """By the grower's own figures, to a kilogram where the amount is a weight, to a litre where it is a volume."""
        given = [name for name in OWN_FIGURES if record.text(name)]
        if required and not given:
            accepted = said("potassium, calcium or lime value, such as 50 g/kg or 2 g/L")
            raise InputError("lime_value", "", said("What this holds is not said."), accepted)
        quantity = self._amount(record, "amount")
        held = {}
        for name in given:
            if quantity.kind == "mass":
                share = self._read(record, name, "mass_fraction", minimum=0.0, maximum=1800.0).value
                grams = share / 1000 * quantity.value
            else:
                grams = (
                    self._read(record, name, "concentration", minimum=0.0, maximum=1e6).value / 1000 * quantity.value
                )
            held[name] = Estimate.exactly(grams)
        return NutrientAmounts(**held)

    def _ash(self, record: EntryRecord, ashes: Mapping[str, EntryRecord]) -> Steps[Ashes]:
        named = record.text("ash")
        if not named:
            return drawn_from(ash_of("mixed", "fresh"))
        if named not in ashes:
            raise InputError(
                "ash", named, said("There is no such ash in the book."), said("the id of an ash in the book")
            )
        evidence = ashes[named].text("evidence")
        if not evidence:
            return drawn_from(ash_of("mixed", "fresh"))
        return (yield from self.batches.kept_ash(evidence))

    def _amount(self, record: EntryRecord, name: str) -> Quantity:
        """A weight in g or a volume in L, above nothing and below what a garden could hold."""
        quantity = self._read(record, name, "mass_or_volume")
        if not LEAST_AMOUNT <= quantity.value <= MOST_AMOUNT:
            problem, accepted = said("This is out of range."), said("an amount such as 200 g or 2 cups")
            raise InputError(name, record.text(name), problem, accepted)
        return quantity

    def _read(self, record: EntryRecord, name: str, kind: str, **bounds: float) -> Quantity:
        return read_quantity(record.text(name), kind, name, self.locale, self.customs, **bounds)


def customs_bear_on(amount: str, locale: str) -> bool:
    """Whether an amount is more or less by the customs it is read in, as a cup is.

    >>> customs_bear_on("1 cup", "en-GB"), customs_bear_on("1 us_cup", "en-GB"), customs_bear_on("9 L", "en-GB")
    (True, False, False)
    """

    def read(customs: str) -> float | None:
        try:
            return read_quantity(amount, "mass_or_volume", "amount", locale, customs).value
        except InputError:
            return None

    return len({read(customs) for customs in CUSTOMS}) > 1


def batch_of(record: EntryRecord) -> str:
    """The request of the batch that an entry is from: as kept with it, else out of a link that carries one, else empty.

    >>> batch_of(EntryRecord("a", "entry", {"batch": "https://example.org/ash/#batch=eyJzY2hlbWEiOjF9"}))
    '{"schema":1}'
    """
    if record.text("request"):
        return record.text("request")
    _, mark, carried = record.text("batch").partition("#batch=")
    if not mark:
        return ""
    try:
        return base64.urlsafe_b64decode(carried + "=" * (-len(carried) % 4)).decode("utf-8")
    except ValueError:
        problem = said("This link holds no batch.")
        raise InputError("batch", record.text("batch")[:60], problem, said("a link from a batch's label")) from None


def _behind(record: EntryRecord) -> tuple[str, ...]:
    """What of an entry tells the batch or the kept ash it is counted by, and what is asked of that."""
    return tuple(record.text(name) for name in ("what", "request", "batch", "dilution", "ash"))


def _one_of(record: EntryRecord, name: str, choices: Sequence[str]) -> str:
    given = " ".join(record.text(name).casefold().split())
    if given and given not in choices:
        accepted = said("one of {choices}", choices=", ".join(choices))
        raise InputError(name, record.text(name), said("This is not one of the choices."), accepted)
    return given


def _day(record: EntryRecord, today: date | None) -> date:
    text = record.text("date")
    try:
        day = datetime.fromisoformat(text).date()
    except ValueError:
        raise InputError("date", text, said("This is not a date."), said("a date such as 2026-05-01")) from None
    if not 1970 <= day.year <= 2200:
        raise InputError("date", text, said("This is not a date of our time."), said("a date such as 2026-05-01"))
    # A day's grace, because clocks and time zones differ between devices.
    if today is not None and day > today + timedelta(days=1):
        accepted = said("a date up to {day}", day=today.isoformat())
        raise InputError("date", text, said("This day has not come yet."), accepted)
    return day


def _instead(usual: NutrientAmounts, own: NutrientAmounts, record: EntryRecord) -> NutrientAmounts:
    """The usual figures, each replaced by the grower's own where there is one."""
    return NutrientAmounts(
        **{
            name: getattr(own if record.text(name) else usual, name) if name in OWN_FIGURES else NOTHING
            for name in QUANTITIES
        }
    )
