"""The figures of a season-book answer in words, for the season templates.

* Nothing is calculated here. ``words`` holds the text of each figure by its path in ``values``.
* Words of the contract such as ``dry ash`` stay English in ``values``; `SPOKEN` holds the messages to print for them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import markupsafe

from feedcalc.book.season import SeasonAnswer
from feedcalc.book.totals import TimelineStep
from feedcalc.contract.cautions import Caution
from feedcalc.contract.figures import figure_words, flat_figures
from feedcalc.contract.numbers import write_number
from feedcalc.contract.own_measures import OwnUnits
from feedcalc.contract.units import converted
from feedcalc.frozen import frozen
from feedcalc.sheets.render import render, render_text
from feedcalc.sheets.season_drawing import letter_of, timeline_drawing
from feedcalc.words.languages import MACHINE_WORDS
from feedcalc.words.messages import said, said_in

# The words of the contract as messages, for printing.
SPOKEN: Mapping[str, str] = {**MACHINE_WORDS, "lime_value": said_in("element or figure", "lime value")}


@frozen
class SeasonSheet:
    """Everything the season templates print; ``words`` by figure path, ``steps`` the timeline of each bed by its id."""

    values: Mapping[str, Any]
    words: Mapping[str, str]
    steps: Mapping[str, tuple[TimelineStep, ...]]
    bed: str
    asked_bed: str
    assumed: Mapping[str, str]
    cautions: tuple[Caution, ...]
    locale: str
    own: OwnUnits
    spoken: Mapping[str, str]

    @property
    def axis(self) -> tuple[float, str]:
        """The unit of a timeline's axis, and how many of it a gram on a square metre is."""
        if self.own.area != "ft^2":
            return 1.0, "g/m²"
        return 100 * converted(1.0, "ft^2", "m^2") / converted(1.0, "lb", "g"), "lb/100 sq ft"


def season_sheet(answer: SeasonAnswer, locale: str, own: OwnUnits) -> SeasonSheet:
    """Return the sheet of a season answer with numbers written as ``locale`` writes them, in the grower's units."""
    return SeasonSheet(
        values=answer.values,
        words={path: figure_words(figure, locale, own) for path, figure in flat_figures(answer.values).items()},
        steps=answer.steps,
        bed=answer.bed,
        asked_bed=answer.asked_bed,
        assumed=answer.assumed,
        cautions=answer.cautions,
        locale=locale,
        own=own,
        spoken=SPOKEN,
    )


def timeline_words(bed: Mapping[str, Any], words: Mapping[str, str], at: str) -> dict[str, str]:
    """Return title, description and caption of a bed's timeline; ``at`` is the path of the bed, with its dot."""
    return {
        "title": said("What {bed} got in the last twelve months, day by day", bed=bed["name"]),
        "description": said(
            "The ash of the twelve months up to each day rises in steps. It is now {ash}, and the yearly limit is "
            "{cap}. The lime value is {lime}. Entries have letters, as in the list below.",
            ash=words[at + "ash_this_year"],
            cap=words[at + "cap"],
            lime=words[at + "lime_value"],
        ),
        "caption": said(
            "Thick line: ash, with its range. Dashes: the yearly limit. Dots: lime value. Circle: liquid feed. "
            "Square: dry ash. Diamond: sludge. Triangle: compost; pointing down: lime. Cross: other."
        ),
    }


def season_html(sheet: SeasonSheet, language: str = "en") -> dict[str, str]:
    """Return the HTML parts of a season book: all beds, the chosen bed, and the effect of a planned entry."""
    context = _season_context(sheet)
    parts = {"season": render("season.html.j2", language, **context)}
    for place, bed in enumerate(sheet.values["season"]["beds"]):
        if bed["id"] == sheet.bed:
            own = {"bed": bed, "at": f"season.beds.{place}.", "picture": _timeline(sheet, bed, place, language)}
            parts["season_bed"] = render("season_bed.html.j2", language, **context, **own)
    if sheet.values["season"]["what_if"]:
        parts["what_if"] = render("season_what_if.html.j2", language, **context)
    return parts


def season_markdown(sheet: SeasonSheet, language: str = "en") -> str:
    """Return the chosen bed of a season book, or all beds, as Markdown that also reads well as plain text."""
    return render_text("season.md.j2", language, **_season_context(sheet))


def _season_context(sheet: SeasonSheet) -> dict[str, Any]:
    return {
        "sheet": sheet,
        "w": sheet.words,
        "letter": letter_of,
        "places": {bed["id"]: f"season.beds.{at}." for at, bed in enumerate(sheet.values["season"]["beds"])},
        "number": lambda value: write_number(value, 2, sheet.locale, trim=True),
    }


def _timeline(sheet: SeasonSheet, bed: Mapping[str, Any], place: int, language: str) -> str:
    """Return the timeline of a bed as SVG; empty if the bed's area is unknown."""
    steps = sheet.steps[sheet.bed]
    drawing = timeline_drawing(steps, bed["entries"], left=40.0, right=348.0, top=20.0, bottom=184.0)
    if drawing is None:
        return ""
    own = {"t": drawing, "place": place, "first": steps[0].day, "last": steps[-1].day}
    words = timeline_words(bed, sheet.words, f"season.beds.{place}.")
    return markupsafe.Markup(render("season_timeline.svg.j2", language, **_season_context(sheet), **own, **words))
