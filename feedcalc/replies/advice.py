"""The replies on a recipe that is judged, and on what happened to plants that were fed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from feedcalc import published
from feedcalc.contract.asks import HAPPENED, JUDGE
from feedcalc.contract.reply import Reply
from feedcalc.contract.request import Request
from feedcalc.liquor.figures import medians_taken
from feedcalc.liquor.judging import TABLES_BEHIND_JUDGING, judged_in_steps
from feedcalc.liquor.mishap import TABLES_BEHIND_MISHAPS, mishap_answer
from feedcalc.replies.answered import MEANINGS, Answered
from feedcalc.sheets.advice import advice_html, advice_markdown, advice_sheet
from feedcalc.uncertainty.estimates import Steps


def answered_in_steps(document: Mapping[str, Any], request: Request) -> Steps[Answered]:
    """Return the answer; raises `InputErrors`."""
    if request.word("ask") == JUDGE.name:
        ask, tables = JUDGE, TABLES_BEHIND_JUDGING
        judgement = yield from judged_in_steps(document)
    else:
        ask, tables = HAPPENED, TABLES_BEHIND_MISHAPS
        judgement = mishap_answer(document)
    medians_taken(judgement.values)
    sheet = advice_sheet(ask.name, judgement, MEANINGS)
    reply = Reply(
        values=judgement.values,
        assumed=judgement.assumed,
        cautions=[asdict(caution) for caution in judgement.cautions],
        sources=published.sources_behind((*tables, "suitability_reasons", "feed_limits")),
    )
    return Answered(
        reply,
        html=lambda language, names: {sheet.name: advice_html(sheet, language)},
        markdown=lambda language, part: advice_markdown(sheet, language),
    )
