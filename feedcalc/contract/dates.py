"""Read a date as people write it in their country: 2026-03-01, 1.3.2026, 3/1/26, 1 March 2026, March 2026.

* Day and month stand as the locale writes them; where one of them can't be a month, the other is.
* A month or a year alone is its first or its last day, whichever the caller takes for the careful end.
"""

from __future__ import annotations

import calendar
import re
from collections.abc import Mapping
from datetime import date
from functools import cache

from feedcalc.contract.text import plain_words
from feedcalc.words.languages import LANGUAGES, MONTHS, language

_NUMBERS = re.compile(r"(\d{1,2})\s*[./-]\s*(\d{1,2})\s*[./-]\s*(\d{2}|\d{4})\.?")
_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ]\d{2}:\d{2}.*)?")
_MONTH_YEAR = re.compile(r"(\d{1,2})\s*[./-]\s*(\d{4})")
_DAY_MONTH_YEAR = re.compile(
    r"(?:(\d{1,2})(?:\s*(?:\.|st|nd|rd|th|er|º))?\s*(?:de\s+)?)?([^\d\s.,]+)\.?,?\s*(?:de\s+)?(\d{4})"
)
_MONTH_DAY_YEAR = re.compile(r"([^\d\s.,]+)\.?\s+(\d{1,2})(?:st|nd|rd|th)?,?\s+(\d{4})")


def read_date(text: str, locale: str = "en-GB", *, latest: bool = False) -> date | None:
    """Return the day that a text names, None where it names none; ``latest`` takes the last day of a month or year.

    >>> read_date("1.3.2025"), read_date("3/1/2025", "en-US"), read_date("März 2025", latest=True)
    (datetime.date(2025, 3, 1), datetime.date(2025, 3, 1), datetime.date(2025, 3, 31))
    """
    typed = text.strip()
    try:
        if found := _ISO.fullmatch(typed):
            return date(int(found[1]), int(found[2]), int(found[3]))
        if found := _NUMBERS.fullmatch(typed):
            day, month = int(found[1]), int(found[2])
            is_month_first = (locale == "en-US" and day <= 12 and "." not in typed) or month > 12
            return date(_year(found[3]), *((day, month) if is_month_first else (month, day)))
        if re.fullmatch(r"(?:19|20)\d\d", typed):
            return date(int(typed), 12, 31) if latest else date(int(typed), 1, 1)
        if found := _MONTH_YEAR.fullmatch(typed):
            return _of_month(int(found[2]), int(found[1]), latest)
        if (found := _DAY_MONTH_YEAR.fullmatch(typed)) and (number := _month(found[2])):
            year = int(found[3])
            return date(year, number, int(found[1])) if found[1] else _of_month(year, number, latest)
        if (found := _MONTH_DAY_YEAR.fullmatch(typed)) and (number := _month(found[1])):
            return date(int(found[3]), number, int(found[2]))
    except ValueError:
        pass
    return None


def _year(digits: str) -> int:
    return int(digits) if len(digits) == 4 else 2000 + int(digits)


def _of_month(year: int, month: int, latest: bool) -> date:
    return date(year, month, calendar.monthrange(year, month)[1] if latest else 1)


def _month(word: str) -> int:
    """Return the number of the month that a word begins with in any of the languages; 0 for another word."""
    plain = plain_words(word)
    return next((number for name, number in _months().items() if len(plain) >= 3 and plain.startswith(name)), 0)


@cache
def _months() -> Mapping[str, int]:
    """Return the months by the first letters of their names in the languages, the longest first."""
    found: dict[str, int] = {}
    for tag in LANGUAGES:
        for number, name in enumerate(MONTHS, start=1):
            found.setdefault(plain_words(language(tag).speak(name)), number)
    # Beside the short names of the catalogues: the beginnings of long names that these are no beginning of.
    found |= {"marz": 3, "maerz": 3, "mrz": 3, "fevr": 2, "aout": 8, "juil": 7, "juin": 6}
    return dict(sorted(found.items(), key=lambda row: -len(row[0])))
