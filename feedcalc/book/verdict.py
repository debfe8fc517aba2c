"""Whether a bed may have more, and why: what its book says beside what ground and plant say.

Rules of this room:

* Words and directions stand in ``season_reasons.csv``; here stands only when each is said. What soil, plant and place
  say is asked of `feedcalc.garden.suitability`.
* The verdict is the most careful direction of any reason.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from feedcalc import published
from feedcalc.book.amounts import NutrientAmounts
from feedcalc.book.entries import Bed, Entry
from feedcalc.book.records import LIQUID
from feedcalc.book.totals import (
    BedTotals,
    interval_of,
    last_of,
    lime_need,
    season_rule,
)
from feedcalc.contract.numbers import write_number
from feedcalc.contract.request import Request
from feedcalc.garden.circumstances import DAYS_PER_YEAR
from feedcalc.garden.liming import TABLE_DEPTH_CM, soil_buffer
from feedcalc.garden.suitability import (
    DIRECTIONS,
    GO,
    Circumstances,
    Reason,
    Verdict,
    suitability_limit,
    verdict_for,
)
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.messages import said


def suitability_reasons(case: Circumstances, entry: Entry) -> tuple[Reason, ...]:
    """What soil and plant say of an entry: of ash and feed everything, of lime what bears on lime."""
    reasons = verdict_for(case).reasons
    if entry.what in (LIQUID, "dry ash", "sludge") or entry.solids.high > 0:
        return reasons
    if entry.worth.lime_value.high <= 0:
        return ()
    kept = ("soil_", "plant_") if entry.what != "compost" else ("plant_",)
    return tuple(reason for reason in reasons if reason.id.startswith(kept))


def circumstances_of_bed(request: Request, bed: Bed, day: date) -> Circumstances:
    """What the book tells of a bed's ground and plant on a day, for dry ash."""
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
        language=request.language,
    )


def verdict_of(*groups: Sequence[Reason]) -> Verdict:
    """The most careful direction of all reasons, the weightiest first; ``go`` where there is none."""
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


def reasons_now(bed: Bed, standing: BedTotals, locale: str) -> list[Reason]:
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


def _reasons_of_the_book(bed: Bed, standing: BedTotals, locale: str) -> list[Reason]:
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


def reasons_with(
    before: Bed, after: Bed, entry: Entry, standing: BedTotals, earlier: BedTotals, locale: str
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


def _lime_reasons(before: Bed, own: NutrientAmounts, earlier: BedTotals, locale: str) -> list[Reason]:
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


def _known(standing: BedTotals) -> Estimate:
    assert standing.known_ph is not None
    return standing.known_ph


def _need_is_met(standing: BedTotals) -> bool:
    """Whether what was given since the test has brought the soil to its target by typical figures."""
    return (
        standing.known_ph is not None
        and standing.moved.typical > 0
        and standing.known_ph.typical >= standing.target_ph - 1e-9
    )
