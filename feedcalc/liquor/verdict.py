"""From an answer worked through to the circumstances that `feedcalc.garden.suitability` judges.

Rules of this room: nothing is judged here and nothing computed anew; what the request says of ground and plant and what
the plan makes of the feed is only put side by side.
"""

from __future__ import annotations

from datetime import date

from feedcalc.contract.request import Request
from feedcalc.garden.dry_ash import cap_for
from feedcalc.garden.suitability import CONTAINERS, HOLD, Circumstances, FeedFacts, Verdict, verdict_for
from feedcalc.liquor.answer import Answer, practice
from feedcalc.uncertainty.estimates import Estimate

DAYS_PER_YEAR = 365.25


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


def circumstances_of(request: Request, feed: FeedFacts | None = None) -> Circumstances:
    """What a request says of ground and plant; without ``feed`` it is dry ash that is judged."""
    acid_target = request.number("acid.target_ph") if request.word("acid.kind") else None
    return Circumstances(
        soil_ph=request.number("soil.ph"),
        tested_with=request.word("soil.tested_with"),
        tested_years_ago=_tested_years_ago(request),
        texture=request.word("soil.texture"),
        plant=request.word("plant"),
        stage=_stage(request),
        use=request.word("use"),
        season=request.word("season"),
        place=request.word("place"),
        feed=feed,
        read_ph=acid_target if acid_target is not None else request.number("measured.ph"),
        has_acid=acid_target is not None,
        locale=request.locale,
        language=request.language,
    )


def _tested_years_ago(request: Request) -> float | None:
    """Years from the soil test to the day of the batch; None where either is unsaid."""
    tested_on = request.word("soil.tested_on")
    if not tested_on or request.moment is None:
        return None
    return (request.moment.date() - date.fromisoformat(tested_on)).days / DAYS_PER_YEAR


def _stage(request: Request) -> str:
    """The stage asked for; in plug trays everything is a seedling."""
    return "seedling" if request.word("place") == "plug tray" else request.word("stage")


def feed_facts(answer: Answer) -> FeedFacts:
    """The feed of an answer as it would be poured, a drench of usual depth."""
    stage = _stage(answer.request)
    litres = practice("ground_volume").typical
    read_ph, is_read_of_feed = answer.request.number("measured.ph"), answer.request.word("measured.of") == "feed"
    computed = answer.spread(lambda outcome: (outcome.own if is_read_of_feed else outcome.steep).liquor.equilibrium.ph)
    grams_per_milligram = 0.001
    return FeedFacts(
        ph=answer.spread(lambda outcome: outcome.own.liquor.equilibrium.ph),
        alkalinity=answer.spread(lambda outcome: outcome.own.liquor.alkalinity),
        conductivity=answer.spread(lambda outcome: outcome.own.liquor.equilibrium.conductivity),
        lime_per_square_metre=answer.spread(
            # An ash of more acid than base brings none.
            lambda outcome: max(outcome.own.liquor.alkalinity, 0.0) * litres * grams_per_milligram
        ),
        limits=answer.limits[stage],
        parts=answer.plan.parts_water,
        parts_within_limits=answer.typical.recommended[stage],
        # Acid brings a feed anywhere; only a reading that was called out as no plausible ash's is doubted.
        fits_reading=(
            read_ph is None
            or bool(answer.request.word("acid.kind"))
            or "measured.ph" in answer.readings_used
            or read_ph >= computed.low
        ),
    )
