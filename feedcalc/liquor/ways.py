"""Ways round what keeps a feed from being given, each with its number.

* A way is offered for a reason of the verdict, never on its own: ``ways`` where the verdict is not `go`, ``gentler``
  where a feed may be given but is past the pH that counts as corrosive.
* Every number comes from the same chemistry as the plan, for the typical ash, and is rounded to the careful side.
* Some reasons have no way round: a plant that bears no lime, soil that is alkaline already, seed just sown.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from math import ceil, floor, isfinite
from typing import Any

from feedcalc.contract.figures import figure
from feedcalc.contract.numbers import write_number
from feedcalc.contract.own_measures import on_a_square_foot, roughly, to_measure
from feedcalc.garden.feed_limits import practice
from feedcalc.garden.liming import expected_shift
from feedcalc.garden.suitability import DRENCHED_DEPTH_CM, GO, HALF_STRENGTH, Verdict, half_strength, suitability_limit
from feedcalc.garden.water import water_of_kind
from feedcalc.liquor.acid import acid_dose, acids
from feedcalc.liquor.air import corrosive_ph, days_in_air_until
from feedcalc.liquor.answer import Answer
from feedcalc.liquor.dilution import feed_at, is_within
from feedcalc.liquor.planning import WEAKEST_SENSIBLE_PARTS, BatchInputs, plan_batch
from feedcalc.liquor.steeping import Liquor
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.messages import said, said_of

Way = dict[str, Any]
# pH to which vinegar is offered: mild to skin and roots, and far from the sudden fall below 6.
MILD_PH, LEAF_PH = 8.0, 7.0
# Days in damp air after which ash counts as aged, see ash_state.csv (Ohlsson 2000: over 90 % carbonated in 3 weeks).
AGEING_DAYS = 21.0
_TAP_SHARES = (0.25, 0.5, 0.75, 1.0)
_STRENGTH = frozenset({"feed_alkalinity", "feed_salt", "feed_potassium"})
_MOST_ROUNDS = 4  # of planning, each for a weaker dilution
_UNTESTED = frozenset({"soil_unknown", "soil_in_doubt"})


def ways_round(answer: Answer, verdict: Verdict) -> tuple[list[Way], list[Way]]:
    """Return the ways round of a verdict, and the ways to a gentler feed where a caustic one may be given.

    Each is ``{"id", "text"}`` with its figure: ``parts_water``, ``days``, ``acid_volume`` (mL of vinegar in a can),
    ``tap_share`` or ``litres_per_square_metre``.
    """
    deciding = {reason.id for reason in verdict.reasons if reason.towards == verdict.word}
    gentler = _gentler(answer) if any(reason.id == "feed_caustic" for reason in verdict.reasons) else []
    if verdict.word == GO:
        return [], gentler
    ways: list[Way] = []
    if deciding & (_STRENGTH | HALF_STRENGTH):
        ways += _dilution(answer, bool(deciding & HALF_STRENGTH))
    if "feed_water" in deciding:
        ways += _less_tap_water(answer)
    if deciding & {"foliar_off", "foliar_unread", "foliar_doubted"}:
        ways += _vinegar(answer, LEAF_PH)
    if "lime_too_much" in deciding:
        ways += _more_ground(answer)
    if deciding & _UNTESTED:
        ways += _soil_test(answer)
    return ways, gentler


def _number(answer: Answer, value: float, figures: int = 2) -> str:
    return write_number(value, figures, answer.request.locale, trim=True)


def _way(name: str, text: str, key: str, value: Estimate, unit: str) -> Way:
    return {"id": name, "text": text, key: figure(value, unit)}


def _to_parts(answer: Answer, parts: float, text: str) -> Way:
    return _way("dilute", text, "parts_water", Estimate.exactly(parts), "1")


def _dilution(answer: Answer, at_half_strength: bool) -> list[Way]:
    """The dilution that meets the limits, at half the strength where soil or plant call for it."""
    parts = 0.0
    liquor = answer.typical.steep.liquor
    for _ in range(_MOST_ROUNDS):
        needed = BatchInputs.of(answer.request).parts_within_limits(answer.judged_stage, liquor)
        needed = half_strength(needed) if at_half_strength else needed
        if needed <= parts:
            break
        parts = needed
        if parts > WEAKEST_SENSIBLE_PARTS:
            return _less_tap_water(answer)
        liquor = _liquor_planned_for(answer, parts)
    return [_to_parts(answer, parts, said("Dilute to 1:{parts}.", parts=_number(answer, parts, 4)))]


def _liquor_planned_for(answer: Answer, parts: float) -> Liquor:
    """The liquor of the batch that is planned for a dilution: other spoonfuls make it a little stronger or weaker."""
    inputs = BatchInputs.of(replace(answer.request, dilution_parts=parts))
    plan, sample = plan_batch(inputs, answer.ash.typical()).plan, answer.typical.sample
    return inputs.steep(sample, plan.strength_for(sample)).liquor


def _fed(answer: Answer, parts: float, share_of_tap: float = 0.0) -> Liquor:
    """The liquor of the typical ash in ``parts`` of water; ``share_of_tap`` of it medium tap water instead."""
    water = answer.dilution_water
    if share_of_tap:
        water = water.mixed_with(water_of_kind("medium"), share_of_tap)
    return feed_at(answer.typical.steep.liquor, parts, water, answer.kelvin).liquor


def _less_tap_water(answer: Answer) -> list[Way]:
    """The share of this water, the rest being rain, that leaves room below the limit of alkalinity."""
    limit = next(limit.high for limit in answer.limits[answer.judged_stage] if limit.quantity == "alkalinity")
    share = min(max(int(50.0 * limit / max(answer.dilution_water.alkalinity, 1.0)) / 100.0, 0.0), 1.0)
    text = (
        said(
            "Dilute with rainwater, or with at most {share} % of this water in it.", share=_number(answer, 100 * share)
        )
        if share >= 0.1
        else said("Dilute with rainwater.")
    )
    return [_way("water", text, "tap_share", Estimate.exactly(share), "1")]


def _vinegar(answer: Answer, target_ph: float) -> list[Way]:
    """Vinegar for one can, to a pH; nothing where the feed is there already or vinegar can't bring it there."""
    can = answer.plan.cans[0].litres
    dose = _vinegar_dose(answer.typical.own.liquor, target_ph, answer.kelvin)
    if not dose:
        return []
    millilitres = dose * can
    text = said(
        "Add about {volume} of 5 % vinegar to a can of {size}, a little at a time, until a strip shows pH {ph}.",
        volume=roughly(millilitres, "mL", answer.request.own, answer.request.locale, trim=True)[0],
        size=to_measure(can, "L", answer.request.own, answer.request.locale),
        ph=_number(answer, target_ph),
    )
    return [_way("acid", text, "acid_volume", Estimate.exactly(millilitres), "mL")]


