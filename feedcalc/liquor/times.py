"""The clock times of a batch: when the liquor has settled, and until when its label holds.

* Sheet, label, calendar and reminders all print these, so that no two of them differ.
* They do not depend on whether ranges or readings were asked for: the slow end of settling comes from the ash alone.
* Nobody gets up at night to pour: a time outside waking hours moves on to the next morning.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import lru_cache
from math import ceil

from feedcalc.garden.ash import Ash, AshSample
from feedcalc.garden.feed_limits import practice
from feedcalc.liquor.answer import Answer
from feedcalc.liquor.instruments import clear_line_seen, clouding_diameter
from feedcalc.liquor.planning import Plan
from feedcalc.liquor.vessel import Vessel, batch_of, settle_hours
from feedcalc.uncertainty.estimates import Estimate, estimate_of, latin_hypercube

Known = tuple[tuple[str, Estimate], ...]  # what is known of an ash, by name of each unknown

FIRST_WAKING_HOUR, LAST_WAKING_HOUR = 8, 20
# Settling depends on these properties of an ash alone, so few samples suffice.
_SETTLING = ("density", "particle_density", "sediment", "guard_layer", "clear_line")
_SAMPLES, _SEED = 200, 1


def settled_at(answer: Answer) -> datetime | None:
    """Return when the liquor may be poured: after the wait and the slow end of settling, in waking hours.

    None if the start of the steep is not known.
    """
    begun = answer.request.moment
    if begun is None:
        return None
    return waking_time(begun + timedelta(hours=hours_until_clear(answer)))


def hours_until_clear(answer: Answer) -> float:
    """Return the hours of the wait, or the full hours until the liquor is clear where that takes longer."""
    return max(answer.request.known("steep.time"), float(ceil(slowest_settling(answer))))


def use_by(settled: datetime | None) -> datetime | None:
    """Return when the label no longer holds and the pH should be read again; None where ``settled`` is None."""
    return settled + timedelta(days=round(practice("keeping_time").typical)) if settled else None


def slowest_settling(answer: Answer) -> float:
    """Return the hours until the liquor is clear at the slow end of the ashes it may be made of."""
    known, line = tuple(answer.ash.unknowns.items()), clear_line_seen(answer.request)
    return _slow_end(known, answer.plan, answer.vessel, line, answer.kelvin, answer.typical.settle_hours)


@lru_cache(maxsize=4)  # the replies on the way to an answer ask for the same
def _slow_end(
    known: Known, plan: Plan, vessel: Vessel, line: tuple[float, float] | None, kelvin: float, typical_hours: float
) -> float:
    hours = []
    for sample in drawn(known):
        batch = batch_of(plan.grams_for(sample), plan.water_litres, vessel, sample)
        hours.append(settle_hours(batch, sample, kelvin, clouding_diameter(line, batch, sample, kelvin)))
    return estimate_of(hours, typical_hours).high


@lru_cache(maxsize=4)
def drawn(known: Known) -> tuple[AshSample, ...]:
    """Return ashes that differ in how they settle; what is known of the ash outlasts many a question about it."""
    ash = Ash("", "", dict(known), ())
    varied = [name for name in _SETTLING if name in ash.unknowns]
    rows = latin_hypercube(sorted(ash.unknowns), _SAMPLES, _SEED)
    return tuple(ash.sample_at({name: row[name] for name in varied}) for row in rows)


def waking_time(moment: datetime) -> datetime:
    """Return the full hour from ``moment`` on that lies between 08:00 and 20:00.

    >>> waking_time(datetime(2026, 5, 2, 5, 6)).isoformat(), waking_time(datetime(2026, 5, 2, 20, 1)).isoformat()
    ('2026-05-02T08:00:00', '2026-05-03T08:00:00')
    >>> waking_time(datetime(2026, 5, 2, 14, 0)).isoformat(), waking_time(datetime(2026, 5, 2, 14, 1)).isoformat()
    ('2026-05-02T14:00:00', '2026-05-02T15:00:00')
    """
    full = moment.replace(minute=0, second=0, microsecond=0)
    if full < moment:
        full += timedelta(hours=1)
    if FIRST_WAKING_HOUR <= full.hour <= LAST_WAKING_HOUR:
        return full
    morning = full.replace(hour=FIRST_WAKING_HOUR)
    return morning if full.hour < FIRST_WAKING_HOUR else morning + timedelta(days=1)
