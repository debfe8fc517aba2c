"""Read and write numbers as people type them: decimal marks, grouping, fractions, digits of any script.

* A number that can be read in two ways is refused with both readings, unless the locale settles it; then the reading
  is echoed.
* Readers raise nothing but `InputError`, whatever they are given.
"""

from __future__ import annotations

import math
import re
import unicodedata
from decimal import Decimal
from functools import lru_cache

from feedcalc.frozen import frozen
from feedcalc.words.errors import InputError
from feedcalc.words.languages import DECIMAL_COMMA, LOCALES
from feedcalc.words.messages import said

LONGEST_TEXT = 100
LARGEST_NUMBER = 1e15
LARGEST_EXPONENT = 30
NARROW_SPACE = "\u202f"  # groups digits; narrow and never broken over two lines
MINUS = "\u2212"
_SPACES = dict.fromkeys(
    map(ord, "\u00a0\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u202f\u205f\u3000\t"), " "
)
_MARKS = {
    ord(mark): plain
    for marks, plain in (
        ("\u2019\u02bc\u2032\u066c", "'"),
        ("\u2044\u2215", "/"),
        ("\u2212\ufe63\uff0d", "-"),
        ("\u060c", ","),
        ("\u066b", "."),  # Arabic: decimal mark; above, the mark of thousands; below, per cent
        ("\u066a", "%"),
        ("\u200e\u200f\u061c\u2066\u2067\u2068\u2069", ""),  # what printed text from right to left has around a value
    )
    for mark in marks
}
_FRACTION = re.compile(r"([+-]?)(?:(\d+)([ -]))?(\d{1,3})/(\d{1,3})(?![\d.,/])")
_DECIMAL = re.compile(r"([+-]?)([.,]?\d(?:[ .,']?\d)*)(?:[eE]([+-]?\d+))?(?![\d])")
A_NUMBER = said("one number such as 5, 2.5 or 1 1/2")


def read_number(text: object, field: str, locale: str = "en-GB") -> float:
    """Return the number in a text with nothing before or behind it, or a JSON number.

    Decimal comma and point, grouping by spaces, apostrophes, commas or points, fractions (``1 1/2``, ``½``),
    exponents and the digits of any one script are read. Raises `InputError` for what is not one clear number.

    >>> read_number("1 1/2", "ash.amount")
    1.5
    >>> read_number("2,5", "ash.amount", "de-DE")
    2.5
    """
    if isinstance(text, int | float) and not isinstance(text, bool):
        return checked_size(text, text, field, A_NUMBER)
    cleaned = cleaned_text(text, field, A_NUMBER)
    number, rest = leading_number(cleaned, text, field, locale, A_NUMBER)
    if rest:
        raise refusal(field, text, unknown_rest(rest), A_NUMBER)
    return number.value


@lru_cache(maxsize=4096)
def write_number(value: float, figures: int = 2, locale: str = "en-GB", *, trim: bool = False) -> str:
    """Return ``value`` with ``figures`` significant figures and the decimal mark of the locale.

    Five or more digits before the decimal mark are grouped by a narrow space. ``trim`` drops zeros behind the decimal
    mark, for exact values. Values below 1e-30 are written as 0.
    Raises `ValueError` for a value that is not finite or for fewer than one figure.

    >>> write_number(2.0, 2), write_number(1234.5, 2), write_number(0.0123, 2, "de-DE")
    ('2.0', '1200', '0,012')
    """
    if figures < 1 or not math.isfinite(value):
        raise ValueError(f"can't write {value!r} to {figures} figures")
    rounded = Decimal(f"{value:.{figures - 1}e}")
    mark = decimal_mark(locale)
    exponent = rounded.adjusted()
    if rounded.is_zero() or exponent < -LARGEST_EXPONENT:
        return "0"
    if not -7 < exponent <= 15:
        digits, power = f"{rounded:e}".split("e")
        text = f"{_trimmed(digits) if trim else digits}e{int(power)}".replace(".", mark)
    else:
        plain = f"{rounded:f}"
        whole, _, decimals = (_trimmed(plain) if trim else plain).lstrip("-").partition(".")
        if len(whole) > 4:
            whole = f"{int(whole):,}".replace(",", NARROW_SPACE)
        text = ("-" if value < 0 else "") + (f"{whole}{mark}{decimals}" if decimals else whole)
    return text.replace("-", MINUS, 1) if text.startswith("-") else text


