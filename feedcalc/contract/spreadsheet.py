"""Keep spreadsheets from taking a cell of a CSV file for a formula (CSV injection).

* A cell that a spreadsheet might calculate gets one apostrophe in front, which makes it text.
* What it starts with is looked at after leading spaces and invisible characters, and after NFKC normalisation, because
  spreadsheets accept full-width signs as well.
"""

from __future__ import annotations

import re
import unicodedata

_FORMULA_SIGNS = frozenset("=+-@")
_LEADING_BREAKS = frozenset("\t\r\n")
_PLAIN_NUMBER = re.compile(r" *[+-]?[.,]?[0-9][0-9.,]*(e[+-]?[0-9]+)? *", re.IGNORECASE)


def is_formula(text: str) -> bool:
    """Return whether a spreadsheet might calculate a cell with this text; a plain number is none.

    >>> [is_formula(text) for text in ("=1+1", "＝1+1", " @sum", "\\t=1", "-3.5", "oak")]
    [True, True, True, True, False, False]
    """
    return _looks_calculated(text) and not _PLAIN_NUMBER.fullmatch(text)


def guarded(text: str, *, reversible: bool = False) -> str:
    """Return the text of a cell that no spreadsheet calculates.

    With ``reversible`` signed numbers and texts that start with an apostrophe are guarded too, so that a spreadsheet
    changes no character and `unguarded` returns every text exactly.

    >>> guarded("=A1"), guarded("-3.5"), guarded("-3.5", reversible=True), guarded("'oak'", reversible=True)
    ("'=A1", '-3.5', "'-3.5", "''oak'")
    """
    return f"'{text}" if (_may_change(text) if reversible else is_formula(text)) else text


def unguarded(cell: str) -> str:
    """Return the text that ``guarded(text, reversible=True)`` made this cell of.

    >>> unguarded("'=A1"), unguarded("''oak'"), unguarded("'oak'")
    ('=A1', "'oak'", "'oak'")
    """
    return cell[1:] if cell.startswith("'") and _may_change(cell[1:]) else cell


def _may_change(text: str) -> bool:
    return _looks_calculated(text) or text.lstrip(" ").startswith("'")


def _looks_calculated(text: str) -> bool:
    if text[:1].isalnum() and text[0].isascii():
        return False  # a shortcut for most cells
    if text.lstrip(" ")[:1] in _LEADING_BREAKS:
        return True
    for character in text:
        if not _is_skipped(character):
            return unicodedata.normalize("NFKC", character)[:1] in _FORMULA_SIGNS
    return False


def _is_skipped(character: str) -> bool:
    """Whether a character is a space of any kind, a control character or an invisible one."""
    return character.isspace() or unicodedata.category(character) in ("Cc", "Cf")
