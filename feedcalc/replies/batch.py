"""The reply on one batch of feed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from feedcalc import published
from feedcalc.contract.reply import Reply
from feedcalc.contract.request import Request
from feedcalc.liquor.answer import Answer, answer_in_steps
from feedcalc.liquor.figures import TABLES_BEHIND_A_BATCH, medians_taken, values_of
from feedcalc.liquor.reactions import REACTIONS, with_reactions
from feedcalc.replies.answered import MEANINGS, Answered, Tell, read_as
from feedcalc.sheets.batch import Sheet, sheet_of
from feedcalc.sheets.parts import markdown, page_parts
from feedcalc.uncertainty.estimates import Steps
from feedcalc.words.messages import said


def answered_in_steps(document: Mapping[str, Any], request: Request, tell: Tell | None = None) -> Steps[Answered]:
    """Return the answer; ``tell`` is given the earlier ones of `feedcalc.liquor.answer.answer_in_steps`.

    Raises `InputErrors` and `NoSolution`.
    """

    def early(answer: Answer) -> None:
        if tell:  # what takes long and only all ranges show is left to the last answer
            quick = replace(request, words={**request.words, "ranges": "off"})
            tell(_answered(replace(answer, request=quick)), bool(answer.others))

    return _answered((yield from answer_in_steps(request, early if tell else None)))


def sheet_in_steps(request: Request) -> Steps[Sheet]:
    """Return the sheet of a batch; raises as `answered_in_steps` does."""
    return _reply_and_sheet((yield from answer_in_steps(request)))[1]


def _answered(answer: Answer) -> Answered:
    reply, sheet = _reply_and_sheet(answer)
    return Answered(
        reply,
        html=lambda language, names: page_parts(sheet, language, names),
        markdown=lambda language, part: markdown(part, sheet, language),
    )


def _reply_and_sheet(answer: Answer) -> tuple[Reply, Sheet]:
    request = answer.request
    values, notes = with_reactions(answer, values_of(answer))
    values["evidence"]["medians"] = medians_taken(values) if answer.others else {}
    sheet = sheet_of(answer, values, MEANINGS)
    after = {name: values[name] for name in REACTIONS if name in values}
    read = read_as(request)
    typed = tuple(filter(None, (_as_typed(request, path, reading) for path, reading in read.items())))
    sheet = replace(sheet, warnings=(*sheet.warnings, *notes), after=after, read_as=typed)
    reply = Reply(
        values=values,
        assumed=answer.assumed,
        read_as=read | {suggestion.field: suggestion.because for suggestion in answer.suggestions},
        cautions=[
            {"id": c.id, "where": c.where, "text": c.text, "source": c.source, "status": c.status, "weight": c.weight}
            for c in sheet.cautions
        ],
        warnings=(*answer.warnings, *notes),
        sources=published.sources_behind(TABLES_BEHIND_A_BATCH),
    )
    return reply, sheet


def _as_typed(request: Request, path: str, reading: str) -> str:
    """Return what was typed and how it was read, where the reading alone does not say both."""
    quantity = request.readings.get(path)
    has_unit = quantity is not None and any(map(str.isalpha, quantity.text))
    if quantity and has_unit and quantity.typed_unit.startswith("us_") and request.own.volume == "us":
        return ""  # who answers to US customs knows that gallon
    return said("{typed} is {reading}", typed=quantity.text, reading=reading) if quantity else reading
