"""Free text in a request: what was given, short enough to show, and text that must fit on one line."""

from __future__ import annotations

import json
import re
import unicodedata
from functools import lru_cache
from typing import Any

from feedcalc.words.errors import InputError
from feedcalc.words.messages import said

LONGEST_SNIPPET = 80
LONGEST_LINE = 200
LONGEST_PASSAGE = 1000


def snippet(value: Any) -> str:
    """Return a value as text of at most `LONGEST_SNIPPET` characters, everything but text as JSON.

    >>> snippet({"size": "9 L"}), len(snippet("x" * 100))
    ('{"size": "9 L"}', 80)
    """
    text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= LONGEST_SNIPPET else text[: LONGEST_SNIPPET - 1] + "…"


@lru_cache(maxsize=4096)
def plain_words(text: str) -> str:
    """Return the words of a text without capitals, accents and signs, to compare what people type.

    >>> plain_words("Chêne, sec"), plain_words("चौड़ी पत्ती") == plain_words("चौड़ी  पत्ती")
    ('chene sec', True)
    """
    letters = unicodedata.normalize("NFKD", text.casefold())
    # Accents, the vowel signs and the lengthening stroke of Arabic, and marks that isolate a value in its script.
    bare = re.sub("[\u0300-\u036f\u064b-\u065f\u0670\u0640\u2066-\u2069]", "", letters)
    # \w does not match the vowel signs of Devanagari.
    return " ".join(re.findall(r"(?:[^\W_]|[\u0900-\u0963])+", bare))


def one_line(path: str, given: Any) -> str:
    """Return text without outer spaces; raise `InputError` for anything but one line of at most `LONGEST_LINE`."""
    if not isinstance(given, str) or len(given) > LONGEST_LINE or any(ord(character) < 32 for character in given):
        raise InputError(
            path, snippet(given), said("This is not one line of text."), said("at most 200 characters on one line")
        )
    return given.strip()


def passage(path: str, given: Any) -> str:
    """Return text of several lines in one, each line a sentence; raise `InputError` for more than `LONGEST_PASSAGE`."""
    if not isinstance(given, str) or len(given) > LONGEST_PASSAGE:
        problem = said("This is not text of at most {amount} characters.", amount=LONGEST_PASSAGE)
        raise InputError(path, snippet(given), problem, said("a few sentences"))
    lines = (line.strip() for line in given.splitlines())
    return ". ".join("".join(mark for mark in line if mark.isprintable()) for line in lines if line)
