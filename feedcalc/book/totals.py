"""The season book's sums: what each bed has had in twelve months, what it may still get, and when.

Rules of this room:

* What was given on a part of a bed is counted for that part. The figures of a bed are those of its most loaded part;
  entries under the same ``where`` are taken for the same part, which is the careful reading.
* The cap counts ash, the need counts lime value; both by the newest soil test up to the day.
* No clock: the day that counts as today is handed in.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache

from feedcalc import published
from feedcalc.book.amounts import (
    NOTHING,
    NutrientAmounts,
    greatest_of,
    total_of,
)
from feedcalc.book.entries import Bed, Entry, SoilTest
from feedcalc.book.records import DRY, LIQUID, SLUDGE
from feedcalc.garden.dry_ash import Advice, Cap, advised_ash, cap_for
from feedcalc.garden.liming import TABLE_DEPTH_CM, expected_shift, lime_requirement
from feedcalc.garden.suitability import soil_target, suitability_limit
from feedcalc.uncertainty.estimates import Estimate


@dataclass(frozen=True, slots=True)
class BedTotals:
    """Where a bed stands on a day, to the square metre of its most loaded part; None where the area is unknown.

    ``year`` the twelve months up to the day, ``calendar`` the calendar year; ``moved`` the pH units that what was given
    since the test may have moved the soil; ``advice`` what dry ash it may still get, None without a soil test.
    """

    day: date
    year: NutrientAmounts | None
    calendar: NutrientAmounts | None
    test: SoilTest | None
    cap: Cap
    target_ph: float
    moved: Estimate
    known_ph: Estimate | None
    advice: Advice | None


# -- sums over time -------------------------------------------------------------------------------------------


def a_year_before(day: date) -> date:
    """The same day a year earlier; the 28th for the 29th of February.

    >>> a_year_before(date(2024, 2, 29))
    datetime.date(2023, 2, 28)
    """
    return day.replace(year=day.year - 1, day=28) if (day.month, day.day) == (2, 29) else day.replace(year=day.year - 1)


def a_year_after(day: date) -> date:
    """The first day whose last twelve months no longer hold ``day``."""
    later = day.year + 1
    return date(later, 3, 1) if (day.month, day.day) == (2, 29) else day.replace(year=later)


def total_between(bed: Bed, after: date, up_to: date) -> NutrientAmounts | None:
    """What the most loaded part of a bed got to the square metre after one day and up to another, both ends in order.

    None where an area is not known, so that nobody can say.
    """
    given = bed.sums.between(after, up_to)
    if given is None or (bed.area is None and not given):
        return None
    everywhere = given.pop("", NutrientAmounts())
    return greatest_of([everywhere, *(total_of((everywhere, part)) for part in given.values())])


def totals_on(bed: Bed, day: date, ash_lime: Estimate) -> BedTotals:
    """Where a bed stands at the end of a day; ``ash_lime`` is the lime value of a gram of the ash it might get next."""
    year = total_between(bed, a_year_before(day), day)
    calendar = total_between(bed, date(day.year - 1, 12, 31), day)
    test = bed.test_before(day)
    target = target_ph(bed)
    cap = cap_for(test.ph if test else None)
    if test is None:
        return BedTotals(day, year, calendar, None, cap, target, NOTHING, None, None)
    # What was given on the day of a test counts as given after it: the careful reading.
    since = total_between(bed, test.day - timedelta(days=1), day)
    lime = since.lime_value if since else NOTHING
    moved = expected_shift(lime, bed.texture, TABLE_DEPTH_CM)
    known = test.known_ph(moved)
    left = max(cap.high - (year.ash.typical if year else 0.0), 0.0)
    advice = advised_ash(
        known, target, suitability_limit("soil_stop"), bed.texture, TABLE_DEPTH_CM, ash_lime, left, cap.high == 0.0
    )
    return BedTotals(day, year, calendar, test, cap, target, moved, known, advice)


def target_ph(bed: Bed) -> float:
    """The pH to aim at, by the bed's ground and plant."""
    return soil_target(bed.texture, bed.plant)


def lime_need(bed: Bed, standing: BedTotals) -> Estimate | None:
    """The lime (g CaCO3/m2) that would still bring the soil to its target, what was given since the test taken off."""
    if standing.known_ph is None:
        return None
    return lime_requirement(standing.known_ph, standing.target_ph, bed.texture, TABLE_DEPTH_CM)


def with_entry(bed: Bed, entry: Entry) -> Bed:
    """The bed as it would be with one entry more; one with the same id gives way to it."""
    entries = sorted(
        [*(kept for kept in bed.entries if kept.id != entry.id), entry], key=lambda each: (each.day, each.id)
    )
    return Bed(
        bed.id, bed.name, bed.area, bed.texture, bed.place, bed.plant, bed.note, bed.tests, tuple(entries), bed.aside
    )