@lru_cache(maxsize=2)  # the three replies to a batch ask for the same feed
def _vinegar_dose(liquor: Liquor, target_ph: float, kelvin: float) -> float | None:
    vinegar = acids()["vinegar"]
    return acid_dose(liquor, vinegar, vinegar.strengths[1], target_ph, kelvin)


def _more_ground(answer: Answer) -> list[Way]:
    """The most of this feed on a square metre that leaves soil below pH 7, and no more than a drench."""
    request, drench = answer.request, answer.typical.per_square_metre
    room = suitability_limit("soil_stop") - request.known("soil.ph")
    shift = expected_shift(Estimate.exactly(drench.lime_value), request.word("soil.texture"), DRENCHED_DEPTH_CM).typical
    litres = min(floor(10 * drench.litres * room / shift) / 10, practice("ground_volume").high)
    if on_a_foot := on_a_square_foot(litres, request.own, request.locale):
        text = said("Spread it over more soil: at most {volume} on a square foot.", volume=on_a_foot)
    else:
        text = said(
            "Spread it over more soil: at most {litres} L on a square metre.", litres=_number(answer, litres, 3)
        )
    return [_way("spread", text, "litres_per_square_metre", Estimate.exactly(litres), "L/m2")]


def _soil_test(answer: Answer) -> list[Way]:
    """What may be given meanwhile, and how to test."""
    litres = min(answer.typical.per_square_metre.litres, practice("ground_volume").high)
    on_a_foot = on_a_square_foot(litres, answer.request.own, answer.request.locale)
    text = (
        said(
            "Until the soil is tested, give {volume} per square foot once, and no more. Then test: mix soil from "
            "several places with rainwater, let it settle and dip a strip, or use a kit. A laboratory is surest.",
            volume=on_a_foot,
        )
        if on_a_foot
        else said(
            "Until the soil is tested, give {litres} L per square metre once, and no more. Then test: mix soil from "
            "several places with rainwater, let it settle and dip a strip, or use a kit. A laboratory is surest.",
            litres=_number(answer, litres),
        )
    )
    return [_way("test soil", text, "litres_per_square_metre", Estimate.exactly(litres), "L/m2")]


