"""Collect from an answer what the verdict on a feed depends on, and ask `feedcalc.garden.suitability` for it.

No judgement happens here: ground, plant and season come from the request, and the feed comes from the plan.
"""

from __future__ import annotations

from math import inf

from feedcalc.garden.circumstances import circumstances_of, stage_of
from feedcalc.garden.dry_ash import cap_for
from feedcalc.garden.suitability import CONTAINERS, HOLD, FeedFacts, Verdict, verdict_for
from feedcalc.liquor.answer import Answer
from feedcalc.liquor.instruments import ph_shows, reading_celsius
from feedcalc.liquor.planning import NO_DILUTION_DOES
from feedcalc.uncertainty.estimates import Estimate


def verdict_on(answer: Answer) -> Verdict:
    """Return the verdict on the feed of an answer for the ground and plant of its request."""
    return verdict_for(circumstances_of(answer.request, feed_facts(answer)))


def sludge_area(answer: Answer, verdict: Verdict) -> Estimate | None:
    """Return the square metres on which the sludge of a batch, counted as its whole ash, is the cap for a year.

    None where the ground should get no sludge, or where the cap is not known.
    """
    cap = cap_for(answer.request.number("soil.ph"))
    if cap.high == 0.0 or verdict.word == HOLD or answer.request.word("place") in CONTAINERS:
        return None
    return answer.spread(lambda outcome: outcome.batch.ash_grams / cap.high)


def feed_facts(answer: Answer) -> FeedFacts:
    """Return the properties of the feed of an answer, as it is poured."""
    stage = stage_of(answer.request)
    ph_read, is_of_feed = answer.request.number("measured.ph"), answer.request.word("measured.of") == "feed"
    computed = answer.spread(lambda outcome: (outcome.own if is_of_feed else outcome.steep).liquor.equilibrium.ph)
    typical = answer.typical
    read, ph_25 = (typical.own, typical.own_ph_25) if is_of_feed else (typical.steep, typical.liquor_ph_25)
    return FeedFacts(
        ph=answer.spread(lambda outcome: outcome.own_ph_25),
        alkalinity=answer.spread(lambda outcome: outcome.own.liquor.alkalinity),
        conductivity=answer.spread(lambda outcome: outcome.own.liquor.equilibrium.conductivity),
        lime_per_square_metre=answer.spread(
            # An ash with more acid than base adds no lime.
            lambda outcome: max(outcome.per_square_metre.lime_value, 0.0)
        ),
        potassium=answer.spread(lambda outcome: outcome.own.liquor.milligrams_per_litre("potassium")),
        litres_per_square_metre=typical.per_square_metre.litres,
        read_shift=ph_25 - ph_shows(read.liquor.equilibrium, reading_celsius(answer.request)),
        limits=answer.limits[stage],
        parts=answer.plan.parts_water,
        # The plan looks closer than the ladder's rungs do: where it found that none will do, none will.
        parts_within_limits=inf if NO_DILUTION_DOES in answer.warnings else typical.recommended[stage],
        # With acid the feed may have any pH, so the reading is doubted only if no plausible ash explains it.
        fits_reading=(
            ph_read is None
            or bool(answer.request.word("acid.kind"))
            or "measured.ph" in answer.readings_used
            or ph_read >= computed.low
        ),
    )