def heaviest_day(bed: Bed, entry: Entry) -> date:
    """The day on which the twelve months that hold an entry hold most ash: its own, or that of one noted after it.

    Whoever writes down in May what they gave in March must hear what it comes to with April's.
    """
    later = (kept.day for kept in bed.entries if entry.day < kept.day < a_year_after(entry.day))
    days = sorted({entry.day, *later})

    def ash(day: date) -> float:
        total = total_between(bed, a_year_before(day), day)
        return total.ash.typical if total else 0.0

    return max(days, key=ash)


# -- days to come ---------------------------------------------------------------------------------------------


@cache
def interval_of(what: str) -> Estimate:
    """Days to leave between two of a kind: liquid feeds by ``drench_interval``, ash by ``dry_interval``; else none."""
    if what == LIQUID:
        rows = (row for row in published.table("feed_practice") if row["id"] == "drench_interval")
    elif what in (DRY, SLUDGE):
        rows = (row for row in published.table("season_rules") if row["id"] == "dry_interval")
    else:
        return NOTHING
    return published.estimate(next(rows))


def season_rule(rule_id: str) -> Estimate:
    """A row of ``season_rules.csv``; raises KeyError for one that is not there."""
    return {row["id"]: published.estimate(row) for row in published.table("season_rules")}[rule_id]


def last_of(bed: Bed, what: str, up_to: date, without: str = "") -> date | None:
    """The last day up to ``up_to`` on which a bed got ``what``, ash in any dry form counting alike."""
    alike = (DRY, SLUDGE) if what in (DRY, SLUDGE) else (what,)
    days = [entry.day for entry in bed.entries if entry.what in alike and entry.day <= up_to and entry.id != without]
    return max(days, default=None)


def next_feed_day(bed: Bed, today: date) -> tuple[date, date, date] | None:
    """Earliest, usual and latest day for the next liquid feed after the last; None where there was none."""
    last = last_of(bed, LIQUID, today)
    if last is None:
        return None
    interval = interval_of(LIQUID)
    earliest, usual, latest = (last + timedelta(days=round(d)) for d in (interval.low, interval.typical, interval.high))
    return earliest, usual, latest


def next_ash_day(bed: Bed, today: date) -> date | None:
    """The first day on which there is room for dry ash under the cap, not before its interval; None where never.

    Room comes back as what was given leaves the twelve months.
    """
    test = bed.test_before(today)
    cap = cap_for(test.ph if test else None).high
    if cap == 0.0 or total_between(bed, a_year_before(today), today) is None:
        return None
    last = last_of(bed, DRY, today)
    first = today if last is None else max(today, last + timedelta(days=round(interval_of(DRY).typical)))
    leaving = sorted({a_year_after(entry.day) for entry in bed.entries if a_year_after(entry.day) > first})
    for day in (first, *leaving):
        total = total_between(bed, a_year_before(day), day)
        if total is not None and total.ash.typical < cap * (1 - 1e-9):
            return day
    return None


def retest_day(bed: Bed, today: date) -> date | None:
    """When the soil should be tested again; None where it never was (then at once).

    Some years after the test (``test_years``), or on the day when what was given since may have moved the pH by as much
    as makes the reading useless (``retest_shift``), whichever comes first.
    """
    test = bed.test_before(today)
    if test is None:
        return None
    due = test.day + timedelta(days=round(suitability_limit("test_years") * 365.25))
    limit = season_rule("retest_shift").typical
    for entry in bed.entries:
        if entry.day >= due or entry.day > today:
            break
        if entry.day < test.day:
            continue
        since = total_between(bed, test.day - timedelta(days=1), entry.day)
        if since and expected_shift(since.lime_value, bed.texture, TABLE_DEPTH_CM).typical >= limit:
            return entry.day
    return due


@dataclass(frozen=True, slots=True)
class TimelineStep:
    """The twelve months' ash and lime value (g/m2) from a day on, and the cap that holds from there."""

    day: date
    ash: Estimate
    lime: Estimate
    cap: float


def timeline(bed: Bed, first: date, last: date) -> tuple[TimelineStep, ...]:
    """The running totals as steps from ``first`` to ``last``: a step wherever something is given, leaves, or is tested.

    Empty where the area is not known.
    """
    days = {first, last, *(test.day for test in bed.tests)}
    days |= {entry.day for entry in bed.entries} | {a_year_after(entry.day) for entry in bed.entries}
    steps = []
    for day in sorted(day for day in days if first <= day <= last):
        total = total_between(bed, a_year_before(day), day)
        if total is None:
            return ()
        test = bed.test_before(day)
        steps.append(TimelineStep(day, total.ash, total.lime_value, cap_for(test.ph if test else None).high))
    return tuple(steps)
