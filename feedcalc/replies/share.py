"""The reply on a winter's ash shared out over the beds of the season book."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from feedcalc.book.winter import TABLES_BEHIND_SHARING, winter_answer_in_steps
from feedcalc.contract.request import Request
from feedcalc.replies.answered import Answered, ground_reply, read_as
from feedcalc.sheets.share import share_html, share_markdown, share_sheet
from feedcalc.uncertainty.estimates import Steps


def answered_in_steps(document: Mapping[str, Any], request: Request) -> Steps[Answered]:
    """Return the answer; raises `InputErrors`."""
    answer = yield from winter_answer_in_steps(request)
    sheet = share_sheet(answer, request.locale, request.own)
    return Answered(
        ground_reply(answer, read_as(request), TABLES_BEHIND_SHARING),
        html=lambda language, names: {"share": share_html(sheet, language)},
        markdown=lambda language, part: share_markdown(sheet, language),
    )
