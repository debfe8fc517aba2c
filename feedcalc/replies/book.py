"""The reply on work on the season book: records that changed, the book as text, reminders."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from feedcalc.book.work import book_work
from feedcalc.contract.reply import Reply
from feedcalc.contract.request import Request
from feedcalc.replies.answered import Answered
from feedcalc.uncertainty.estimates import Steps


def answered_in_steps(document: Mapping[str, Any], request: Request) -> Steps[Answered]:
    """Return the answer, which has no sheet; raises `InputErrors`."""
    yield from ()
    work = book_work(request)
    book = {
        "changed": [record.as_dict() for record in work.changed],
        "set_aside": [error.as_dict() for error in work.set_aside],
        "text": work.text,
        "reminders": [reminder.as_dict() for reminder in work.reminders],
    }
    return Answered(Reply(values={"book": book}, read_as={}))
