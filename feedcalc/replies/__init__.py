"""What is replied to each ask: a module for each, with the figures of the answer, its HTML and its Markdown.

The door imports a module when it is asked for, so that a verb that needs one of them starts quickly.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module

from feedcalc.contract.asks import BATCH, BOOK, HAPPENED, JUDGE, SEASON, SHARE, SPREAD, Ask
from feedcalc.replies.answered import Answered
from feedcalc.uncertainty.estimates import Steps

# The module beside this one that answers an ask in ``answered_in_steps``.
SHOWN_ON_SHEETS: Mapping[Ask, str] = {
    BATCH: "batch",
    SPREAD: "spread",
    SEASON: "season",
    BOOK: "book",
    SHARE: "share",
    JUDGE: "advice",
    HAPPENED: "advice",
}


def answers_to(ask: Ask) -> Callable[..., Steps[Answered]]:
    """Return the function that answers an ask of `SHOWN_ON_SHEETS`.

    It takes the document and the request read of it; that for a batch also takes who is told earlier answers.

    >>> answers_to(SPREAD).__module__
    'feedcalc.replies.spread'
    """
    found: Callable[..., Steps[Answered]] = import_module(f"{__name__}.{SHOWN_ON_SHEETS[ask]}").answered_in_steps
    return found
