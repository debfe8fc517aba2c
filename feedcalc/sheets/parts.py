"""A batch sheet as Markdown and as the HTML parts of the page."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from typing import Any

from feedcalc import published
from feedcalc.contract.asks import PAGE_PARTS
from feedcalc.contract.cautions import hazard_in
from feedcalc.contract.numbers import write_number
from feedcalc.contract.own_measures import roughly
from feedcalc.liquor.figures import TABLES_BEHIND_A_BATCH
from feedcalc.sheets.bars import best_remedy, doubts, range_bars, share_bar
from feedcalc.sheets.batch import Sheet
from feedcalc.sheets.drawing import bucket_drawing, ladder_drawing, ph_curve, settling_drawing
from feedcalc.sheets.render import NO_TEXT, render, render_text

MARKDOWN_PARTS = ("short", "sheet", "settle", "ladder", "delivery", "air", "acid", "mix")


def page_parts(sheet: Sheet, language: str = "en", names: Sequence[str] = PAGE_PARTS) -> dict[str, str]:
    """Return the HTML of some of `PAGE_PARTS`, by name."""
    context = _context(sheet, language)
    if "label" in names:
        from feedcalc.sheets.paper.label import NOT_FOR_FOOD, label_of  # a terminal shows no label

        context |= {"label": label_of(sheet, language=language), "not_for_food": NOT_FOR_FOOD}
    return {name: render(f"{name}.html.j2", language, **context) for name in names}


def markdown(part: str, sheet: Sheet, language: str = "en") -> str:
    """Return one of `MARKDOWN_PARTS` as Markdown that also reads well as plain text."""
    text = render_text(f"{part}.md.j2", language, **_context(sheet, language))
    # The short sheet has no blank lines within its list.
    return re.sub(r"\n\n(?= +- |\d+\. )", "\n", text) if part == "short" else text


def _context(sheet: Sheet, language: str) -> dict[str, Any]:
    """Return what the batch templates use: the sheet, its figures, the drawings, and functions that write numbers."""
    # The regulation prints its hazard statements in each language; they are not translated through the catalogues.
    sheet = replace(sheet, hazard=hazard_in(sheet.hazard, language), feed_hazard=hazard_in(sheet.feed_hazard, language))
    return {
        "sheet": sheet,
        "f": sheet.figures,
        "number": lambda value: write_number(value, 2, sheet.locale, trim=True),
        "centimetres": lambda metres: roughly(metres * 100, "cm", sheet.own, sheet.locale, trim=True)[0],
        "bars": lambda: range_bars(sheet),
        "doubts": doubts(sheet.helps),
        "best_remedy": best_remedy(sheet.helps),
        "share_bar": share_bar,
        "bucket": lambda: bucket_drawing(sheet),
        "settling": lambda *edges: settling_drawing(sheet, *edges),
        "ladder": lambda *edges: ladder_drawing(sheet, *edges),
        "curve": lambda name: ph_curve(sheet, name, left=40, right=340, top=20, bottom=168),
        "sources": _sources,
        "percent": lambda share: f"{write_number(share * 100, 2, sheet.locale, trim=True)}\u00a0%",
    }


@cache
def _sources() -> list[dict[str, str]]:
    cited = published.sources_behind(TABLES_BEHIND_A_BATCH)
    return [source for source in cited if source["id"] not in NO_TEXT]
