"""Read a choice in the words that a person has for it: ``Lehm`` or ``silty clay`` for a texture, ``lab`` for a test.

`choice_words.csv` lists the words in six languages. A word that is not listed is refused, with what is spelt like it.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from functools import cache

from feedcalc import published
from feedcalc.contract.numbers import write_number
from feedcalc.contract.text import plain_words
from feedcalc.words.messages import said, said_in

# How a soil was tested if it was only called acid, neutral or alkaline.
BY_WORD = "word"
WORDS_FOR_SOIL = {
    "acid": said_in("reaction of the soil", "acid"),
    "neutral": said_in("reaction of the soil", "neutral"),
    "alkaline": said_in("reaction of the soil", "alkaline"),
}
_SIMILARITY = 0.75  # least ratio of `difflib.SequenceMatcher` for a word to be suggested
_MOST_SUGGESTED = 3


def choice_meant(field: str, typed: str, choices: Iterable[str]) -> str:
    """Return the choice of a field that a text means; empty if it is not known.

    >>> choice_meant("soil.texture", "Sandy Loam", ("sand", "loam")), choice_meant("soil.texture", "jelly", ("sand",))
    ('sand', '')
    """
    plain = plain_words(typed)
    known = {plain_words(choice): choice for choice in choices}
    meant = known.get(plain) or _words_of(field).get(plain, "")
    return meant if meant in known.values() else ""


def soil_ph_meant(typed: object, locale: str = "en-GB") -> tuple[float, str] | None:
    """Return the pH that is meant where a soil is only called acid, neutral or alkaline, and how that is told back.

    >>> soil_ph_meant("Acidic"), soil_ph_meant("sauer")[0], soil_ph_meant("6.2")
    ((5.7, 'acid is read as pH 5.7, give or take 0.8'), 5.7, None)
    """
    known = {row["word"]: float(row["ph"]) for row in published.table("soil_words")}
    word = choice_meant("soil.ph", typed, known) if isinstance(typed, str) else ""
    if not word:
        return None
    error = float(published.row("suitability_limits", f"error_{BY_WORD}")["value"])
    parts = {"ph": write_number(known[word], 2, locale), "error": write_number(error, 1, locale)}
    return known[word], said("{word} is read as pH {ph}, give or take {error}", word=WORDS_FOR_SOIL[word], **parts)


def choices_spelt_like(field: str, typed: str, choices: Iterable[str]) -> list[str]:
    """Return the choices whose words are spelt much like a text, closest first."""
    known = {plain_words(choice): choice for choice in choices}
    words = {word: choice for word, choice in _words_of(field).items() if choice in known.values()} | known
    near = difflib.get_close_matches(plain_words(typed), words, _MOST_SUGGESTED, _SIMILARITY)
    return list(dict.fromkeys(words[word] for word in near))


@cache
def _words_of(field: str) -> Mapping[str, str]:
    """Return the choices of a field by each word for them in plain form."""
    found: dict[str, str] = {}
    for row in published.table("choice_words"):
        if row["field"] == field:
            for word in row["words"].split("|"):
                found.setdefault(plain_words(word), row["choice"])
    return found
