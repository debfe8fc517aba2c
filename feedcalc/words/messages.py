"""English messages that keep their template and its values, so that a catalogue can translate them later.

* A message is a whole sentence with named placeholders: ``said("Use by {day}.", day=when)``. It is never assembled
  from parts, because other languages order a sentence differently.
* `Said` is a ``str`` with the English text. A `Speak` function translates it where it is shown.
* Concatenation, f-strings and ``join`` return plain text that stays English. Use a placeholder instead.
* Text that a person typed is the value of a placeholder, never a message.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from types import MappingProxyType
from typing import Any

Speak = Callable[[str], str]
_NOTHING: Mapping[str, Any] = MappingProxyType({})


class Said(str):
    """English text with the message it was made from and the values of its placeholders.

    ``plural`` and ``number`` are set if the wording depends on a number (see `said_of`).
    """

    message: str
    plural: str
    number: int | None
    parts: Mapping[str, Any]

    __slots__ = ("message", "number", "parts", "plural")

    def __new__(cls, message: str, parts: Mapping[str, Any], plural: str = "", number: int | None = None) -> Said:
        """Return the text of a message; ``parts`` fill its placeholders, an empty mapping leaves braces alone."""
        chosen = message if number in (None, 1) else plural
        made = super().__new__(cls, cls.written(chosen.format_map(parts) if parts else chosen))
        made.message, made.plural, made.number, made.parts = message, plural, number, parts
        return made

    @staticmethod
    def written(filled: str) -> str:
        """Return the final text of a filled message, in English and in every other language."""
        return filled

    def __reduce__(self) -> tuple[Any, ...]:
        """Support copies and pickles."""
        return type(self), (self.message, dict(self.parts), self.plural, self.number)


def said(message: str, /, **parts: Any) -> Said:
    """Return a message with its placeholders filled; values may be `Said` themselves.

    >>> said("Use by {day}.", day=said("Monday"))
    'Use by Monday.'
    """
    return Said(message, parts or _NOTHING)


class Sentence(Said):
    """A `Said` that starts with a capital letter in every language, even if it starts with a placeholder."""

    __slots__ = ()

    @staticmethod
    def written(filled: str) -> str:
        """Return the sentence with a capital letter.

        >>> Sentence("{plant} bears lime well.", {"plant": said("leek")})
        'Leek bears lime well.'
        """
        return filled[:1].upper() + filled[1:]


def said_of(count: int, one: str, many: str, /, **parts: Any) -> Said:
    """Return the same as `said` in singular or plural; ``{count}`` is the number unless ``parts`` holds another.

    >>> said_of(1, "{count} can", "{count} cans"), said_of(3, "{count} can", "{count} cans")
    ('1 can', '3 cans')
    """
    return Said(one, {"count": count, **parts}, many, count)


def listed(parts: Iterable[str], between: str = "; ") -> Said:
    """Return texts joined by ``between`` (no words), each of them translated separately.

    >>> listed([said("a can"), said("a plant")], ", ")
    'a can, a plant'
    """
    named = {f"part_{place}": part for place, part in enumerate(parts)}
    return Said(between.join(f"{{{name}}}" for name in named), named)
