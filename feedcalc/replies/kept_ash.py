"""The reply on an ash that is kept under a name."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from feedcalc import published
from feedcalc.contract.reply import Reply
from feedcalc.liquor.figures import TABLES_BEHIND_A_BATCH
from feedcalc.liquor.kept_ash import kept_ash_in_steps, values_of_kept
from feedcalc.replies.answered import Answered
from feedcalc.sheets.render import render
from feedcalc.uncertainty.estimates import Steps


def answered_in_steps(document: Mapping[str, Any]) -> Steps[Answered]:
    """Return the answer, which has no Markdown; raises `InputErrors`."""
    kept = yield from kept_ash_in_steps(document)
    reply = Reply(
        values={"ash": values_of_kept(kept)},
        warnings=kept.warnings,
        sources=published.sources_behind(TABLES_BEHIND_A_BATCH),
    )
    return Answered(reply, html=lambda language, names: {"ash": render("kept_ash.html.j2", language, kept=kept)})
