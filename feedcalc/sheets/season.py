"""The sheet of the season book: figures in words, and the words of its timeline."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from feedcalc.book.season import SeasonAnswer
from feedcalc.book.totals import TimelineStep
from feedcalc.contract.cautions import Caution
from feedcalc.contract.figures import figure_words, flat_figures
from feedcalc.words.languages import MACHINE_WORDS
from feedcalc.words.messages import said


@dataclass(frozen=True, slots=True)
class SeasonSheet:
    """What the templates of a season need: the values, every figure in words by its path, and the steps to draw."""

    values: Mapping[str, Any]
    words: Mapping[str, str]
    steps: Mapping[str, tuple[TimelineStep, ...]]
    bed: str
    asked_bed: str
    assumed: Mapping[str, str]
    cautions: tuple[Caution, ...]
    locale: str
    spoken: Mapping[str, str]


def season_sheet(answer: SeasonAnswer, locale: str) -> SeasonSheet:
    """The sheet of an answer, numbers written as the grower's country writes them."""
    words = {path: figure_words(told, locale) for path, told in flat_figures(answer.values).items()}
    return SeasonSheet(
        answer.values,
        words,
        answer.steps,
        answer.bed,
        answer.asked_bed,
        answer.assumed,
        answer.cautions,
        locale,
        SPOKEN,
    )


# The words of the contract that a grower reads too: they stay as they are in ``values`` and are said on the sheet.
SPOKEN: Mapping[str, str] = {**MACHINE_WORDS, "lime_value": said("lime value")}


def timeline_words(bed: Mapping[str, Any], words: Mapping[str, str], at: str) -> dict[str, str]:
    """Title, description and caption of a bed's timeline; ``at`` is where its figures stand in ``words``."""
    return {
        "title": said("What {bed} had in the last twelve months, day by day", bed=bed["name"]),
        "description": said(
            "Ash of the twelve months up to each day goes in steps; it stands at {ash} now, and the cap at {cap}. "
            "Lime value stands at {lime}. Entries are marked by letters, as in the list below.",
            ash=words[at + "ash_this_year"],
            cap=words[at + "cap"],
            lime=words[at + "lime_value"],
        ),
        "caption": said(
            "Thick line: ash, with its range. Dashes: the cap. Dots: lime value. Round: liquid feed, square: dry ash, "
            "diamond: sludge, triangle: compost, pointing down: lime, cross: other."
        ),
    }
