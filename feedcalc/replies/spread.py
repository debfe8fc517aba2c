"""The reply on dry ash for a patch of ground."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from feedcalc.contract.request import Request
from feedcalc.garden.spreading import TABLES_BEHIND_SPREADING, spread_answer
from feedcalc.replies.answered import Answered, ground_reply, read_as
from feedcalc.sheets.spread import spread_html, spread_markdown, spread_sheet
from feedcalc.uncertainty.estimates import Steps


def answered_in_steps(document: Mapping[str, Any], request: Request) -> Steps[Answered]:
    """Return the answer; raises `InputErrors`."""
    yield from ()
    answer = spread_answer(request)
    sheet = spread_sheet(answer, request.locale, request.own)
    return Answered(
        ground_reply(answer, read_as(request), TABLES_BEHIND_SPREADING),
        html=lambda language, names: {"spread": spread_html(sheet, language)},
        markdown=lambda language, part: spread_markdown(sheet, language),
    )
