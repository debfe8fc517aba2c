"""Read a date as people write it in their country: 2026-03-01, 1.3.2026, 3/1/26, 1 March 2026, March 2026.

* Day and month stand as the locale writes them; where one of them can't be a month, the other is.
* A month or a year alone is its first or its last day, whichever the caller takes for the careful end.
* What sheets and labels print can be typed: names of days and months are those of the catalogues. A day without its
  year is the one nearest to a day that the caller knows.
"""

from __future__ import annotations

import calendar
import re
import unicodedata
from collections.abc import Mapping
from datetime import date, datetime
from functools import cache

from feedcalc.contract.text import plain_words
from feedcalc.words.languages import DAYS, LANGUAGES, MONTHS, language

_NUMBERS = re.compile(r"(\d{1,2})\s*[./-]\s*(\d{1,2})\s*[./-]\s*(\d{2}|\d{4})\.?")
_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ]\d{2}:\d{2}.*)?")
_MONTH_YEAR = re.compile(r"(\d{1,2})\s*[./-]\s*(\d{4})")
_DAY_MONTH_YEAR = re.compile(
    r"(?:(\d{1,2})(?:\s*(?:\.|st|nd|rd|th|er|º))?\s*(?:de\s+)?)?([^\d\s.,،]+)[.॰]?(?:,?\s*(?:de\s+)?(\d{4}))?"
)
_MONTH_DAY_YEAR = re.compile(r"([^\d\s.,]+)\.?\s+(\d{1,2})(?:st|nd|rd|th)?(?:,?\s+(\d{4}))?")
_WEEKDAY = re.compile(r"([^\d\s.,،]+)[.,،]*\s+(?=\d)")
_TIME = re.compile(r"(.*?)(?:\s*[T,،]\s*|\s+)(\d{1,2}):(\d{2})")


def read_moment(text: str, locale: str = "en-GB", near: date | None = None) -> datetime | None:
    """Return the day and time of day that a text names, midnight where it names no time; None where it names no day.

    >>> read_moment("Fr., 1. Mai 2026, 09:05"), read_moment("Fri 1 May, 09:05", near=date(2026, 4, 1))
    (datetime.datetime(2026, 5, 1, 9, 5), datetime.datetime(2026, 5, 1, 9, 5))
    """
    found = _TIME.fullmatch(_plain(text))
    hour, minute = (int(found[2]), int(found[3])) if found else (0, 0)
    day = read_date(found[1] if found else text, locale, near=near)
    return datetime(day.year, day.month, day.day, hour, minute) if day and hour < 24 and minute < 60 else None


def read_date(text: str, locale: str = "en-GB", *, latest: bool = False, near: date | None = None) -> date | None:
    """Return the day that a text names, None where it names none; ``latest`` takes the last day of a month or year.

    A day without its year is the one nearest to ``near``.

    >>> read_date("1.3.2025"), read_date("3/1/2025", "en-US"), read_date("März 2025", latest=True)
    (datetime.date(2025, 3, 1), datetime.date(2025, 3, 1), datetime.date(2025, 3, 31))
    """
    typed = _plain(text)
    if (named := _WEEKDAY.match(typed)) and plain_words(named[1]) in _days():
        typed = typed[named.end() :]
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
            if found[1]:
                return _day_of(number, int(found[1]), found[3], near)
            return _of_month(int(found[3]), number, latest) if found[3] else None
        if (found := _MONTH_DAY_YEAR.fullmatch(typed)) and (number := _month(found[1])):
            return _day_of(number, int(found[2]), found[3], near)
    except ValueError:
        pass
    return None


def _plain(text: str) -> str:
    """Return a text with digits of any script as 0 to 9, without the marks that isolate a value."""
    bare = (mark for mark in text.strip() if unicodedata.category(mark) != "Cf")
    return "".join(str(unicodedata.decimal(mark, mark)) for mark in bare)


def _day_of(month: int, day: int, year: str | None, near: date | None) -> date | None:
    if year:
        return date(int(year), month, day)
    if near is None:
        return None
    years = (each for each in range(near.year - 4, near.year + 5) if day <= calendar.monthrange(each, month)[1])
    return min((date(each, month, day) for each in years), key=lambda each: abs(each - near), default=None)


def _year(digits: str) -> int:
    return int(digits) if len(digits) == 4 else 2000 + int(digits)


def _of_month(year: int, month: int, latest: bool) -> date:
    return date(year, month, calendar.monthrange(year, month)[1] if latest else 1)


def _month(word: str) -> int:
    """Return the number of the month that a word begins with in any of the languages; 0 for another word."""
    plain = plain_words(word)
    begun = (number for name, number in _months().items() if len(plain) >= 3 and plain.startswith(name))
    return _months().get(plain) or next(begun, 0)


@cache
def _days() -> frozenset[str]:
    """Return the short names of the days of the week in the languages."""
    return frozenset(plain_words(language(tag).speak(name)) for tag in LANGUAGES for name in DAYS)


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
