"""What a person typed, read as a quantity; a quantity, written for a person.

Rules of this room:

* Our own reader takes the number, an allow-list takes the unit, and only then does pint convert between two
  names that this file chose. pint never sees typed text.
* A number that can be read in two ways is asked back, never guessed. Where the locale or the customs of the
  country settle it, the reading is told back in ``Quantity.echo``.
* Whatever is given, the only exception a reader raises is `InputError`.
* What `write_quantity` writes, `read_quantity` reads back as the same quantity.
* This is the only module that imports pint, and it does so when the first conversion needs it.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache, lru_cache
from importlib import resources
from types import MappingProxyType
from typing import Any

from feedcalc.words.errors import InputError
from feedcalc.words.messages import said

LONGEST_TEXT = 100
LARGEST_NUMBER = 1e15
LARGEST_EXPONENT = 30
NARROW_SPACE = "\u202f"  # groups digits; narrow and never broken over two lines
MINUS = "\u2212"


@dataclass(frozen=True, slots=True)
class Quantity:
    """One amount: ``value`` in ``unit``, the base unit of ``kind``; ``text`` as typed.

    ``echo`` says how the text was read where a second reading was possible, and is empty elsewhere.
    """

    value: float
    unit: str
    kind: str
    text: str
    echo: str


@dataclass(frozen=True, slots=True)
class Kind:
    """What can be measured: its base unit, the units accepted and how they are typed, and its bounds.

    ``accepted`` tells a person what can be typed, with examples. ``units`` maps the name of a unit to its
    spellings. ``over`` names two kinds where any unit of the first over any unit of the second is taken as
    well. ``lowest`` and ``highest`` are in the base unit, inclusive.
    """

    name: str
    base_unit: str
    accepted: str
    units: Mapping[str, tuple[str, ...]]
    over: tuple[str, str] | None = None
    lowest: float = 0.0
    highest: float = math.inf
    whole: bool = False

    @property
    def dimensionless(self) -> bool:
        """Whether a number without a unit is a full answer."""
        return self.base_unit == "1"


@dataclass(frozen=True, slots=True)
class Customs:
    """What a bare cup, pint or spoon means in a country; None where the word alone says too little there."""

    name: str
    cup: str
    tbsp: str
    tsp: str
    fl_oz: str | None
    pint: str | None
    quart: str | None
    gal: str | None


CUSTOMS: Mapping[str, Customs] = MappingProxyType(
    {
        "us": Customs("us", "us_cup", "us_tbsp", "us_tsp", "us_fl_oz", "us_pint", "us_quart", "us_gal"),
        "metric": Customs("metric", "metric_cup", "metric_tbsp", "metric_tsp", None, None, None, None),
        "uk": Customs("uk", "uk_cup", "metric_tbsp", "metric_tsp", "uk_fl_oz", "uk_pint", "uk_quart", "uk_gal"),
    }
)

# Written name of each unit that a person sees in another form than its own name.
_WRITTEN = {
    "1": "",
    "degC": "°C",
    "degF": "°F",
    "m^2": "m²",
    "cm^2": "cm²",
    "m^3": "m³",
    "uS/cm": "µS/cm",
    "g/L w/v": "g/L",
    "um": "µm",
    "us_cup": "US cup",
    "metric_cup": "metric cup",
    "uk_cup": "UK cup",
    "us_tbsp": "US tbsp",
    "metric_tbsp": "metric tbsp",
    "au_tbsp": "AU tbsp",
    "us_tsp": "US tsp",
    "metric_tsp": "metric tsp",
    "us_fl_oz": "US fl oz",
    "uk_fl_oz": "UK fl oz",
    "us_pint": "US pint",
    "uk_pint": "UK pint",
    "us_quart": "US quart",
    "uk_quart": "UK quart",
    "us_gal": "US gal",
    "uk_gal": "UK gal",
}

# The name pint knows a unit by, where it is not the name itself.
_IN_PINT = {
    "1": "whole",
    "%": "percent",
    "mg/L as CaCO3": "as_caco3",
    "mg/L as HCO3": "as_hco3",
    "mmol/L": "hardness_mmol",
    "meq/L": "charge_meq",
    "°dH": "german_degree",
    "°dKH": "german_degree",
    "°fH": "french_degree",
    "°e": "clark_degree",
    "gpg": "grain_per_us_gal",
    "in": "inch",
    "ft": "foot",
    "yd": "yard",
    "in^2": "inch**2",
    "ft^2": "foot**2",
    "yd^2": "yard**2",
    "ft^3": "foot**3",
    "% w/v": "percent_in_volume",
    "g/L w/v": "gram_in_litre",
}


def _customary(of: str, words: str, countries: str) -> dict[str, str]:
    """Spellings of one customary measure: bare under ``?name``, and with its country in front or behind."""
    country_words = {
        "us": "us usa u.s. american",
        "uk": "uk imp imperial british",
        "metric": "metric",
        "au": "au australian",
    }
    found = {f"?{of}": words}
    for country in countries.split():
        spellings = [
            spelling
            for word in words.split("|")
            for name in country_words[country].split()
            for spelling in (f"{name} {word}", f"{word} {name}", f"{word} ({name})")
        ]
        found[f"{country}_{of}"] = "|".join(spellings)
    return found


def _spelt(words: Mapping[str, str]) -> Mapping[str, tuple[str, ...]]:
    return MappingProxyType({unit: tuple(spellings.split("|")) for unit, spellings in words.items()})


_VOLUME = _spelt(
    {
        "L": "l|litre|litres|liter|liters|ltr|ltrs|lt|dm3|dm³",
        "mL": "ml|millilitre|millilitres|milliliter|milliliters|mls|cc|cm3|cm³",
        "cL": "cl|centilitre|centilitres|centiliter|centiliters",
        "dL": "dl|decilitre|decilitres|deciliter|deciliters",
        "m^3": "m3|m³|cubic metre|cubic metres|cubic meter|cubic meters|cu m",
        "ft^3": "ft3|ft³|cubic foot|cubic feet|cu ft",
        **_customary("cup", "cup|cups", "us metric uk"),
        **_customary("tbsp", "tbsp|tbsps|tablespoon|tablespoons|tbs", "us metric au"),
        **_customary("tsp", "tsp|tsps|teaspoon|teaspoons", "us metric"),
        **_customary("fl_oz", "fl oz|floz|fluid ounce|fluid ounces", "us uk"),
        **_customary("pint", "pint|pints|pt|pts", "us uk"),
        **_customary("quart", "quart|quarts|qt|qts", "us uk"),
        **_customary("gal", "gal|gals|gallon|gallons", "us uk"),
    }
)
_MASS = _spelt(
    {
        "g": "g|gram|grams|gramme|grammes|gr|gm|gms",
        "kg": "kg|kgs|kilo|kilos|kilogram|kilograms|kilogramme|kilogrammes",
        "mg": "mg|milligram|milligrams|milligramme|milligrammes",
        "ug": "ug|µg|mcg|microgram|micrograms",
        "tonne": "tonne|tonnes|metric ton|metric tons",
        "lb": "lb|lbs|pound|pounds",
        "oz": "oz|ounce|ounces",
    }
)
_LENGTH = _spelt(
    {
        "m": "m|metre|metres|meter|meters",
        "cm": "cm|cms|centimetre|centimetres|centimeter|centimeters",
        "mm": "mm|millimetre|millimetres|millimeter|millimeters",
        "um": "um|µm|micron|microns|micrometre|micrometres|micrometer|micrometers",
        "in": 'in|inch|inches|"',
        "ft": "ft|foot|feet|'",
        "yd": "yd|yds|yard|yards",
    }
)
_NOTHING = _spelt({"1": ""})
_SHARE = _spelt({"1": "", "%": "%|percent|per cent|pct"})
_DEGREES_OF_HARDNESS = {
    "°dH": "°dh|dh|°d|deg dh|german degrees|german degree",
    "°fH": "°fh|fh|°f|deg fh|french degrees|french degree",
    "°e": "°e|°eh|°clark|clark|deg clark|clark degrees|degrees clark|english degrees",
    "gpg": "gpg|grains/us gal|grain/us gal|grains/gal (us)|grains/us gallon|grains/gallon (us)",
}
_AS_CALCIUM_CARBONATE = (
    "mg/l as caco3|mg/l caco3|mg caco3/l|mg/l (caco3)|mg/l (as caco3)|mg/l|ppm|ppm caco3|ppm as caco3|g/m3"
)


def _kinds(*kinds: Kind) -> Mapping[str, Kind]:
    return MappingProxyType({kind.name: kind for kind in kinds})


KINDS: Mapping[str, Kind] = _kinds(
    Kind("volume", "L", said("a volume such as 5 L, 750 ml, 1 1/2 cups or 2 gal (UK)"), _VOLUME),
    Kind("mass", "g", said("a weight such as 500 g, 1.5 kg or 2 lb"), _MASS),
    Kind(
        "mass_or_volume",
        "g",
        said("a weight or a volume such as 250 g, 1/2 cup or 2 L"),
        MappingProxyType({**_MASS, **_VOLUME}),
    ),
    Kind("length", "m", said("a length such as 30 cm, 0.3 m or 12 in"), _LENGTH),
    Kind(
        "area",
        "m^2",
        said("an area such as 4 m^2, 40 sq ft or 0.1 ha"),
        _spelt(
            {
                "m^2": "m2|m²|sq m|sqm|square metre|square metres|square meter|square meters",
                "cm^2": "cm2|sq cm|square centimetre|square centimetres|square centimeter|square centimeters",
                "in^2": "in2|in²|sq in|square inch|square inches",
                "ft^2": "ft2|ft²|sq ft|sqft|square foot|square feet",
                "yd^2": "yd2|yd²|sq yd|square yard|square yards",
                "ha": "ha|hectare|hectares",
                "acre": "acre|acres|ac",
            }
        ),
    ),
    Kind(
        "time",
        "h",
        said("a time such as 24 h, 30 min or 2 days"),
        _spelt(
            {
                "h": "h|hr|hrs|hour|hours",
                "min": "min|mins|minute|minutes",
                "s": "s|sec|secs|second|seconds",
                "d": "d|day|days",
                "week": "week|weeks|wk|wks",
            }
        ),
    ),
    Kind(
        "temperature",
        "degC",
        said("a temperature such as 15 °C, 15 degC or 59 °F"),
        _spelt(
            {
                "degC": "°c|c|degc|deg c|degrees c|degree c|celsius|degrees celsius|deg celsius|centigrade",
                "degF": "°f|f|degf|deg f|degrees f|degree f|fahrenheit|degrees fahrenheit|deg fahrenheit",
                "K": "k|kelvin|kelvins",
            }
        ),
        lowest=-273.15,
    ),
    Kind(
        "concentration",
        "mg/L",
        said("a concentration such as 50 mg/L, 2 g/L or 50 ppm"),
        _spelt({"mg/L": "mg/l|ppm", "g/L": "g/l"}),
        over=("mass", "volume"),
    ),
    Kind(
        "mass_fraction",
        "g/kg",
        said("a share by weight such as 50 g/kg, 5 % or 1200 mg/kg"),
        _spelt(
            {
                "g/kg": "g/kg|mg/g",
                "mg/kg": "mg/kg|ppm",
                "%": "%|percent|per cent|pct|% w/w|wt%|wt %|g/100g|g/100 g|% by weight",
            }
        ),
        over=("mass", "mass"),
        highest=1000.0,
    ),
    Kind(
        "hardness",
        "mg/L as CaCO3",
        said("a hardness such as 200 mg/L, 2 mmol/L, 11 °dH, 20 °fH, 14 °e or 12 gpg"),
        _spelt(
            {
                "mg/L as CaCO3": _AS_CALCIUM_CARBONATE,
                "mmol/L": "mmol/l",
                "meq/L": "meq/l|mval/l",
                **_DEGREES_OF_HARDNESS,
                "°dH": _DEGREES_OF_HARDNESS["°dH"] + "|°dgh|dgh|°gh",
            }
        ),
    ),
    Kind(
        "alkalinity",
        "mg/L as CaCO3",
        said("an alkalinity such as 150 mg/L, 183 mg/L HCO3, 3 meq/L, 3 mmol/L or 8.4 °dKH"),
        _spelt(
            {
                "mg/L as CaCO3": _AS_CALCIUM_CARBONATE,
                "mg/L as HCO3": "mg/l hco3|mg/l as hco3|mg hco3/l|mg/l hco3-|ppm hco3|mg/l bicarbonate",
                "meq/L": "meq/l|mval/l|mmol/l|mmol/l hco3|mmol/l hco3-|mmol hco3/l|mmol/l bicarbonate",
                **_DEGREES_OF_HARDNESS,
                "°dKH": "°dkh|dkh|°kh|kh",
            }
        ),
    ),
    Kind(
        "conductivity",
        "mS/cm",
        said("a conductivity such as 4.2 mS/cm, 4.2 dS/m or 4200 µS/cm"),
        _spelt(
            {
                "mS/cm": "ms/cm|millisiemens/cm|ms",
                "dS/m": "ds/m",
                "uS/cm": "us/cm|µs/cm|microsiemens/cm|us|µs",
                "mS/m": "ms/m|millisiemens/m",
                "S/m": "s/m",
            }
        ),
    ),
    Kind("ph", "1", said("a pH from 0 to 14 such as 6.5"), _spelt({"1": "|ph"}), highest=14.0),
    Kind("fraction", "1", said("a share from 0 to 1 such as 0.25, or 25 %"), _SHARE, highest=1.0),
    Kind(
        "strength",
        "1",
        said("a strength such as 5 % or 50 g/L"),
        _spelt(
            {
                "1": "",
                "%": "%|percent|per cent|pct|% w/w|wt%|wt %|% by weight|g/100g|g/100 g|% acidity|% acid",
                "% w/v": "% w/v|% (w/v)|g/100ml|g/100 ml|% m/v",
                "g/L w/v": "g/l",
            }
        ),
        highest=1.0,
    ),
    Kind(
        "density",
        "g/mL",
        said("a density such as 0.45 g/mL, 450 g/L or 107 g/cup"),
        _spelt({"g/mL": "g/ml"}),
        over=("mass", "volume"),
    ),
    Kind("count", "1", said("a whole number such as 2"), _NOTHING, whole=True),
    Kind("ratio", "1", said("a number such as 3"), _NOTHING),
)

# Spellings that stand for more than one thing in use: taken as the kind suggests, and told back.
_TOLD_BACK: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        "mass_or_volume": frozenset({"oz", "ounce", "ounces"}),
        "concentration": frozenset({"ppm"}),
        "mass_fraction": frozenset({"ppm"}),
        "hardness": frozenset({"ppm", "mg/l", "g/m3", "°f"}),
        "alkalinity": frozenset({"ppm", "mg/l", "g/m3", "°f", "°kh", "kh", "mmol/l"}),
        "conductivity": frozenset({"ms", "us"}),
        "strength": frozenset({"g/l", "%w/v", "%(w/v)", "%m/v", "g/100ml"}),
    }
)

# What a spelling that is refused most likely meant.
_REFUSED: Mapping[tuple[str, str], str] = MappingProxyType(
    {
        **{
            ("volume", word): said("An ounce is a weight; write fl oz for a fluid ounce.")
            for word in ("oz", "ounce", "ounces")
        },
        ("conductivity", "ppm"): said("What a meter shows as ppm depends on its own factor."),
        ("hardness", "dkh"): said("Degrees of carbonate hardness are an alkalinity, not a hardness."),
        ("hardness", "°dkh"): said("Degrees of carbonate hardness are an alkalinity, not a hardness."),
        ("time", "m"): said("The letter m could be minutes or months."),
    }
)


def read_number(text: object, field: str, locale: str = "en-GB") -> float:
    """The number in ``text``, or in a JSON number, with nothing before or behind it.

    Decimal comma and point, grouping by spaces, apostrophes, commas or points, fractions (``1 1/2``, ``½``),
    exponents and the digits of any one script are read. Raises `InputError` for what is not one clear number.

    >>> read_number("1 1/2", "ash.amount")
    1.5
    >>> read_number("2,5", "ash.amount", "de-DE")
    2.5
    """
    if isinstance(text, int | float) and not isinstance(text, bool):
        return _checked_size(text, text, field, _A_NUMBER)
    cleaned = _cleaned(text, field, _A_NUMBER)
    number, rest = _leading_number(cleaned, text, field, locale, _A_NUMBER)
    if rest:
        raise _refusal(field, text, _what_follows(rest), _A_NUMBER)
    return number.value


def read_quantity(
    given: object,
    kind: str,
    field: str,
    locale: str = "en-GB",
    customs: str = "us",
    *,
    minimum: float | None = None,
    maximum: float | None = None,
) -> Quantity:
    """The quantity of ``kind`` (a name in `KINDS`) that ``given`` states, in the base unit of its kind.

    ``given`` is text such as ``1 1/2 cups``; a JSON number is taken only where the kind has no unit.
    ``minimum`` and ``maximum`` are in the base unit, inclusive; they can't be used with ``mass_or_volume``.
    ``customs`` (``us``, ``metric`` or ``uk``) says what a bare cup, pint, gallon or spoon means.
    Raises `InputError` for anything that is not one clear quantity within the bounds, and `ValueError` where
    the caller names a kind or customs that do not exist.

    >>> read_quantity("2 gal (UK)", "volume", "water.amount").value
    9.09218
    >>> read_quantity("1 cup", "mass_or_volume", "ash.amount", customs="metric").echo
    '250\\xa0mL (metric cup)'
    """
    if kind not in KINDS or customs not in CUSTOMS:
        raise ValueError(f"unknown kind or customs: {kind!r}, {customs!r}")
    if kind == "mass_or_volume" and (minimum is not None or maximum is not None):
        raise ValueError("bounds need one base unit; mass_or_volume has two")
    wanted = KINDS[kind]
    if isinstance(given, int | float) and not isinstance(given, bool):
        value = _checked_size(given, given, field, wanted.accepted)
        if not wanted.dimensionless:
            raise _refusal(field, given, said("The unit is missing."), wanted.accepted)
        quantity = Quantity(value, wanted.base_unit, kind, _shown(given), "")
    else:
        quantity = _read_text(given, wanted, field, locale, CUSTOMS[customs])
    _require_within(quantity, wanted, given, field, locale, minimum, maximum)
    return quantity


def read_dilution(given: object, field: str, locale: str = "en-GB") -> float:
    """Parts of water to one part of liquor, from ``1:3``, ``1 : 3``, ``1+3`` or ``1 to 3``: liquor first.

    What could be meant the other way round is asked back: ``10:1``, ``1/3``, ``1 in 4`` and a single number.
    Raises `InputError`.

    >>> read_dilution("1:3", "dilution")
    3.0
    """
    accepted = said("liquor to water, such as 1:3 for one part of liquor and three parts of water")
    if isinstance(given, int | float) and not isinstance(given, bool):
        raise _refusal(field, given, _ONE_SIDED, accepted)
    cleaned = _cleaned(given, field, accepted).replace("\u2236", ":").replace("\uff1a", ":")
    sides = re.split(r"\s*(?::|\+|\bto\b)\s*", cleaned, flags=re.IGNORECASE)
    if len(sides) == 1:
        raise _refusal(field, given, _ONE_SIDED, accepted)
    if len(sides) != 2 or not all(sides):
        raise _refusal(field, given, said("This is not two numbers."), accepted)
    parts = []
    for side in sides:
        number, rest = _leading_number(side, given, field, locale, accepted)
        if rest:
            raise _refusal(field, given, _what_follows(rest), accepted)
        parts.append(number.value)
    liquor, water = parts
    if liquor <= 0 or water < 0:
        raise _refusal(field, given, said("A dilution needs some liquor, and no part of it is below zero."), accepted)
    if liquor > 1 and liquor > water:
        raise _refusal(field, given, said("Liquor comes first, and this would be more liquor than water."), accepted)
    if water / liquor > 10_000:
        raise _refusal(field, given, said("This is more than 10000 parts of water."), accepted)
    return water / liquor


def write_number(value: float, figures: int = 2, locale: str = "en-GB", *, trim: bool = False) -> str:
    """``value`` to ``figures`` significant figures, with the decimal mark of the locale.

    From five digits on, those before the decimal mark are grouped by a narrow space. ``trim`` drops zeros
    behind the decimal mark, for values that are exact. What is smaller than 1e-30 is written as 0.
    Raises `ValueError` for a value that is not finite or for fewer than one figure.

    >>> write_number(2.0, 2), write_number(1234.5, 2), write_number(0.0123, 2, "de-DE")
    ('2.0', '1200', '0,012')
    """
    if figures < 1 or not math.isfinite(value):
        raise ValueError(f"can't write {value!r} to {figures} figures")
    rounded = Decimal(f"{value:.{figures - 1}e}")
    mark = _decimal_mark(locale)
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


def write_decimals(value: float, decimals: int, locale: str = "en-GB") -> str:
    """``value`` with so many digits behind the decimal mark of the locale, for numbers told beside one another.

    >>> write_decimals(8.25, 1, "de-DE"), write_decimals(8.0, 1)
    ('8,2', '8.0')
    """
    return f"{value:.{decimals}f}".replace(".", _decimal_mark(locale))


def write_quantity(value: float, unit: str, figures: int = 2, locale: str = "en-GB", *, trim: bool = False) -> str:
    """``value`` in ``unit`` as a person reads it, such that `read_quantity` reads the same quantity back.

    Number and unit are joined by a space that never breaks over two lines. A unit that can't be typed as an
    answer (``mol/kg``, ``g CaCO3``) is written as it is.

    >>> write_quantity(15.0, "degC", 2)
    '15\\xa0°C'
    """
    number = write_number(value, figures, locale, trim=trim)
    written = _WRITTEN[unit] if unit in _WRITTEN else "/".join(_WRITTEN.get(part, part) for part in unit.split("/"))
    return f"{number}\u00a0{written}" if written else number


def converted(value: float, unit: str, to_unit: str) -> float:
    """``value`` of ``unit`` in ``to_unit``: names in the ``units`` of some `Kind`, or one such over another.

    Raises `ValueError` where a name is unknown or the two measure different things.

    >>> converted(2.0, "us_cup", "mL")
    473.176473
    """
    if unit == to_unit:
        return float(value)
    try:
        if unit in _WITH_OFFSET or to_unit in _WITH_OFFSET:
            return float(_registry().Quantity(value, _pint_name(unit)).to(_pint_name(to_unit)).magnitude)
        return value * _factor(unit, to_unit)
    except Exception as error:  # pint has a tree of its own, and none of it is part of our interface
        raise ValueError(f"can't convert {unit!r} to {to_unit!r}") from error


_WITH_OFFSET = frozenset({"degC", "degF", "K"})
_ONE_SIDED = said("This does not say how much is liquor and how much is water.")
_A_NUMBER = said("one number such as 5, 2.5 or 1 1/2")


@lru_cache(maxsize=512)
def _factor(unit: str, to_unit: str) -> float:
    return float(_registry().Quantity(1.0, _pint_name(unit)).to(_pint_name(to_unit)).magnitude)


def _pint_name(unit: str) -> str:
    if unit in _IN_PINT:
        return _IN_PINT[unit]
    return " / ".join(_IN_PINT.get(part, part).replace("^", "**") for part in unit.split("/"))


@cache
def _registry() -> Any:
    """The trimmed registry, from the text of ``units.txt``: works from a zip and writes nothing."""
    import pint

    lines = (resources.files("feedcalc.contract") / "units.txt").read_text(encoding="utf-8").splitlines()
    return pint.UnitRegistry(lines, on_redefinition="raise", cache_folder=None)


@dataclass(frozen=True, slots=True)
class _Number:
    value: float
    told_back: bool


def _read_text(given: object, kind: Kind, field: str, locale: str, customs: Customs) -> Quantity:
    cleaned = _cleaned(given, field, kind.accepted)
    if kind.name == "ph":
        cleaned = re.sub(r"^ph\s*[=:]?\s*", "", cleaned, flags=re.IGNORECASE)
    number, rest = _leading_number(cleaned, given, field, locale, kind.accepted)
    if not rest and not kind.dimensionless:
        raise _refusal(field, given, said("The unit is missing."), kind.accepted)
    unit, told_back = _unit(rest, kind, given, field, locale, customs)
    if kind.name == "mass_or_volume":
        kind = KINDS["mass" if unit in _MASS else "volume"]
    value = converted(number.value, unit, kind.base_unit)
    echo = ""
    if unit in _CUSTOMARY and told_back:
        metric = ("L", value) if value >= 1 else ("mL", value * 1000)
        echo = f"{write_quantity(metric[1], metric[0], 6, locale, trim=True)} ({_WRITTEN[unit]})"
    elif told_back and kind.name == "strength":
        echo = said(
            "{amount} (taking 1 L to weigh 1 kg)", amount=write_quantity(value * 100, "%", 6, locale, trim=True)
        )
    elif unit == "oz" and told_back:
        echo = said("{amount} (ounce by weight)", amount=write_quantity(value, "g", 6, locale, trim=True))
    elif told_back or number.told_back:
        echo = write_quantity(number.value, unit, 12, locale, trim=True)
    return Quantity(value, kind.base_unit, kind.name, str(given).strip(), echo)


def _require_within(
    quantity: Quantity,
    kind: Kind,
    given: object,
    field: str,
    locale: str,
    minimum: float | None,
    maximum: float | None,
) -> None:
    lowest = kind.lowest if minimum is None else max(minimum, kind.lowest)
    highest = kind.highest if maximum is None else min(maximum, kind.highest)
    if kind.whole and not quantity.value.is_integer():
        raise _refusal(field, given, said("This is not a whole number."), kind.accepted)

    def bound(value: float) -> str:
        return write_quantity(value, kind.base_unit, 12, locale, trim=True)

    if quantity.value < 0 and lowest == 0:
        raise _refusal(field, given, said("This is below zero."), kind.accepted)
    if lowest <= quantity.value <= highest:
        return
    too_low = quantity.value < lowest
    problem = (
        said("This is less than {lowest}.", lowest=bound(lowest))
        if too_low
        else said("This is more than {highest}.", highest=bound(highest))
    )
    if (too_low and lowest == kind.lowest) or (not too_low and highest == kind.highest):
        accepted = kind.accepted
    elif maximum is None:
        accepted = said("at least {lowest}", lowest=bound(lowest))
    elif minimum is None and lowest < 0:
        accepted = said("at most {highest}", highest=bound(highest))
    else:
        accepted = said("{lowest} to {highest}", lowest=bound(lowest), highest=bound(highest))
    raise _refusal(field, given, problem, accepted)


# Reading units

_CUSTOMARY = frozenset(unit for unit in _WRITTEN if unit.startswith(("us_", "uk_", "au_", "metric_")))


def _unit(typed: str, kind: Kind, given: object, field: str, locale: str, customs: Customs) -> tuple[str, bool]:
    """The name of the unit typed, and whether its reading needs telling back."""
    key = _unit_key(typed)
    unit = _spellings(kind.name).get(key)
    if unit is None and kind.over and key.count("/") == 1:
        halves = [_spellings(part).get(word) for part, word in zip(kind.over, key.split("/"), strict=True)]
        if None not in halves:
            unit = "/".join(str(half) for half in halves)
    if unit is None:
        problem = _REFUSED.get((kind.name, key)) or _what_follows(typed)
        raise _refusal(field, given, problem, kind.accepted)
    told_back = key in _TOLD_BACK.get(kind.name, ()) or (typed[:1] == "M" and re.match("m[gLSm]", unit) is not None)
    bare = re.search(r"\?(\w+)", unit)
    if bare is None:
        return unit, told_back
    return unit.replace(bare.group(), _by_customs(bare.group(1), given, field, locale, customs)), True


def _by_customs(measure: str, given: object, field: str, locale: str, customs: Customs) -> str:
    if measure == "tbsp" and customs.name == "metric" and locale == "en-AU":
        return "au_tbsp"
    unit: str | None = getattr(customs, measure)
    if unit is None:
        word = {"fl_oz": "fluid ounce", "gal": "gallon"}.get(measure, measure)
        us, uk = _WRITTEN[f"us_{measure}"], _WRITTEN[f"uk_{measure}"]
        raise _refusal(
            field,
            given,
            said("A {word} differs by country.", word=word),
            said("litres or millilitres, {us} or {uk}", us=us, uk=uk),
        )
    return unit


@cache
def _spellings(kind: str) -> Mapping[str, str]:
    found: dict[str, str] = {}
    for unit, spellings in KINDS[kind].units.items():
        for spelling in (*spellings, _WRITTEN.get(unit, unit), unit):
            found.setdefault(_unit_key(spelling), unit)
    return MappingProxyType(found)


@lru_cache(maxsize=2048)
def _unit_key(typed: str) -> str:
    """One form for all ways to type a unit: case, dots, spaces, superscripts and ``per`` do not matter."""
    text = typed.replace("\u00ba", "°").replace("\u02da", "°").replace("\u2033", '"').replace("\u2032", "'")
    text = text.replace("\u201d", '"').replace("\u201c", '"').replace("\u2019", "'")
    text = unicodedata.normalize("NFKC", text).casefold().replace("\u03bc", "u").replace(MINUS, "-")
    text = re.sub(r"[\s\u00b7\u22c5]+(l|kg|m|cm|ml)\s*\^?\s*-\s*1\b", r"/\1", text)
    text = re.sub(r"\s*\bper\b(?!\s*cent)\s*", "/", text)
    text = re.sub(r"[\s._^]+", "", text)
    whole, slash, part = text.partition("/")
    return whole + slash + {"litre": "l", "liter": "l", "litres": "l", "liters": "l", "kilogram": "kg"}.get(part, part)


# Reading numbers

_SPACES = dict.fromkeys(
    map(ord, "\u00a0\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u202f\u205f\u3000\t"), " "
)
_MARKS = {
    ord(mark): plain
    for marks, plain in (("\u2019\u02bc\u2032", "'"), ("\u2044\u2215", "/"), ("\u2212\ufe63\uff0d", "-"))
    for mark in marks
}
_FRACTION = re.compile(r"([+-]?)(?:(\d+)([ -]))?(\d{1,3})/(\d{1,3})(?![\d.,/])")
_DECIMAL = re.compile(r"([+-]?)([.,]?\d(?:[ .,']?\d)*)(?:[eE]([+-]?\d+))?(?![\d])")


def _leading_number(cleaned: str, given: object, field: str, locale: str, accepted: str) -> tuple[_Number, str]:
    """The number that ``cleaned`` starts with, and the text behind it without its outer spaces."""
    text = _with_plain_digits(cleaned, given, field, accepted)
    fraction = _FRACTION.match(text)
    if fraction:
        sign, whole, join, above, below = fraction.groups()
        if int(below) == 0:
            raise _refusal(field, given, said("This divides by zero."), accepted)
        if whole and (int(above) >= int(below) or above[0] == "0"):
            raise _refusal(field, given, said("There is more than one number here."), accepted)
        value = int(whole or 0) + int(above) / int(below)
        rest = text[fraction.end() :]
        number = _Number(-value if sign == "-" else value, join == "-")
    else:
        found = _DECIMAL.match(text)
        if found is None:
            problem = (
                said("This does not start with a number.")
                if re.search(r"\d", text)
                else said("There is no number here.")
            )
            raise _refusal(field, given, problem, accepted)
        sign, digits, exponent = found.groups()
        plain, told_back = _without_grouping(digits, given, field, locale, accepted)
        if exponent and (len(exponent) > 4 or abs(int(exponent)) > LARGEST_EXPONENT):
            raise _refusal(field, given, said("The exponent is too large to be meant."), accepted)
        value = float(f"{sign}{plain}e{exponent or 0}")
        rest = text[found.end() :]
        number = _Number(value, told_back)
    _checked_size(number.value, given, field, accepted)
    if rest[:1] in (".", ","):
        raise _refusal(field, given, said("Digits are missing behind the decimal mark."), accepted)
    return number, rest.strip()


def _without_grouping(digits: str, given: object, field: str, locale: str, accepted: str) -> tuple[str, bool]:
    """``digits`` with a decimal point and no grouping, and whether that reading needs telling back."""
    points, commas = digits.count("."), digits.count(",")
    own_mark = _decimal_mark(locale)
    if points and commas:
        mark = max(".,", key=digits.rfind)
        if digits.count(mark) > 1:
            raise _refusal(field, given, said("This has more than one decimal mark."), accepted)
    elif points + commas > 1 or not points + commas:
        mark = ""
    else:
        mark = "." if points else ","
        if re.fullmatch(r"[1-9]\d{0,2}[.,]\d{3}", digits) and mark != own_mark:
            whole = digits.replace(mark, "")
            if mark == "," and locale in _COMMA_GROUPS:
                return whole, True
            decimal = digits.replace(mark, own_mark)
            problem = said("The mark in {digits} could group thousands or stand before decimals.", digits=digits)
            raise _refusal(
                field, given, problem, said("{whole} or {decimal}, whichever is meant", whole=whole, decimal=decimal)
            )
    whole, decimals = digits.rsplit(mark, 1) if mark else (digits, "")
    separators = set(re.findall(r"[^\d]", whole))
    if len(separators) > 1 or not re.fullmatch(r"\d*", decimals):
        raise _refusal(field, given, said("There is more than one number here."), accepted)
    if separators and not (
        re.fullmatch(r"[1-9]\d{0,2}([ .,']\d{3})+", whole) or re.fullmatch(r"[1-9]\d?(,\d\d)*,\d{3}", whole)
    ):
        problem = (
            said("There is more than one number here.")
            if " " in separators
            else said("The digits are grouped unevenly.")
        )
        raise _refusal(field, given, problem, accepted)
    plain = re.sub(r"[^\d]", "", whole) or "0"
    return f"{plain}.{decimals or 0}", bool(separators) or mark not in ("", own_mark)


def _with_plain_digits(text: str, given: object, field: str, accepted: str) -> str:
    """``text`` with digits of any script as 0 to 9 and vulgar fractions typed out, up to its first letter."""
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
        raise _refusal(field, given, said("This mixes the digits of two scripts."), accepted)
    return re.sub(r" +", " ", "".join(found)).strip()


def _checked_size(value: float, given: object, field: str, accepted: str) -> float:
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if math.isnan(number):
        raise _refusal(field, given, said("This is not a number."), accepted)
    if abs(number) > LARGEST_NUMBER:
        raise _refusal(field, given, said("This number is too large to be meant."), accepted)
    return number


def _decimal_mark(locale: object) -> str:
    return "," if str(locale)[:2] in ("de", "fr", "es", "pt") else "."


_COMMA_GROUPS = frozenset({"en-GB", "en-US", "en-AU", "en-IN", "hi-IN"})


# Refusing


def _cleaned(given: object, field: str, accepted: str) -> str:
    """``given`` as text without outer spaces, with one kind of space, minus, fraction bar and apostrophe."""
    if given is None:
        raise _refusal(field, "", said("Nothing was given."), accepted)
    if not isinstance(given, str):
        raise _refusal(field, given, said("This is not text."), accepted)
    if len(given) > LONGEST_TEXT:
        raise _refusal(field, given, said("This is longer than {amount} characters.", amount=LONGEST_TEXT), accepted)
    text = given.translate(_SPACES).translate(_MARKS).strip()
    if not text:
        raise _refusal(field, given, said("Nothing was given."), accepted)
    if any(unicodedata.category(character) in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp") for character in text):
        raise _refusal(field, given, said("There is a character here that can't be read."), accepted)
    return text


def _what_follows(rest: str) -> str:
    if re.search(r"(?:^|[\s,;:+/±~-])\d", rest):
        return said("There is more than one number here.")
    return said('The unit "{rest}" is not known here.', rest=_shown(rest, 20))


def _refusal(field: str, given: object, problem: str, accepted: str) -> InputError:
    return InputError(field, _shown(given), problem, accepted)


def _shown(given: object, longest: int = 60) -> str:
    """``given`` short enough and clean enough to be told back to anyone."""
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
