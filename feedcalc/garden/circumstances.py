"""Collect what the rules of suitability need from a request. No judgement happens here."""

from __future__ import annotations

from datetime import date

from feedcalc.contract.request import Request
from feedcalc.garden.suitability import Circumstances, FeedFacts

DAYS_PER_YEAR = 365.25


def circumstances_of(request: Request, feed: FeedFacts | None = None) -> Circumstances:
    """What a request says of ground and plant; without ``feed`` it is dry ash that is judged."""
    acid_target = request.number("acid.target_ph") if request.word("acid.kind") else None
    return Circumstances(
        soil_ph=request.number("soil.ph"),
        tested_with=request.word("soil.tested_with"),
        tested_years_ago=_tested_years_ago(request),
        texture=request.word("soil.texture"),
        plant=request.word("plant"),
        stage=stage_of(request),
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


def stage_of(request: Request) -> str:
    """The stage asked for; in plug trays everything is a seedling."""
    return "seedling" if request.word("place") == "plug tray" else request.word("stage")
