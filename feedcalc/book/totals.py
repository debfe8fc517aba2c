"""Totals of a season book: what each bed received in twelve months, what it may still receive, and when.

* What went on a part of a bed counts for that part. The totals of a bed are those of its most loaded part; entries with
  the same ``where`` are assumed to be on the same ground, which is the careful choice.
* The yearly cap limits ash; the lime requirement limits lime value. Both use the newest soil test up to the day.
* Today is an argument; no clock is read.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from functools import cache

from feedcalc import published
from feedcalc.book.amounts import NOTHING, NutrientAmounts, greatest_of, total_of
from feedcalc.book.entries import Bed, Entry, SoilTest
from feedcalc.book.records import DRY, LIQUID, SLUDGE
from feedcalc.frozen import frozen
from feedcalc.garden.circumstances import DAYS_PER_YEAR
from feedcalc.garden.dry_ash import Advice, Cap, advised_ash, cap_for
from feedcalc.garden.liming import TABLE_DEPTH_CM, expected_shift, lime_requirement
from feedcalc.garden.suitability import soil_target, suitability_limit
from feedcalc.uncertainty.estimates import Estimate

# Sums of floats that differ by less, relative to the cap, count as equal to it.
ROUNDING = 1e-9


@frozen
class BedTotals:
    """The totals of a bed on a day, in g/m2 of its most loaded part; None where an area is not known.

    ``past_year`` covers the twelve months up to the day, ``calendar_year`` the days since 1 January. ``ph_shift`` is
    the expected rise of the soil's pH by lime since the test, ``known_ph`` the pH of the test with that rise.
    ``advice`` is the dry ash that the bed may still receive, None without a soil test.
    """

    day: date
    past_year: NutrientAmounts | None
    calendar_year: NutrientAmounts | None
    test: SoilTest | None
    cap: Cap
    target_ph: float
    ph_shift: Estimate = NOTHING
    known_ph: Estimate | None = None
    advice: Advice | None = None


# -- sums over time -------------------------------------------------------------------------------------------


def a_year_before(day: date) -> date:
    """Return the same day a year earlier; the 28th for the 29th of February.

    >>> a_year_before(date(2024, 2, 29))
    datetime.date(2023, 2, 28)
    """
    return day.replace(year=day.year - 1, day=28) if (day.month, day.day) == (2, 29) else day.replace(year=day.year - 1)


def a_year_after(day: date) -> date:
    """Return the first day whose last twelve months no longer include ``day``."""
    later = day.year + 1
    return date(later, 3, 1) if (day.month, day.day) == (2, 29) else day.replace(year=later)


def total_between(bed: Bed, after: date, up_to: date) -> NutrientAmounts | None:
    """Return what the most loaded part of a bed received after one day and up to another, in g/m2.

    None if an area is not known.
    """
    parts = bed.totals.between(after, up_to)
    if parts is None or (bed.area is None and not parts):
        return None
    whole_bed = parts.pop("", NutrientAmounts())
    return greatest_of([whole_bed, *(total_of((whole_bed, part)) for part in parts.values())])


def past_year_total(bed: Bed, day: date) -> NutrientAmounts | None:
    """Return what the most loaded part of a bed received in the twelve months up to a day, in g/m2."""
    return total_between(bed, a_year_before(day), day)


def totals_on(bed: Bed, day: date, ash_lime: Estimate) -> BedTotals:
    """Return the totals of a bed at the end of a day; ``ash_lime`` is the lime value in g/g of the available ash."""
    year = past_year_total(bed, day)
    test = bed.test_before(day)
    target = target_ph(bed)
    cap = cap_for(test.ph if test else None)
    totals = BedTotals(
        day=day,
        past_year=year,
        calendar_year=total_between(bed, date(day.year - 1, 12, 31), day),
        test=test,
        cap=cap,
        target_ph=target,
    )
    if test is None:
        return totals
    ph_shift = _ph_shift_since(test, bed, day)
    known = test.known_ph(ph_shift)
    advice = advised_ash(
        soil_ph=known,
        target_ph=target,
        stop_ph=suitability_limit("soil_stop"),
        texture=bed.texture,
        depth_cm=TABLE_DEPTH_CM,
        lime_value=ash_lime,
        cap=max(cap.high - (year.ash.typical if year else 0.0), 0.0),
        is_held_back=cap.high == 0.0,
    )
    return replace(totals, ph_shift=ph_shift, known_ph=known, advice=advice)


def _ph_shift_since(test: SoilTest, bed: Bed, day: date) -> Estimate:
    """Return the expected rise of the pH by what a bed received from the day of a test up to another day.

    What was given on the day of the test counts as given after it, which is the careful choice.
    """
    since = total_between(bed, test.day - timedelta(days=1), day)
    return expected_shift(since.lime_value if since else NOTHING, bed.texture, TABLE_DEPTH_CM, test.ph)


def target_ph(bed: Bed) -> float:
    """Return the pH to aim at for the bed's soil and plant."""
    return soil_target(bed.texture, bed.plant)