_QUARTERS = {0.0: "", 0.25: "¼", 0.5: "½", 0.75: "¾"}


def write_quarters(amount: float) -> str:
    """Return an amount of whole ones and quarters; empty if it is none.

    >>> write_quarters(1.5), write_quarters(0.25), write_quarters(3.0), write_quarters(0.3)
    ('1½', '¼', '3', '')
    """
    whole, rest = int(amount), round(amount - int(amount), 6)
    return (str(whole) if whole or not rest else "") + _QUARTERS[rest] if rest in _QUARTERS else ""


def write_decimals(value: float, decimals: int, locale: str = "en-GB") -> str:
    """Return ``value`` with a fixed number of decimals, for numbers that stand side by side.

    >>> write_decimals(8.25, 1, "de-DE"), write_decimals(8.0, 1)
    ('8,2', '8.0')
    """
    return f"{value:.{decimals}f}".replace(".", decimal_mark(locale))


@frozen
class NumberRead:
    """A number read from text; ``ambiguous`` if another reading was possible, so that this one should be echoed."""

    value: float
    ambiguous: bool


def leading_number(cleaned: str, given: object, field: str, locale: str, accepted: str) -> tuple[NumberRead, str]:
    """Return the number at the start of ``cleaned`` and the text behind it without outer spaces."""
    text = _with_plain_digits(cleaned, given, field, accepted)
    fraction = _FRACTION.match(text)
    if fraction:
        sign, whole, join, above, below = fraction.groups()
        if int(below) == 0:
            raise refusal(field, given, said("This divides by zero."), accepted)
        if whole and (int(above) >= int(below) or above[0] == "0"):
            raise refusal(field, given, said("There is more than one number here."), accepted)
        value = int(whole or 0) + int(above) / int(below)
        rest = text[fraction.end() :]
        number = NumberRead(-value if sign == "-" else value, join == "-")
    else:
        found = _DECIMAL.match(text)
        if found is None:
            problem = (
                said("This does not start with a number.")
                if re.search(r"\d", text)
                else said("There is no number here.")
            )
            raise refusal(field, given, problem, accepted)
        sign, digits, exponent = found.groups()
        plain, ambiguous = _without_grouping(digits, given, field, locale, accepted)
        if exponent and (len(exponent) > 4 or abs(int(exponent)) > LARGEST_EXPONENT):
            raise refusal(field, given, said("The exponent is far too large."), accepted)
        value = float(f"{sign}{plain}e{exponent or 0}")
        rest = text[found.end() :]
        number = NumberRead(value, ambiguous)
    checked_size(number.value, given, field, accepted)
    if rest[:1] in (".", ","):
        raise refusal(field, given, said("There are no digits after the decimal mark."), accepted)
    return number, rest.strip()


def _without_grouping(digits: str, given: object, field: str, locale: str, accepted: str) -> tuple[str, bool]:
    """Return ``digits`` with a decimal point and no grouping, and whether the reading is ambiguous."""
    points, commas = digits.count("."), digits.count(",")
    own_mark = decimal_mark(locale)
    if points and commas:
        mark = max(".,", key=digits.rfind)
        if digits.count(mark) > 1:
            raise refusal(field, given, said("This has more than one decimal mark."), accepted)
    elif points + commas > 1 or not points + commas:
        mark = ""
    else:
        mark = "." if points else ","
        if re.fullmatch(r"[1-9]\d{0,2}[.,]\d{3}", digits) and mark != own_mark:
            whole = digits.replace(mark, "")
            if mark == "," and _groups_by_comma(locale):
                return whole, True
            decimal = digits.replace(mark, own_mark)
            problem = said("The mark in {digits} could separate thousands or decimals.", digits=digits)
            raise refusal(
                field, given, problem, said("{whole} or {decimal}, whichever you mean", whole=whole, decimal=decimal)
            )
    whole, decimals = digits.rsplit(mark, 1) if mark else (digits, "")
    separators = set(re.findall(r"[^\d]", whole))
    if len(separators) > 1 or not re.fullmatch(r"\d*", decimals):
        raise refusal(field, given, said("There is more than one number here."), accepted)
    if separators and not (
        re.fullmatch(r"[1-9]\d{0,2}([ .,']\d{3})+", whole) or re.fullmatch(r"[1-9]\d?(,\d\d)*,\d{3}", whole)
    ):
        problem = (
            said("There is more than one number here.")
            if " " in separators
            else said("The digits are not grouped evenly.")
        )
        raise refusal(field, given, problem, accepted)
    plain = re.sub(r"[^\d]", "", whole) or "0"
    return f"{plain}.{decimals or 0}", bool(separators) or mark not in ("", own_mark)


