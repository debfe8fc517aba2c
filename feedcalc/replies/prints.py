"""The replies on what is printed: labels for bottles, the sheet for the wall."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any

from feedcalc.contract.asks import SPREAD, ask_of
from feedcalc.contract.reply import Reply
from feedcalc.contract.request import read_request
from feedcalc.replies.batch import sheet_in_steps
from feedcalc.sheets.batch import Sheet
from feedcalc.sheets.paper.printing import Printed, printed
from feedcalc.uncertainty.estimates import run_to_end
from feedcalc.words.errors import InputError
from feedcalc.words.messages import said, said_in


def printed_of(document: Mapping[str, Any]) -> Printed:
    """Return what a request for a label or a wall sheet prints; raises `InputError`, `InputErrors`, `NoSolution`."""
    ask = ask_of(document)
    return printed({**document, "ask": ask.name} if ask else document, _sheet_to_print)


def print_reply(print_: Printed, ask: str) -> Reply:
    """Return the reply with the drawings of a print."""
    return Reply(
        values={ask: print_.values},
        warnings=print_.told,
        html={ask: "\n".join(svg for _, _, svg in print_.pages)},
        print={
            "title": print_.title,
            "text": print_.text,
            "pages": [{"width": width, "height": height} for width, height, _ in print_.pages],
        },
    )


@lru_cache(maxsize=32)
def _sheet_to_print(request_json: str) -> Sheet:
    """Return the sheet of one batch with its ranges, because the hazard class follows their upper end.

    The cache serves requests that differ only in the size of the paper.
    """
    request = read_request(request_json)
    if request.solution is not None or request.word("ask") == SPREAD.name:
        raise InputError(
            "request", "", said("There is no bottle in this request."), said_in("what is accepted", "a batch")
        )
    return run_to_end(sheet_in_steps(replace(request, words={**request.words, "ranges": "on"})))
