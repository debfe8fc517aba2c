"""The reply on the season book: all beds, the bed that is asked for, and what a planned entry would do."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from feedcalc.book.season import season_answer_in_steps
from feedcalc.contract.request import Request
from feedcalc.replies.answered import Answered, ground_reply
from feedcalc.sheets.season import season_html, season_markdown, season_sheet
from feedcalc.uncertainty.estimates import Steps


def answered_in_steps(document: Mapping[str, Any], request: Request) -> Steps[Answered]:
    """Return the answer; raises `InputErrors`."""
    answer = yield from season_answer_in_steps(request)
    yield 1, 1
    sheet = season_sheet(answer, request.locale, request.own)
    yield 1, 1
    return Answered(
        ground_reply(answer, answer.read_as, answer.tables),
        html=lambda language, names: season_html(sheet, language),
        markdown=lambda language, part: season_markdown(sheet, language),
    )