def _gentler(answer: Answer) -> list[Way]:
    """More water, time in the air, vinegar or tap water that bring a feed below the pH that counts as corrosive."""
    limit = corrosive_ph()
    ways: list[Way] = []
    parts = answer.plan.parts_water
    while parts <= WEAKEST_SENSIBLE_PARTS and _fed(answer, parts).ph_25 >= limit:
        parts = float(ceil(parts * 1.15 + 1))
    if parts <= WEAKEST_SENSIBLE_PARTS:
        words = {"parts": _number(answer, parts, 4), "ph": _number(answer, limit, 3)}
        ways.append(_to_parts(answer, parts, said("Dilute to 1:{parts}: below pH {ph}.", **words)))
    ways += _time_in_the_air(answer, limit)
    ways += _vinegar(answer, MILD_PH)
    ways += _some_tap_water(answer, limit)
    if answer.ash.state in ("fresh", "unknown"):
        text = said(
            "Or leave the next ash spread out in damp air, out of the rain, for {days} before you use it.",
            days=said_of(AGEING_DAYS, "{days} day", "{days} days", days=_number(answer, AGEING_DAYS)),
        )
        ways.append(_way("age", text, "days", Estimate.exactly(AGEING_DAYS), "d"))
    return ways


def _time_in_the_air(answer: Answer, limit: float) -> list[Way]:
    """Days that the feed stands in an open tub as wide as the bucket and filled as the cans ask, at most to its rim."""
    feed = sum(can.litres * can.count for can in answer.plan.cans)
    litres = min(feed, answer.vessel.usable)
    feed_liquor = answer.typical.own.liquor
    soonest, usual, latest = days_in_air_until(feed_liquor, limit, answer.vessel.area, litres, answer.kelvin)
    if soonest is None or not usual or latest is None or not isfinite(latest):
        return []
    days = Estimate(float(ceil(soonest)), float(ceil(usual)), float(ceil(latest)))
    text = said_of(
        round(days.typical),
        "Leave the feed in an open tub for about a day, out of reach. Then check with a pH strip.",
        "Leave the feed in an open tub for about {count} days, out of reach. Then check with a pH strip.",
    )
    return [_way("stand", text, "days", days, "d")]


def _some_tap_water(answer: Answer, limit: float) -> list[Way]:
    """The least share of medium-hard tap water in the diluting water that brings the feed below ``limit``."""
    if answer.dilution_water.alkalinity > 20.0:
        return []
    for share in _TAP_SHARES:
        liquor = _fed(answer, answer.plan.parts_water, share)
        if liquor.ph_25 < limit and is_within(answer.limits[answer.judged_stage], liquor):
            text = said(
                "Use tap water (medium hard) for {share} % of the diluting water: then it is below pH {ph}. It makes "
                "a white cloud of lime. Let it settle.",
                share=_number(answer, 100 * share),
                ph=_number(answer, limit, 3),
            )
            return [_way("water", text, "tap_share", Estimate.exactly(share), "1")]
    return []
