"""Read the records of a season book into beds with soil tests and entries.

* A record that cannot be read is rejected with the reason. It never stops the others and is always reported.
* An entry is read with the customs it was written in, if it has them, so a cup stays the same cup in anyone's book.
* ``where`` that starts with a number is a part of the bed, anything else a remark; the same text is the same part.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import TypeVar

from feedcalc.book.entries import Bed, Book, Entry, EntryRecord, RejectedRecord, SoilTest
from feedcalc.book.entry_amounts import Batches, EntryAmounts, one_of
from feedcalc.book.records import ENTRY_KINDS
from feedcalc.contract.choice_words import BY_WORD, choices_listed, soil_ph_meant
from feedcalc.contract.fields import PLACES
from feedcalc.contract.quantities import Quantity, read_quantity
from feedcalc.contract.units import CUSTOMS
from feedcalc.frozen import frozen
from feedcalc.uncertainty.estimates import Steps, run_to_end, within_progress
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.languages import date_words
from feedcalc.words.messages import said

TEXTURES = ("sand", "loam", "clay", "peat")
TESTERS = ("laboratory", "meter", "kit", "strip")
Result = TypeVar("Result")


@dataclass(slots=True)
class _BedContents:
    """A bed while the records on it are read."""

    bed: Bed
    tests: list[SoilTest] = field(default_factory=list)
    entries: list[Entry] = field(default_factory=list)
    rejected: list[RejectedRecord] = field(default_factory=list)

    def reject(self, record: EntryRecord, error: InputError | InputErrors) -> None:
        errors = error.errors if isinstance(error, InputErrors) else (error,)
        self.rejected += [RejectedRecord(record.id, record.kind, each) for each in errors]

    def as_bed(self) -> Bed:
        return replace(
            self.bed,
            tests=tuple(sorted(self.tests, key=lambda test: (test.day, test.id))),
            entries=tuple(sorted(self.entries, key=lambda entry: (entry.day, entry.id))),
            rejected=(*self.bed.rejected, *self.rejected),
        )


@frozen
class Reader:
    """Reads what people typed in a book in their locale and customs; ``batches`` gives the amounts of liquor."""

    batches: Batches
    locale: str = "en-GB"
    customs: str = "metric"

    def book(self, records: Iterable[EntryRecord], today: date | None = None) -> Book:
        """Return the book in ``records``. An entry later than the day after ``today`` is rejected; None accepts all."""
        return run_to_end(self.book_in_steps(records, today))

    def book_in_steps(self, records: Iterable[EntryRecord], today: date | None = None) -> Steps[Book]:
        """Return the same as `book` in slices; progress is the number of distinct batches that were computed."""
        records = tuple(records)
        removed = {record.id for record in records if record.is_removed}
        kept = [record for record in records if record.id not in removed]
        ashes = {record.id: record for record in kept if record.kind == "ash"}
        beds = {record.id: _BedContents(self._bed(record)) for record in kept if record.kind == "bed"}
        batches = list(dict.fromkeys(_batch_key(record) for record in kept if record.kind == "entry"))
        batch_number = {key: number for number, key in enumerate(batches)}
        without_bed: list[RejectedRecord] = []
        for record in kept:
            if record.kind not in ("soil test", "entry") or record.text("bed") in removed:
                continue
            contents = beds.get(record.text("bed"))
            if contents is None:
                problem, accepted = said("There is no such bed in the book."), said("the id of a bed in the book")
                error = InputError("bed", record.text("bed"), problem, accepted)
                without_bed.append(RejectedRecord(record.id, record.kind, error))
                continue
            try:
                if record.kind == "soil test":
                    contents.tests.append(self.soil_test(record, today))
                else:
                    reading = self.entry_in_steps(record, contents.bed, ashes, today)
                    number = batch_number[_batch_key(record)]
                    contents.entries.append((yield from within_progress(reading, number, 1, len(batches))))
            except (InputError, InputErrors) as errors:
                contents.reject(record, errors)
        found = sorted(beds.values(), key=lambda contents: (contents.bed.name.casefold(), contents.bed.id))
        names = {record.id: record.text("name") or record.id for record in ashes.values()}
        return Book(tuple(contents.as_bed() for contents in found), tuple(without_bed), names)

    def faults_of(
        self, record: EntryRecord, records: Iterable[EntryRecord], today: date | None = None
    ) -> tuple[InputError, ...]:
        """Return why a record would be rejected beside the beds and ashes of ``records``; nothing if it is accepted."""
        around = [each for each in records if each.kind in ("bed", "ash") and each.id != record.id]
        book = self.book([*around, record], today)
        rejected = [*book.rejected, *(each for bed in book.beds for each in bed.rejected)]
        return tuple(each.error for each in rejected if each.id == record.id)

    def _bed(self, record: EntryRecord) -> Bed:
        rejected: list[RejectedRecord] = []

        def unless_rejected(read: Callable[[], Result], otherwise: Result) -> Result:
            try:
                return read()
            except InputError as error:
                rejected.append(RejectedRecord(record.id, "bed", error))
                return otherwise

        return Bed(
            id=record.id,
            name=record.text("name") or record.id,
            area=unless_rejected(lambda: self._bed_area(record), None),
            texture=unless_rejected(lambda: one_of(record, "texture", TEXTURES), ""),
            place=unless_rejected(lambda: one_of(record, "place", PLACES), ""),
            plant=record.text("plant"),
            note=record.text("note"),
            rejected=tuple(rejected),
        )

    def _bed_area(self, record: EntryRecord) -> float | None:
        return self._area(record.text("area"), "area") if record.text("area") else None

    def _area(self, text: str, field: str) -> float:
        return self._read(text, "area", field, minimum=0.001, maximum=1e8).value

    def soil_test(self, record: EntryRecord, today: date | None = None) -> SoilTest:
        """Return a soil test; raises `InputError` if it cannot be read."""
        if meant := soil_ph_meant(record.text("ph")):
            return SoilTest(record.id, _day(record, today), meant[0], BY_WORD)
        ph = self._read(record.text("ph"), "ph", "ph", minimum=2.5, maximum=11).value
        return SoilTest(record.id, _day(record, today), ph, one_of(record, "tested_with", TESTERS))

    def entry_in_steps(
        self, record: EntryRecord, bed: Bed, ashes: Mapping[str, EntryRecord], today: date | None = None
    ) -> Steps[Entry]:
        """Return an entry on a bed; raises `InputError` or `InputErrors` if it cannot be read."""
        customs = record.text("customs")
        if customs in CUSTOMS and customs != self.customs:
            return (yield from replace(self, customs=customs).entry_in_steps(record, bed, ashes, today))
        day = _day(record, today)
        what = one_of(record, "what", ENTRY_KINDS)
        if not what:
            accepted = said("one of {choices}", choices=choices_listed(ENTRY_KINDS))
            raise InputError("what", "", said("Say what you gave."), accepted)
        patch, area = self._covered_part(record, bed)
        amounts, solids = yield from EntryAmounts(self.batches, ashes, self.locale, self.customs, area).of(record, what)
        return Entry(
            id=record.id,
            day=day,
            what=what,
            amount=record.text("amount"),
            amounts=amounts,
            patch=patch,
            area=area,
            note=record.text("note"),
            ash_record=record.text("ash"),
            solids=solids,
        )

    def _covered_part(self, record: EntryRecord, bed: Bed) -> tuple[str, float | None]:
        """Return the name of the part of the bed that ``where`` gives and its area in m2; no name for the whole bed.

        ``where`` starts with an area or a share in %; other words mean the whole bed.
        """
        where = record.text("where")
        if not where or not (where[0].isdigit() or where[0] in "½¼¾⅓⅔"):
            return "", bed.area
        part = where.split(";")[0].strip()
        name = " ".join(where.casefold().split())
        if part.endswith("%"):
            share = self._read(part, "fraction", "where", minimum=0.01, maximum=1.0).value
            return name, None if bed.area is None else bed.area * share
        area = self._area(part, "where")
        if bed.area is not None and area > bed.area * 1.001:
            raise InputError("where", where, said("This is larger than the bed."), said("at most the area of the bed"))
        return name, area

    def _read(self, text: str, kind: str, field: str, **bounds: float) -> Quantity:
        return read_quantity(text, kind, field, locale=self.locale, customs=self.customs, **bounds)


def _batch_key(record: EntryRecord) -> tuple[str, ...]:
    """Return the fields of an entry that determine which batch or kept ash is computed for it."""
    return tuple(record.text(name) for name in ("what", "request", "batch", "dilution", "ash"))


def _day(record: EntryRecord, today: date | None) -> date:
    text = record.text("date")
    try:
        day = datetime.fromisoformat(text).date()
    except ValueError:
        raise InputError("date", text, said("This is not a date."), said("a date such as 2026-05-01")) from None
    if not 1970 <= day.year <= 2200:
        raise InputError("date", text, said("This is not a date of our time."), said("a date such as 2026-05-01"))
    # One day more, because clocks and time zones differ between devices.
    if today is not None and day > today + timedelta(days=1):
        accepted = said("a date up to {day}", day=date_words(today))
        raise InputError("date", text, said("This day has not come yet."), accepted)
    return day
