"""Read a choice in the words that a person has for it: ``Lehm`` or ``silty clay`` for a texture, ``lab`` for a test.

`choice_words.csv` lists the words in six languages. A word that is not listed is refused, with what is spelt like it.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from functools import cache

from feedcalc import published
from feedcalc.contract.text import plain_words

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
