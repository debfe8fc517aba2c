"""English messages that keep their template and its values, so that a catalogue can translate them later.

* A message is a whole sentence with named placeholders: ``said("Use by {day}.", day=when)``. It is never assembled
  from parts, because other languages order a sentence differently.
* `Said` is a ``str`` with the English text. A `Speak` function translates it where it is shown.
* Concatenation, f-strings and ``join`` return plain text that stays English. Use a placeholder instead.
* Text that a person typed is the value of a placeholder, never a message.
* One or two words are said with a context (`said_in`), because other languages have several words for them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from math import ceil
from types import MappingProxyType
from typing import Any

Speak = Callable[[str], str]
_NOTHING: Mapping[str, Any] = MappingProxyType({})
_PLACE = re.compile(r"\{\w*\}|%\(\w+\)s")
_MARK = re.compile(r"</?[a-zA-Z][^<>]*>|&\w+;")
_WORD = re.compile(r"[^\W\d_]+(?:['’-][^\W\d_]+)*")


def is_short(message: str) -> bool:
    """Return whether a message has one or two words, so that it needs a context; a placeholder is a word.

    >>> is_short("sludge"), is_short("from {day}"), is_short("Use by {day}.")
    (True, True, False)
    """
    return len(_WORD.findall(_MARK.sub(" ", _PLACE.sub(" place ", message)))) <= 2


class Said(str):
    """English text with the message it was made from and the values of its placeholders.

    ``plural`` and ``number`` are set if the wording depends on a number (see `said_of`), ``context`` if the words
    alone could be read in two ways (see `said_in`).
    """

    context: str
    message: str
    plural: str
    number: int | None
    parts: Mapping[str, Any]

    __slots__ = ("context", "message", "number", "parts", "plural")

    def __new__(
        cls, message: str, parts: Mapping[str, Any], plural: str = "", number: int | None = None, context: str = ""
    ) -> Said:
        """Return the text of a message; ``parts`` fill its placeholders, an empty mapping leaves braces alone."""
        chosen = message if number in (None, 1) else plural
        made = super().__new__(cls, cls.written(chosen.format_map(parts) if parts else chosen))
        made.message, made.plural, made.number, made.parts = message, plural, number, parts
        made.context = context
        return made

    @staticmethod
    def written(filled: str) -> str:
        """Return the final text of a filled message, in English and in every other language."""
        return filled

    def __reduce__(self) -> tuple[Any, ...]:
        """Support copies and pickles."""
        return type(self), (self.message, dict(self.parts), self.plural, self.number, self.context)


def said(message: str, /, **parts: Any) -> Said:
    """Return a message with its placeholders filled; values may be `Said` themselves.

    >>> said("Use by {day}.", day=said("Monday"))
    'Use by Monday.'
    """
    return Said(message, parts or _NOTHING)


def said_in(context: str, message: str, /, **parts: Any) -> Said:
    """Return the same as `said` for a short message; ``context`` tells translators what the words mean.

    >>> said_in("verdict", "go"), said_in("verdict", "go").context
    ('go', 'verdict')
    """
    return Said(message, parts or _NOTHING, context=context)


PAIR = said("{first} and {second}")  # how two texts are listed


def begun_with_capital(text: str) -> str:
    """Return a text with a capital letter at its beginning, unless it begins with a symbol such as pH or mL.

    >>> begun_with_capital("leek and pH"), begun_with_capital("pH 6 is acid.")
    ('Leek and pH', 'pH 6 is acid.')
    """
    first_word = text.split(maxsplit=1)[0] if text.strip() else ""
    is_symbol = first_word[1:] != first_word[1:].lower()
    return text if is_symbol else text[:1].upper() + text[1:]


class Sentence(Said):
    """A `Said` that starts with a capital letter in every language, even if it starts with a placeholder."""

    __slots__ = ()

    @staticmethod
    def written(filled: str) -> str:
        """Return the sentence with a capital letter.

        >>> Sentence("{plant} grows well with lime.", {"plant": said("leek")})
        'Leek grows well with lime.'
        """
        return begun_with_capital(filled)


def said_of(count: float, one: str, many: str, /, **parts: Any) -> Said:
    """Return the same as `said` in singular or plural; ``{count}`` is the number unless ``parts`` holds another.

    A fraction has the form of the next whole number.

    >>> said_of(1, "{count} can", "{count} cans"), said_of(1.5, "{amount} can", "{amount} cans", amount="1½")
    ('1 can', '1½ cans')
    """
    return Said(one, {"count": count, **parts}, many, ceil(count))


def all_of(parts: Iterable[str]) -> str:
    """Return texts as a list that ends with "and", by the pattern of each language; each is translated separately.

    >>> all_of(["ash", "water", "time"]), all_of(["ash"])
    ('ash, water and time', 'ash')
    """
    return _by_patterns(parts, pair=PAIR, middle=said_in("list", "{start}, {next}"), end=said("{start} and {last}"))


def any_of(parts: Iterable[str]) -> str:
    """Return texts as a list that ends with "or", by the pattern of each language; each is translated separately.

    >>> any_of(["sand", "loam", "clay"])
    'sand, loam or clay'
    """
    middle = said_in("list of alternatives", "{start}, {next}")
    return _by_patterns(parts, pair=said("{first} or {second}"), middle=middle, end=said("{start} or {last}"))


def _by_patterns(parts: Iterable[str], *, pair: Said, middle: Said, end: Said) -> str:
    """Return texts as a list; the patterns are messages with their placeholders unfilled."""
    *rest, last = [*parts] or [""]
    if len(rest) < 2:
        return _filled(pair, first=rest[0], second=last) if rest else last
    start = rest[0]
    for part in rest[1:]:
        start = _filled(middle, start=start, next=part)
    return _filled(end, start=start, last=last)


def _filled(pattern: Said, **parts: str) -> Said:
    return Said(pattern.message, parts, context=pattern.context)


def listed(parts: Iterable[str], between: str = "; ") -> Said:
    """Return texts joined by ``between`` (no words), each of them translated separately.

    >>> listed([said("a can"), said("a plant")], ", ")
    'a can, a plant'
    """
    named = {f"part_{place}": part for place, part in enumerate(parts)}
    return Said(between.join(f"{{{name}}}" for name in named), named)
