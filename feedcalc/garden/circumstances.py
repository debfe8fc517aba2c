"""Collect what `feedcalc.garden.suitability` needs from a request. No judgement happens here."""

from __future__ import annotations

from datetime import date

from feedcalc.contract.request import Request
from feedcalc.garden.suitability import Circumstances, FeedFacts

DAYS_PER_YEAR = 365.25


def circumstances_of(request: Request, feed: FeedFacts | None = None) -> Circumstances:
    """Return the soil, plant and place of a request; without ``feed`` the verdict is on dry ash."""
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
        own=request.own,
    )


def stage_of(request: Request) -> str:
    """Return the stage of the plants. Plants in plug trays count as seedlings."""
    return "seedling" if request.word("place") == "plug tray" else request.word("stage")


def _tested_years_ago(request: Request) -> float | None:
    """Return the years from the soil test to the day of the batch, or None if either date is missing."""
    tested_on = request.word("soil.tested_on")
    if not tested_on or request.moment is None:
        return None
    return (request.moment.date() - date.fromisoformat(tested_on)).days / DAYS_PER_YEAR