def _with_plain_digits(text: str, given: object, field: str, accepted: str) -> str:
    """Return ``text`` with digits of any script as 0 to 9 and fractions spelt out, up to its first letter."""
    found: list[str] = []
    scripts: set[int] = set()
    for position, character in enumerate(text):
        category = unicodedata.category(character)
        if category.startswith("L") and character not in "eE":
            found.append(text[position:])
            break
        if category == "Nd":
            digit = unicodedata.decimal(character)
            scripts.add(ord(character) - digit)
            found.append(str(digit))
        elif category == "No" and "\u2044" in unicodedata.normalize("NFKC", character):
            spelt_out = unicodedata.normalize("NFKC", character).replace("\u2044", "/")
            found.append(f" {spelt_out} " if spelt_out[-1].isdigit() else character)
        else:
            found.append(character)
    if len(scripts) > 1:
        raise refusal(field, given, said("This mixes the digits of two scripts."), accepted)
    return re.sub(r" +", " ", "".join(found)).strip()


def checked_size(value: float, given: object, field: str, accepted: str) -> float:
    """Return ``value`` as a float; raise `InputError` where it is not a number or too large to be meant."""
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if math.isnan(number):
        raise refusal(field, given, said("This is not a number."), accepted)
    if abs(number) > LARGEST_NUMBER:
        raise refusal(field, given, said("This number is far too large."), accepted)
    return number


def _groups_by_comma(locale: str) -> bool:
    return locale in LOCALES and decimal_mark(locale) == "."


def decimal_mark(locale: object) -> str:
    """Return the decimal mark of a locale: a comma or a point."""
    return "," if str(locale).split("-")[0] in DECIMAL_COMMA else "."


def cleaned_text(given: object, field: str, accepted: str) -> str:
    """Return ``given`` without outer spaces, with one kind of space, minus, fraction bar and apostrophe."""
    if given is None:
        raise refusal(field, "", said("There is nothing here."), accepted)
    if not isinstance(given, str):
        raise refusal(field, given, said("This is not text."), accepted)
    if len(given) > LONGEST_TEXT:
        raise refusal(field, given, said("This is longer than {amount} characters.", amount=LONGEST_TEXT), accepted)
    text = given.translate(_SPACES).translate(_MARKS).strip()
    if not text:
        raise refusal(field, given, said("There is nothing here."), accepted)
    if any(unicodedata.category(character) in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp") for character in text):
        raise refusal(field, given, said("There is a character here that can't be read."), accepted)
    return text


def unknown_rest(rest: str) -> str:
    """Return what is wrong with the text that follows a number: a second number, or an unknown unit."""
    if re.search(r"(?:^|[\s,;:+/±~-])\d", rest):
        return said("There is more than one number here.")
    return said('The unit "{rest}" is not known here.', rest=shortened(rest, 20))


def refusal(field: str, given: object, problem: str, accepted: str) -> InputError:
    """Return the `InputError` of a field, with ``given`` shortened and cleaned so that it can be shown."""
    return InputError(field, shortened(given), problem, accepted)


def shortened(given: object, longest: int = 60) -> str:
    """Return ``given`` short and clean enough to be shown to anyone."""
    if isinstance(given, bool) or given is None:
        text = str(given).lower()
    elif isinstance(given, int) and given.bit_length() > 200:
        text = "a number of very many digits"
    elif isinstance(given, str | int | float):
        text = str(given[: longest + 1] if isinstance(given, str) else given)
    else:
        text = {"list": "a list", "dict": "an object"}.get(type(given).__name__, "something that is not text")
    text = "".join(
        character if character.isprintable() or character in "\u00a0\u202f\u2009" else "\ufffd" for character in text
    )
    return text if len(text) <= longest else text[: longest - 1] + "…"


def _trimmed(number: str) -> str:
    return number.rstrip("0").rstrip(".") if "." in number else number