def lime_need(bed: Bed, totals: BedTotals) -> Estimate | None:
    """Return the lime (g CaCO3/m2) that still brings the soil to its target, less what was given since the test."""
    if totals.known_ph is None:
        return None
    return lime_requirement(totals.known_ph, totals.target_ph, bed.texture, TABLE_DEPTH_CM)


def with_entry(bed: Bed, entry: Entry) -> Bed:
    """Return the bed with one entry more, which replaces an entry with the same id."""
    entries = [*(each for each in bed.entries if each.id != entry.id), entry]
    return replace(bed, entries=tuple(sorted(entries, key=lambda each: (each.day, each.id))))


def heaviest_day(bed: Bed, entry: Entry) -> date:
    """Return the day of an entry, or of a later one within a year, whose past twelve months hold the most ash.

    Someone who writes down in May what they gave in March needs the total that includes April.
    """
    later = (each.day for each in bed.entries if entry.day < each.day < a_year_after(entry.day))

    def ash(day: date) -> float:
        total = past_year_total(bed, day)
        return total.ash.typical if total else 0.0

    return max(sorted({entry.day, *later}), key=ash)


# -- days to come ---------------------------------------------------------------------------------------------


@cache
def interval_of(what: str) -> Estimate:
    """Return the days to leave between two entries of a kind; 0 for a kind without an interval."""
    if what == LIQUID:
        return published.estimate(published.row("feed_practice", "drench_interval"))
    return season_rule("dry_interval") if what in (DRY, SLUDGE) else NOTHING


def season_rule(rule_id: str) -> Estimate:
    """Return a row of ``season_rules.csv``; raises KeyError for an unknown id."""
    return published.estimate(published.row("season_rules", rule_id))


def last_of(bed: Bed, what: str, up_to: date) -> date | None:
    """Return the last day up to ``up_to`` on which a bed received ``what``; dry ash and sludge count as one kind."""
    alike = (DRY, SLUDGE) if what in (DRY, SLUDGE) else (what,)
    return max((entry.day for entry in bed.entries if entry.what in alike and entry.day <= up_to), default=None)


def next_feed_day(bed: Bed, today: date) -> tuple[date, date, date] | None:
    """Return the earliest, usual and latest day of the next liquid feed; None if there was none before."""
    last = last_of(bed, LIQUID, today)
    if last is None:
        return None
    interval = interval_of(LIQUID)
    earliest, usual, latest = (last + timedelta(days=round(d)) for d in (interval.low, interval.typical, interval.high))
    return earliest, usual, latest


def next_ash_day(bed: Bed, today: date) -> date | None:
    """Return the first day on which dry ash is possible by its interval and by the cap; None if there is none.

    Ash becomes possible again when earlier entries are more than twelve months old.
    """
    test = bed.test_before(today)
    cap = cap_for(test.ph if test else None).high
    if cap == 0.0 or past_year_total(bed, today) is None:
        return None
    last = last_of(bed, DRY, today)
    first = today if last is None else max(today, last + timedelta(days=round(interval_of(DRY).typical)))
    leaving = sorted({a_year_after(entry.day) for entry in bed.entries if a_year_after(entry.day) > first})
    for day in (first, *leaving):
        total = past_year_total(bed, day)
        if total is not None and total.ash.typical < cap * (1 - ROUNDING):
            return day
    return None


def retest_day(bed: Bed, today: date) -> date | None:
    """Return when the soil should be tested again; None if it never was.

    This is ``test_years`` after the test, or the day on which lime since the test may have moved the pH by
    ``retest_shift``, whichever comes first.
    """
    test = bed.test_before(today)
    if test is None:
        return None
    due = test.day + timedelta(days=round(suitability_limit("test_years") * DAYS_PER_YEAR))
    limit = season_rule("retest_shift").typical
    for entry in bed.entries:
        if entry.day >= due or entry.day > today:
            break
        if entry.day >= test.day and _ph_shift_since(test, bed, entry.day).typical >= limit:
            return entry.day
    return due


@frozen
class TimelineStep:
    """Ash and lime value (g/m2) of the past twelve months from a day on, and the cap from then on."""

    day: date
    ash: Estimate
    lime: Estimate
    cap: float


def timeline(bed: Bed, first: date, last: date) -> tuple[TimelineStep, ...]:
    """Return the totals from ``first`` to ``last``, one step for each day on which a total or the cap changes.

    Empty if an area is not known.
    """
    days = {first, last, *(test.day for test in bed.tests)}
    days |= {entry.day for entry in bed.entries} | {a_year_after(entry.day) for entry in bed.entries}
    steps = []
    for day in sorted(day for day in days if first <= day <= last):
        total = past_year_total(bed, day)
        if total is None:
            return ()
        test = bed.test_before(day)
        steps.append(TimelineStep(day, total.ash, total.lime_value, cap_for(test.ph if test else None).high))
    return tuple(steps)
