"""From an answer worked through to the circumstances that `feedcalc.garden.suitability` judges.

Rules of this room: nothing is judged here and nothing computed anew; what the request says of ground and plant and what
the plan makes of the feed is only put side by side.
"""

from __future__ import annotations

from feedcalc.garden.circumstances import circumstances_of, stage_of
from feedcalc.garden.dry_ash import cap_for
from feedcalc.garden.suitability import CONTAINERS, HOLD, FeedFacts, Verdict, verdict_for
from feedcalc.liquor.answer import Answer
from feedcalc.liquor.instruments import ph_shows, reading_celsius
from feedcalc.uncertainty.estimates import Estimate


def verdict_on(answer: Answer) -> Verdict:
    """The verdict on an answered batch request: its ground and plant with the feed as it would be poured."""
    return verdict_for(circumstances_of(answer.request, feed_facts(answer)))


def sludge_area(answer: Answer, verdict: Verdict) -> Estimate | None:
    """Square metres of this ground for which the sludge of a batch, counted as its ash, is the cap of a year.

    None where the ground should get none, or nobody knows.
    """
    cap = cap_for(answer.request.number("soil.ph"))
    if cap.high == 0.0 or verdict.word == HOLD or answer.request.word("place") in CONTAINERS:
        return None
    return answer.spread(lambda outcome: outcome.batch.ash_grams / cap.high)


def feed_facts(answer: Answer) -> FeedFacts:
    """The feed of an answer as it would be poured, a drench of usual depth."""
    stage = stage_of(answer.request)
    read_ph, is_read_of_feed = answer.request.number("measured.ph"), answer.request.word("measured.of") == "feed"
    computed = answer.spread(lambda outcome: (outcome.own if is_read_of_feed else outcome.steep).liquor.equilibrium.ph)
    typical = (answer.typical.own if is_read_of_feed else answer.typical.steep).liquor
    return FeedFacts(
        ph=answer.spread(lambda outcome: outcome.own_ph_25),
        alkalinity=answer.spread(lambda outcome: outcome.own.liquor.alkalinity),
        conductivity=answer.spread(lambda outcome: outcome.own.liquor.equilibrium.conductivity),
        potassium=answer.spread(lambda outcome: outcome.own.liquor.milligrams_per_litre("potassium")),
        litres_per_square_metre=answer.typical.per_square_metre.litres,
        lime_per_square_metre=answer.spread(
            # An ash of more acid than base brings none.
            lambda outcome: max(outcome.per_square_metre.lime_value, 0.0)
        ),
        limits=answer.limits[stage],
        parts=answer.plan.parts_water,
        parts_within_limits=answer.typical.recommended[stage],
        read_shift=typical.ph_25 - ph_shows(typical.equilibrium, reading_celsius(answer.request)),
        # Acid brings a feed anywhere; only a reading that was called out as no plausible ash's is doubted.
        fits_reading=(
            read_ph is None
            or bool(answer.request.word("acid.kind"))
            or "measured.ph" in answer.readings_used
            or read_ph >= computed.low
        ),
    )
