"""English words that remember how they were made, so that a catalogue can say the same in another language.

Rules of this room:

* A sentence is written whole, with named places for what varies: ``said("Use by {day}.", day=when)``. It is never
  glued together from halves, because other languages put things in another order.
* `Said` is text like any other: it prints, compares and goes into JSON as the English it holds. Whoever shows it
  (templates, labels, refusals) may hand it to a `Speak` function, which looks its message up and fills the places.
* Glueing (``+``, f-strings, ``join``) makes plain text of it, which stays English; use a place for it instead.
* Text a person typed goes into a place as it is. It is never a message.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from types import MappingProxyType
from typing import Any

Speak = Callable[[str], str]
_NOTHING: Mapping[str, Any] = MappingProxyType({})


class Said(str):
    """English text, the message it was made from and what filled the message's places.

    ``plural`` and ``number`` are set where the wording hangs on a number (see `said_of`).
    """

    message: str
    plural: str
    number: int | None
    parts: Mapping[str, Any]

    __slots__ = ("message", "number", "parts", "plural")

    def __new__(cls, message: str, parts: Mapping[str, Any], plural: str = "", number: int | None = None) -> Said:
        """Text from a message; ``parts`` fill its places, an empty mapping leaves braces alone."""
        chosen = message if number in (None, 1) else plural
        made = super().__new__(cls, cls.written(chosen.format_map(parts) if parts else chosen))
        made.message, made.plural, made.number, made.parts = message, plural, number, parts
        return made

    @staticmethod
    def written(filled: str) -> str:
        """The filled message as it is written, in English and in every other language."""
        return filled

    def __reduce__(self) -> tuple[Any, ...]:
        """How a copy or a pickle is made."""
        return type(self), (self.message, dict(self.parts), self.plural, self.number)


def said(message: str, /, **parts: Any) -> Said:
    """A message with its named places filled; parts may be `Said` themselves.

    >>> said("Use by {day}.", day=said("Monday"))
    'Use by Monday.'
    """
    return Said(message, parts or _NOTHING)


class Sentence(Said):
    """As `Said`, for a sentence that may open with one of its parts: it begins with a capital in every language."""

    __slots__ = ()

    @staticmethod
    def written(filled: str) -> str:
        """The sentence with a capital.

        >>> Sentence("{plant} bears lime well.", {"plant": said("leek")})
        'Leek bears lime well.'
        """
        return filled[:1].upper() + filled[1:]


def said_of(count: int, one: str, many: str, /, **parts: Any) -> Said:
    """As `said`, where the wording hangs on a whole number: ``{count}`` is it unless ``parts`` say otherwise.

    >>> said_of(1, "{count} can", "{count} cans"), said_of(3, "{count} can", "{count} cans")
    ('1 can', '3 cans')
    """
    return Said(one, {"count": count, **parts}, many, count)


def listed(parts: Iterable[str], between: str = "; ") -> Said:
    """Texts one after another, each still to be spoken on its own; ``between`` holds no words.

    >>> listed([said("a can"), said("a plant")], ", ")
    'a can, a plant'
    """
    named = {f"part_{place}": part for place, part in enumerate(parts)}
    return Said(between.join(f"{{{name}}}" for name in named), named)
