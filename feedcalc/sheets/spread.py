"""The sheet for dry ash: the figures of a spreading answer in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from feedcalc.contract.cautions import Caution
from feedcalc.contract.figures import figure_words, flat_figures
from feedcalc.garden.spreading import SpreadAnswer


@dataclass(frozen=True, slots=True)
class SpreadSheet:
    """What the templates of a spreading need: the values, and every figure in words by its path."""

    values: Mapping[str, Any]
    words: Mapping[str, str]
    verdict: str
    reasons: tuple[Mapping[str, str], ...]
    assumed: Mapping[str, str]
    cautions: tuple[Caution, ...]


def spread_sheet(answer: SpreadAnswer, locale: str) -> SpreadSheet:
    """The sheet of an answer, numbers written as the grower's country writes them."""
    words = {path: figure_words(told, locale) for path, told in flat_figures(answer.values).items()}
    return SpreadSheet(
        answer.values, words, answer.verdict.word, tuple(answer.values["reasons"]), answer.assumed, answer.cautions
    )
