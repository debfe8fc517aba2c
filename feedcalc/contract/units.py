"""Units: kinds of quantity with their accepted spellings, and conversion.

* A spelling that is not listed here is refused. ``?cup`` stands for the cup of the country that the request names.
* ``units.txt`` defines every unit with its source. pint works out of it what a unit is in base units, exactly, when a
  unit is added: ``unit_scales.csv`` (see ``site/building/units.py``). Only that table is needed here.
"""

from __future__ import annotations

import csv
import math
import re
import unicodedata
from collections.abc import Mapping
from fractions import Fraction
from functools import cache, lru_cache
from operator import sub
from types import MappingProxyType

from feedcalc import published
from feedcalc.contract.numbers import MINUS
from feedcalc.frozen import frozen
from feedcalc.words.messages import Said, said, said_in, said_of
from feedcalc.words.package_files import package_file


@frozen
class Kind:
    """A kind of quantity: its base unit, the accepted units with their spellings, and its bounds.

    ``accepted`` is the example shown in refusals. ``units`` maps the name of each unit to its spellings. With ``over``,
    any unit of the first kind over any unit of the second is accepted as well. The bounds are inclusive and in the base
    unit.
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
        """Whether a number without a unit is complete."""
        return self.base_unit == "1"


@frozen
class Customs:
    """The units that a bare cup, spoon, pint or gallon means by local customs; None if the word is ambiguous there."""

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


# How a unit is written, if not by its name: as a sign, or in words that are translated.
WRITTEN_UNITS: Mapping[str, str] = {
    "1": "",
    "degC": "°C",
    "degF": "°F",
    "m^2": "m²",
    "cm^2": "cm²",
    "m^3": "m³",
    "uS/cm": "µS/cm",
    "g/L w/v": "g/L",
    "um": "µm",
    "mg/L of soil": "mg/L",
    "lb/acre of soil": "lb/acre",
    "kg/ha of soil": "kg/ha",
    "mg/100 g of soil": "mg/100 g",
    "mg K2O/100 g of soil": "mg K₂O/100 g",
    "us_cup": said_in("unit", "US cup"),
    "metric_cup": said_in("unit", "metric cup"),
    "uk_cup": said_in("unit", "UK cup"),
    "us_tbsp": said_in("unit", "US tbsp"),
    "metric_tbsp": said_in("unit", "metric tbsp"),
    "au_tbsp": said_in("unit", "AU tbsp"),
    "us_tsp": said_in("unit", "US tsp"),
    "metric_tsp": said_in("unit", "metric tsp"),
    "us_fl_oz": said("US fl oz"),
    "uk_fl_oz": said("UK fl oz"),
    "us_pint": said_in("unit", "US pint"),
    "uk_pint": said_in("unit", "UK pint"),
    "us_quart": said_in("unit", "US quart"),
    "uk_quart": said_in("unit", "UK quart"),
    "us_gal": said_in("unit", "US gal"),
    "uk_gal": said_in("unit", "UK gal"),
    "watering_can": said_in("unit", "watering can"),
    "ppm 500": "ppm 500",
    "ppm 700": "ppm 700",
}


def unit_name(measure: str, count: float) -> Said | None:
    """Return so many of a measure as a word, without the country whose measure it is; None for a unit with a sign.

    >>> unit_name("cup", 2.0), unit_name("kg", 2.0)
    ('cups', None)
    """
    names: Mapping[str, Said] = {
        "quart": said_of(count, "quart", "quarts"),
        "pint": said_of(count, "pint", "pints"),
        "cup": said_of(count, "cup", "cups"),
        "tbsp": said_of(count, "tablespoon", "tablespoons"),
        "tsp": said_of(count, "teaspoon", "teaspoons"),
        "gal": said_in("unit", "gal"),
        "fl_oz": said_in("unit", "fl oz"),
        "ft^2": said_in("unit", "sq ft"),
        "in": said_of(count, "inch", "inches"),
    }
    return names.get(measure)


# Measures that differ from hand to hand: `hand_measures.csv` has their ranges.
HAND_MEASURES = frozenset({"spoon", "glass", "mug", "jar", "handful", "shovel", "bucket", "watering_can", "barrel"})
CUSTOMARY_UNITS = frozenset(unit for unit in WRITTEN_UNITS if unit.startswith(("us_", "uk_", "au_", "metric_")))


def _customary(of: str, words: str, countries: str) -> dict[str, str]:
    """Return the spellings of a customary measure: bare as ``?name``, and with its country before or behind it."""
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


VOLUME_UNITS = _spelt(
    {
        "L": "l|litre|litres|liter|liters|ltr|ltrs|lt|dm3|dm³",
        "mL": "ml|millilitre|millilitres|milliliter|milliliters|mls|cc|cm3|cm³",
        "cL": "cl|centilitre|centilitres|centiliter|centiliters",
        "dL": "dl|decilitre|decilitres|deciliter|deciliters",
        "m^3": "m3|m³|cubic metre|cubic metres|cubic meter|cubic meters|cu m",
        "ft^3": "ft3|ft³|cubic foot|cubic feet|cu ft",
        "cord": "cord|cords|full cord|full cords",
        "face_cord": "face cord|face cords|rick|ricks",
        "solid_metre": "solid cubic metre|solid cubic meter",
        "stere": "stere|steres|stère|stères",
        **_customary("cup", "cup|cups", "us metric uk"),
        **_customary("tbsp", "tbsp|tbsps|tablespoon|tablespoons|tbs", "us metric au"),
        **_customary("tsp", "tsp|tsps|teaspoon|teaspoons", "us metric"),
        **_customary("fl_oz", "fl oz|floz|fluid ounce|fluid ounces", "us uk"),
        **_customary("pint", "pint|pints|pt|pts", "us uk"),
        **_customary("quart", "quart|quarts|qt|qts", "us uk"),
        **_customary("gal", "gal|gals|gallon|gallons", "us uk"),
        "spoon": "spoon|spoons|spoonful|spoonfuls",
        "mug": "mug|mugs|mugful|mugfuls",
        "jar": "jar|jars|jarful|jarfuls|jam jar|jam jars|mason jar|mason jars",
        "glass": "glass|glasses|glassful|glassfuls|tumbler|tumblers",
        "handful": "handful|handfuls|hand full|handfull|handfulls|fistful|fistfuls",
        "shovel": "shovel|shovels|shovelful|shovelfuls|shovel full|spade|spadeful|spadefuls",
        "bucket": "bucket|buckets|bucketful|bucketfuls|pail|pails|pailful|pailfuls",
        "watering_can": "watering can|watering cans",
        "barrel": "barrel|barrels|drum|drums|water butt|rain barrel",
    }
)


MASS_UNITS = _spelt(
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


QUANTITY_KINDS: Mapping[str, Kind] = _kinds(
    Kind("volume", "L", said("a volume such as 5 L, 750 ml, 1 1/2 cups or 2 gal (UK)"), VOLUME_UNITS),
    Kind("mass", "g", said("a weight such as 500 g, 1.5 kg or 2 lb"), MASS_UNITS),
    Kind(
        "mass_or_volume",
        "g",
        said("a weight or a volume such as 250 g, 1/2 cup or 2 L"),
        MappingProxyType({**MASS_UNITS, **VOLUME_UNITS}),
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
                "ppm 500": "ppm 500|ppm (500)|ppm at 500|ppm x 500|ppm nacl",
                "ppm 700": "ppm 700|ppm (700)|ppm at 700|ppm x 700|ppm 442",
            }
        ),
    ),
    Kind(
        "soil_content",
        "mg/kg",
        said("a content of the soil such as 150 mg/kg, 150 ppm, 200 mg/L, 300 lb/acre, 330 kg/ha or 25 mg K2O/100 g"),
        _spelt(
            {
                "mg/kg": "mg/kg|ppm|g/t|µg/g|ug/g",
                "mg/L of soil": "mg/l|g/m3|g/m³",
                "lb/acre of soil": "lb/acre|lbs/acre|lb/ac|lbs/ac|pounds/acre|lb/a|lbs/a",
                "kg/ha of soil": "kg/ha|kg/hectare",
                "mg/100 g of soil": "mg/100 g|mg/100g|mg k/100 g|mg k/100g",
                "mg K2O/100 g of soil": "mg k2o/100 g|mg k2o/100g|mg/100 g k2o|mg/100g k2o|mg k₂o/100 g|mg k₂o/100g",
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


# Spellings with more than one meaning in use: read as the kind suggests, and echoed.
AMBIGUOUS_SPELLINGS: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        "mass_or_volume": frozenset({"oz", "ounce", "ounces"}),
        "concentration": frozenset({"ppm"}),
        "mass_fraction": frozenset({"ppm"}),
        "soil_content": frozenset({"ppm"}),
        "hardness": frozenset({"ppm", "mg/l", "g/m3", "°f"}),
        "alkalinity": frozenset({"ppm", "mg/l", "g/m3", "°f", "°kh", "kh", "mmol/l"}),
        "conductivity": frozenset({"ms", "us"}),
        "strength": frozenset({"g/l", "%w/v", "%(w/v)", "%m/v", "g/100ml"}),
    }
)


# Hints for spellings that are refused.
REFUSED_SPELLINGS: Mapping[tuple[str, str], str] = MappingProxyType(
    {
        **{
            ("volume", word): said("An ounce is a weight; write fl oz for a fluid ounce.")
            for word in ("oz", "ounce", "ounces")
        },
        **{
            ("hardness", word): said(
                "Degrees of carbonate hardness (KH) do not say how hard water is. "
                "They say how much alkalinity is in it."
            )
            for word in ("dkh", "°dkh")
        },
        ("time", "m"): said("The letter m could be minutes or months."),
    }
)


def converted(value: float, unit: str, to_unit: str) -> float:
    """Return ``value`` converted from ``unit`` to ``to_unit``: names in the ``units`` of a `Kind`, or one over another.

    Raises `ValueError` for an unknown name or units of different dimensions.

    >>> converted(2.0, "us_cup", "mL")
    473.176473
    """
    if unit == to_unit:
        return float(value)
    factor, shift = _conversion(unit, to_unit)
    return value * factor + shift


@frozen
class Scale:
    """A unit in base units: its size, where its zero lies, and its dimension as an exponent of each base unit."""

    size: Fraction
    zero: Fraction
    dimension: tuple[int, ...]


@lru_cache(maxsize=512)
def _conversion(unit: str, to_unit: str) -> tuple[float, float]:
    """Return what a value is multiplied by, and what is added to it then; raises `ValueError` as `converted` does."""
    given, wanted = _scale(unit), _scale(to_unit)
    if given is None or wanted is None or given.dimension != wanted.dimension:
        raise ValueError(f"can't convert {unit!r} to {to_unit!r}")
    return float(given.size / wanted.size), float((given.zero - wanted.zero) / wanted.size)


def _scale(unit: str) -> Scale | None:
    """Return the scale of a unit, or of one over another; None if it is not known."""
    found, (above, _, below) = _scales(), unit.partition("/")
    if unit in found:
        return found[unit]
    if above not in found or below not in found:
        return None
    dimension = tuple(map(sub, found[above].dimension, found[below].dimension))
    return Scale(found[above].size / found[below].size, Fraction(0), dimension)


@cache
def _scales() -> Mapping[str, Scale]:
    """Return the scale of every unit by its name."""
    lines = package_file("feedcalc.contract", "unit_scales.csv").decode("utf-8").splitlines()
    return {
        unit: Scale(Fraction(size), Fraction(zero), tuple(map(int, exponents)))
        for unit, _, size, zero, *exponents in csv.reader(lines[1:])
    }


@cache
def spellings(kind: str) -> Mapping[str, str]:
    """Return the units of a kind by the `unit_key` of each accepted spelling."""
    found: dict[str, str] = {}
    for unit, typed_forms in QUANTITY_KINDS[kind].units.items():
        for spelling in (*typed_forms, WRITTEN_UNITS.get(unit, unit), unit):
            found.setdefault(unit_key(spelling), unit)
    for row in published.table("unit_words"):
        if row["unit"] in QUANTITY_KINDS[kind].units:
            for word in row["words"].split("|"):
                found.setdefault(unit_key(word), row["unit"])
    return MappingProxyType(found)


@cache
def words_beside_units(role: str) -> tuple[str, ...]:
    """Return the words of all languages that say how a measure is filled (``level``) or join two amounts (``and``)."""
    rows = (row for row in published.table("unit_words") if row["unit"] == role)
    return tuple(dict.fromkeys(word.casefold() for row in rows for word in row["words"].split("|")))


_SIGNS = str.maketrans("\u00ba\u02da\u2033\u2032\u201d\u201c\u2019", '°°"\'""\'')
_LETTERS = str.maketrans(f"\u03bc{MINUS}", "u-")
_INVERSE = re.compile(r"[\s\u00b7\u22c5]+(l|kg|m|cm|ml)\s*\^?\s*-\s*1\b")
_PER = re.compile(r"\s*\bper\b(?!\s*cent)\s*")
_BETWEEN = re.compile(r"[\s._^]+")


@lru_cache(maxsize=2048)
def unit_key(typed: str) -> str:
    """Return one form for all ways to type a unit: case, dots, spaces, superscripts and ``per`` do not matter."""
    text = unicodedata.normalize("NFKC", typed.translate(_SIGNS)).casefold().translate(_LETTERS)
    text = _PER.sub("/", _INVERSE.sub(r"/\1", text))
    text = _BETWEEN.sub("", text)
    whole, slash, part = text.partition("/")
    return whole + slash + {"litre": "l", "liter": "l", "litres": "l", "liters": "l", "kilogram": "kg"}.get(part, part)
