"""A season book that was read: beds with their soil tests and entries, every entry in grams.

* An entry covers a whole bed or a named part of it. Entries that name the same part are added up.
* Records that could not be read are kept beside the others with the reason.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field
from datetime import date

from feedcalc.book.amounts import NOTHING, NutrientAmounts, difference_of, total_of
from feedcalc.book.records import REMOVED, Record
from feedcalc.frozen import frozen
from feedcalc.garden.liming import limed_ph
from feedcalc.garden.suitability import soil_test_error
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.errors import InputError


@frozen
class EntryRecord:
    """The parts of a season-book record that the totals depend on: its id, its kind and its current texts by field."""

    id: str
    kind: str
    texts: Mapping[str, str]

    def text(self, name: str) -> str:
        """Return the text of a field without surrounding spaces, empty if there is none."""
        return self.texts.get(name, "").strip()

    @property
    def is_removed(self) -> bool:
        """Whether the record was removed from the book."""
        return self.text(REMOVED) == "yes"


def entry_records(records: Iterable[Record]) -> tuple[EntryRecord, ...]:
    """Return the current texts of records."""
    return tuple(EntryRecord(record.id, record.kind, record.texts()) for record in records)


@frozen
class SoilTest:
    """A soil test: its day, the pH and the method, empty if not known."""

    id: str
    day: date
    ph: float
    tested_with: str

    def known_ph(self, shift: Estimate = NOTHING) -> Estimate:
        """Return the pH with the error of the method, moved by ``shift`` pH units for lime given since."""
        return limed_ph(self.ph, soil_test_error(self.tested_with), shift)


@frozen
class Entry:
    """Something a bed received: ``amounts`` in grams on ``area`` m2 of ground (None if not known).

    ``patch`` names the part of the bed that was covered, empty for all of it. ``solids`` is the dry ash in grams whose
    grains reached the ground, which brings metals.
    """

    id: str
    day: date
    what: str
    amount: str
    amounts: NutrientAmounts
    patch: str = ""
    area: float | None = None
    note: str = ""
    ash_record: str = ""
    solids: Estimate = NOTHING

    def per_square_metre(self) -> NutrientAmounts | None:
        """Return the amounts in g/m2 of the covered ground, None if its area is not known."""
        return None if self.area is None else self.amounts.scaled(1 / self.area)


class RunningTotals:
    """Cumulative sums of entries in g/m2 for each part of a bed, so that any span of days is one difference.

    A bed is asked for its total on every day on which something changes. Adding the entries again each time would take
    quadratic time.
    """

    def __init__(self, entries: Sequence[Entry]) -> None:
        """``entries`` are sorted by day."""
        self._days: dict[str, list[date]] = {}
        self._totals: dict[str, list[NutrientAmounts]] = {}
        self._days_without_area = [entry.day for entry in entries if entry.area is None]
        for entry in entries:
            totals = self._totals.setdefault(entry.patch, [NutrientAmounts()])
            totals.append(total_of((totals[-1], entry.per_square_metre() or NutrientAmounts())))
            self._days.setdefault(entry.patch, []).append(entry.day)

    def between(self, after: date, up_to: date) -> dict[str, NutrientAmounts] | None:
        """Return the total of each part that received something after one day and up to another, by the part's name.

        None if the covered area of any entry in this time is not known.
        """
        if bisect_right(self._days_without_area, up_to) > bisect_right(self._days_without_area, after):
            return None
        found = {}
        for patch, days in self._days.items():
            first, last = bisect_right(days, after), bisect_right(days, up_to)
            if last > first:
                found[patch] = difference_of(self._totals[patch][last], self._totals[patch][first])
        return found


@frozen
class RejectedRecord:
    """A record that could not be read and is not counted, with the reason."""

    id: str
    kind: str
    error: InputError


@frozen
class Bed:
    """A bed with its soil tests and entries, sorted by day, and its records that could not be read."""

    id: str
    name: str
    area: float | None = None
    texture: str = ""
    place: str = ""
    plant: str = ""
    note: str = ""
    tests: tuple[SoilTest, ...] = ()
    entries: tuple[Entry, ...] = ()
    rejected: tuple[RejectedRecord, ...] = ()
    totals: RunningTotals = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "totals", RunningTotals(self.entries))

    def test_before(self, day: date) -> SoilTest | None:
        """Return the newest soil test up to a day; of two on one day the more alkaline, which is the careful choice."""
        found = [test for test in self.tests if test.day <= day]
        return max(found, key=lambda test: (test.day, test.ph)) if found else None


@frozen
class Book:
    """All beds of a book, the rejected records that belong to none of them, and the names of its ashes by id."""

    beds: tuple[Bed, ...]
    rejected: tuple[RejectedRecord, ...] = ()
    ashes: Mapping[str, str] = field(default_factory=dict)
