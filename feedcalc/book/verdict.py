"""Whether a bed may receive more, and why: reasons of the book beside those of soil and plant.

* Texts and directions of the reasons are in ``season_reasons.csv``; this module decides when each applies. Reasons of
  soil, plant and place come from `feedcalc.garden.suitability`.
* The verdict is the most careful direction of any reason.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from feedcalc import published
from feedcalc.book.amounts import NutrientAmounts
from feedcalc.book.entries import Bed, Entry
from feedcalc.book.records import COMPOST, DRY, LIQUID, SLUDGE
from feedcalc.book.totals import ROUNDING, BedTotals, interval_of, last_of, lime_need, season_rule
from feedcalc.contract.figures import ground_words
from feedcalc.contract.numbers import write_number
from feedcalc.contract.request import Request
from feedcalc.garden.circumstances import DAYS_PER_YEAR
from feedcalc.garden.dry_ash import Cap
from feedcalc.garden.liming import HIGHEST_PH, TABLE_DEPTH_CM, soil_buffer, soil_ph_ceiling
from feedcalc.garden.suitability import DIRECTIONS, GO, Circumstances, Reason, Verdict, suitability_limit, verdict_for
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.languages import date_words
from feedcalc.words.messages import said, said_of

# Reasons for which a bed gets no feed either.
OVERDONE = frozenset({"season_untested_over", "season_past_count"})


def suitability_reasons(case: Circumstances, entry: Entry) -> tuple[Reason, ...]:
    """Return what soil and plant say about an entry: for ash and feed all reasons, for lime those about lime."""
    reasons = verdict_for(case).reasons
    if entry.what in (LIQUID, DRY, SLUDGE) or entry.solids.high > 0:
        return reasons
    if entry.amounts.lime_value.high <= 0:
        return ()
    kept = ("soil_", "plant_") if entry.what != COMPOST else ("plant_",)
    return tuple(reason for reason in reasons if reason.id.startswith(kept))


def circumstances_of_bed(request: Request, bed: Bed, day: date) -> Circumstances:
    """Return a bed's soil and plant on a day as circumstances of dry ash."""
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
        own=request.own,
    )


def verdict_of(*groups: Sequence[Reason]) -> Verdict:
    """Return the most careful direction of all reasons, ``go`` if there is none; the most careful come first."""
    reasons = sorted(
        (reason for group in groups for reason in group), key=lambda reason: -DIRECTIONS.index(reason.towards)
    )
    return Verdict(reasons[0].towards if reasons else GO, tuple(reasons))


# -- reasons --------------------------------------------------------------------------------------------------


def season_reason(reason_id: str, source: tuple[str, str] | None = None, /, **parts: str) -> Reason:
    """Return a row of ``season_reasons.csv``; ``source`` is a source and its status instead of those in the table."""
    row = published.row("season_reasons", reason_id)
    where, status = source or (row["source"], row["status"])
    text = said(str(row["text"]), **parts)
    return Reason(id=reason_id, text=text, towards=row["towards"], source=where, status=status)


def _number(value: float, locale: str) -> str:
    return write_number(value, 2, locale, trim=True)


def _ground(grams: float, request: Request, figures: int = 2) -> str:
    """Return g/m2 in words."""
    return ground_words(grams, request.locale, request.own, figures)


def _exceeds(value: float, limit: float) -> bool:
    return value > limit * (1 + ROUNDING)


def reasons_now(bed: Bed, totals: BedTotals, request: Request) -> list[Reason]:
    """Return what the book says about dry ash on a bed now."""
    locale = request.locale
    reasons = _reasons_of_the_book(bed)
    if _has_moved(totals):
        reasons.append(season_reason("season_retest", shift=_number(totals.ph_shift.typical, locale)))
    test, year, cap = totals.test, totals.past_year, totals.cap
    if year is not None and test is None:
        reasons += _untested_reasons(year.ash, "season_untested_over", request)
    if test is None or year is None:
        return reasons
    by = (cap.source, cap.status)
    had, most = _ground(year.ash.typical, request), _ground(cap.high, request)
    ph = _number(test.ph, locale)
    if cap.high == 0.0:
        reasons.append(season_reason("season_no_cap", by, ph=ph))
    elif _exceeds(year.ash.typical, cap.high):
        reasons.append(season_reason("season_cap_passed", by, had=had, cap=most, ph=ph))
    elif year.ash.typical >= cap.high * (1 - ROUNDING):
        reasons.append(season_reason("season_cap_spent", by, had=had, cap=most, ph=ph))
    else:
        reasons.append(season_reason("season_room", by, had=had, cap=most))
    if need_is_met(totals):
        reasons.append(_need_met_reason(totals, "season_need_met", "season_past_count", locale))
    return reasons


def _untested_reasons(ash: Estimate, reason_id: str, request: Request) -> list[Reason]:
    """Return the reason for an untested bed whose ash (g/m2 in twelve months) is above every published limit."""
    loosest = float(published.row("ash_spreading", "garden_old_cap")["high"])
    if not _exceeds(ash.typical, loosest):
        return []
    return [season_reason(reason_id, had=_ground(ash.typical, request), cap=_ground(loosest, request, 3))]


def _need_met_reason(totals: BedTotals, reason_id: str, past_id: str, locale: str) -> Reason:
    """Return why a bed needs no more lime by its totals; ``past_id`` applies beyond the end of the lime tables."""
    known = _known_ph(totals)
    if known.typical <= HIGHEST_PH:
        return season_reason(reason_id, ph=_number(known.typical, locale))
    ceiling = soil_ph_ceiling()
    ends = {"low": _number(ceiling.typical, locale), "high": _number(ceiling.high, locale)}
    return season_reason(past_id, end=_number(HIGHEST_PH, locale), **ends)


def _reasons_of_the_book(bed: Bed) -> list[Reason]:
    """Return what makes the totals uncertain: no area, rejected entries."""
    reasons = []
    if bed.area is None:
        reasons.append(season_reason("season_no_area"))
    count = sum(rejected.kind == "entry" for rejected in bed.rejected)
    if count:
        reasons.append(season_reason("season_set_aside", count=str(count)))
    return reasons


def _has_moved(totals: BedTotals) -> bool:
    """Return whether lime since the soil test has moved the pH so far that the test tells too little."""
    return totals.ph_shift.typical >= season_rule("retest_shift").typical


def reasons_with(bed: Bed, entry: Entry, *, before: BedTotals, after: BedTotals, request: Request) -> list[Reason]:
    """Return what the book says about a planned entry on a bed, by the totals ``before`` it and ``after`` it."""
    locale = request.locale
    reasons = _reasons_of_the_book(bed) + _interval_reasons(bed, entry, locale)
    if _has_moved(before):
        reasons.append(season_reason("season_retest_with", shift=_number(after.ph_shift.typical, locale)))
    own = entry.per_square_metre()
    if after.test is None and after.past_year is not None and own is not None and own.ash.high > 0:
        reasons += _untested_reasons(after.past_year.ash, "season_untested_over_with", request)
    if after.test is None or after.past_year is None or own is None:
        return reasons
    is_liquid = entry.what == LIQUID
    if own.ash.high > 0:
        reasons += _cap_reasons(after.past_year.ash, after.cap, after.test.ph, is_liquid=is_liquid, request=request)
    if own.lime_value.high <= 0:
        return reasons
    if need_is_met(before) or (not is_liquid and _known_ph(after).typical > HIGHEST_PH):
        met = "season_need_met_feed_with" if is_liquid else "season_need_met_with"
        reasons.append(_need_met_reason(after, met, "season_past_count_with", locale))
    elif not is_liquid:
        reasons += _lime_reasons(bed, own, before, request)
    return reasons


def _cap_reasons(ash: Estimate, cap: Cap, test_ph: float, *, is_liquid: bool, request: Request) -> list[Reason]:
    """Return what the cap says about the ash of twelve months with a planned entry."""
    by = (cap.source, cap.status)
    had, most = _ground(ash.typical, request), _ground(cap.high, request)
    ph = _number(test_ph, request.locale)
    if cap.high == 0.0:
        return [] if is_liquid else [season_reason("season_no_cap", by, ph=ph)]
    if _exceeds(ash.typical, cap.high):
        reason_id = "season_over_cap_feed" if is_liquid else "season_over_cap"
        return [season_reason(reason_id, by, had=had, cap=most, ph=ph)]
    if _exceeds(ash.high, cap.high):
        return [season_reason("season_may_pass_cap", by, had=had, high=_ground(ash.high, request), cap=most)]
    return [season_reason("season_within", by, had=had, cap=most)]


def _lime_reasons(bed: Bed, own: NutrientAmounts, before: BedTotals, request: Request) -> list[Reason]:
    """Return what the lime requirement and the highest pH for ash say about the lime value of a planned entry."""
    need = lime_need(bed, before)
    lime = _ground(own.lime_value.typical, request)
    if need is not None and _exceeds(own.lime_value.typical, need.typical):
        target = _number(before.target_ph, request.locale)
        return [season_reason("season_over_need", lime=lime, need=_ground(need.typical, request), target=target)]
    stop = suitability_limit("soil_stop")
    lime_to_stop = soil_buffer(bed.texture, TABLE_DEPTH_CM).low * max(stop - _known_ph(before).high, 0.0)
    if own.lime_value.high > lime_to_stop:
        return [season_reason("season_past_stop", lime=lime, stop=_number(stop, request.locale))]
    return []


def _interval_reasons(bed: Bed, entry: Entry, locale: str) -> list[Reason]:
    """Return what the time since the last entry of the same kind says about a planned one."""
    last, interval = last_of(bed, entry.what, entry.day), interval_of(entry.what)
    if last is None or interval.high == 0.0:
        return []
    days = (entry.day - last).days
    by = ("our_judgement", "judgement") if entry.what == LIQUID else ("common_practice", "practice")
    if days < interval.low:
        earliest = date_words(date.fromordinal(last.toordinal() + round(interval.low)))
        least = _days(interval.low, locale)
        return [season_reason("season_too_soon", by, days=_days(days, locale), least=least, date=earliest)]
    if days < interval.typical:
        usual = _days(interval.typical, locale)
        return [season_reason("season_rather_soon", by, days=_days(days, locale), usual=usual)]
    return []


def _days(count: float, locale: str) -> str:
    return said_of(count, "{days} day", "{days} days", days=_number(count, locale))


def _known_ph(totals: BedTotals) -> Estimate:
    assert totals.known_ph is not None
    return totals.known_ph


def need_is_met(totals: BedTotals) -> bool:
    """Return whether lime since the test has brought the soil to its target, by typical values."""
    return (
        totals.known_ph is not None
        and totals.ph_shift.typical > 0
        and totals.known_ph.typical >= totals.target_ph - ROUNDING
    )
