"""Read quantities that a person typed, and write quantities for a person.

* `numbers` reads the number and an allow-list reads the unit; pint only converts between two of our own unit names.
  It never sees typed text, because it reads ``2,5 g/L`` as 25 g/L.
* A quantity that can be read in two ways is refused. If the locale or the customs of the country settle it, the
  reading is echoed in ``Quantity.echo``.
* Whatever is given, a reader raises nothing but `InputError`.
* `read_quantity` reads what `write_quantity` writes as the same quantity.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from functools import cache

from feedcalc import published
from feedcalc.contract.measures import level_measure
from feedcalc.contract.numbers import (
    NumberRead,
    checked_size,
    cleaned_text,
    leading_number,
    refusal,
    shortened,
    unknown_rest,
    write_number,
)
from feedcalc.contract.own_measures import by_customs, own_units, roughly
from feedcalc.contract.text import plain_words
from feedcalc.contract.units import (
    AMBIGUOUS_SPELLINGS,
    CUSTOMARY_UNITS,
    CUSTOMS,
    HAND_MEASURES,
    MASS_UNITS,
    QUANTITY_KINDS,
    REFUSED_SPELLINGS,
    WRITTEN_UNITS,
    Customs,
    Kind,
    converted,
    spellings,
    unit_key,
    unit_name,
    words_beside_units,
)
from feedcalc.frozen import frozen
from feedcalc.words.errors import InputError
from feedcalc.words.languages import LANGUAGES, language
from feedcalc.words.messages import PAIR, Said, said, said_in

_ONE_SIDED = said("Say how much is liquor and how much is water.")
# The unit that a number alone takes, by kind: usually, and by US customs.
_LIKELY_UNITS = {
    "volume": ("L", "gal"),
    "temperature": ("°C", "°F"),
    "length": ("cm", "in"),
    "area": ("m²", "sq ft"),
    "time": ("h", "h"),
    "conductivity": ("mS/cm", "mS/cm"),
}
MOST_MILLISIEMENS = 50  # a larger conductivity without a unit is in µS/cm, as a pen shows it


@frozen
class Quantity:
    """A quantity: ``value`` in ``unit``, the base unit of ``kind``; ``text`` as typed.

    ``echo`` says how the text was read if another reading was possible; otherwise it is empty. ``typed_unit`` is the
    name of the unit that was typed. ``span`` holds the factors by which a measure by hand may hold less or more.
    """

    value: float
    unit: str
    kind: str
    text: str
    echo: str
    typed_unit: str = ""
    span: tuple[float, float] = (1.0, 1.0)


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
    """Return the quantity that ``given`` states, in the base unit of its ``kind`` (a name in `QUANTITY_KINDS`).

    ``given`` is text such as ``1 1/2 cups``; a JSON number is accepted only if the kind has no unit.
    ``minimum`` and ``maximum`` are in the base unit, inclusive; they can't be used with ``mass_or_volume``.
    ``customs`` (``us``, ``metric`` or ``uk``) says what a bare cup, pint, gallon or spoon means.
    Raises `InputError` for anything that is not one clear quantity within the bounds, and `ValueError` if the caller
    names an unknown kind or customs.

    >>> read_quantity("2 gal (UK)", "volume", "water.amount").value
    9.09218
    >>> read_quantity("1 cup", "mass_or_volume", "ash.amount", customs="metric").echo
    '250\\xa0mL (metric cup)'
    """
    if kind not in QUANTITY_KINDS or customs not in CUSTOMS:
        raise ValueError(f"unknown kind or customs: {kind!r}, {customs!r}")
    if kind == "mass_or_volume" and (minimum is not None or maximum is not None):
        raise ValueError("bounds need one base unit; mass_or_volume has two")
    wanted = QUANTITY_KINDS[kind]
    if isinstance(given, int | float) and not isinstance(given, bool):
        value = checked_size(given, given, field, wanted.accepted)
        if not wanted.dimensionless:
            raise refusal(field, given, said("The unit is missing."), wanted.accepted)
        quantity = Quantity(value, wanted.base_unit, kind, shortened(given), "")
    else:
        quantity = _read_text(given, wanted, field, locale, CUSTOMS[customs])
    _require_within(quantity, wanted, given, field, locale, minimum, maximum)
    return quantity


def read_with_likely_unit(
    given: object,
    kind: str,
    field: str,
    locale: str = "en-GB",
    customs: str = "us",
    *,
    minimum: float | None = None,
    maximum: float | None = None,
) -> Quantity:
    """Return what `read_quantity` does; a number typed alone takes the usual unit of its kind, and that is echoed.

    >>> read_with_likely_unit("9", "volume", "cans.0.size", customs="metric").echo
    '9\\xa0L'
    """
    text, echo = given, ""
    if isinstance(given, str) and kind in _LIKELY_UNITS:
        accepted = QUANTITY_KINDS[kind].accepted
        cleaned = cleaned_text(given, field, accepted)
        number, rest = leading_number(cleaned, given, field, locale, accepted)
        if not rest:
            unit = _LIKELY_UNITS[kind][customs == "us"]
            if kind == "conductivity" and number.value > MOST_MILLISIEMENS:
                unit = "µS/cm"
            text, echo = f"{cleaned} {unit}", f"{write_number(number.value, 12, locale, trim=True)}\u00a0{unit}"
    quantity = read_quantity(text, kind, field, locale, customs, minimum=minimum, maximum=maximum)
    return replace(quantity, text=str(given).strip(), echo=echo) if echo else quantity


def read_dilution(given: object, field: str, locale: str = "en-GB") -> float:
    """Return the parts of water to one part of liquor in ``1:3``, ``1 : 3``, ``1+3`` or ``1 to 3``: liquor first.

    ``undiluted`` and ``quarter strength`` are read too. Text that could mean the opposite is refused: ``10:1``,
    ``1/3``, ``1 in 4`` and a single number.
    Raises `InputError`.

    >>> read_dilution("1:3", "dilution")
    3.0
    """
    accepted = said("liquor to water, such as 1:3 for one part of liquor and three parts of water")
    if isinstance(given, int | float) and not isinstance(given, bool):
        raise refusal(field, given, _ONE_SIDED, accepted)
    cleaned = cleaned_text(given, field, accepted).replace("\u2236", ":").replace("\uff1a", ":")
    if (parts_water := dilution_words().get(plain_words(cleaned))) is not None:
        return parts_water
    sides = re.split(r"\s*(?::|\+|\bto\b)\s*", cleaned, flags=re.IGNORECASE)
    if len(sides) == 1:
        raise refusal(field, given, _ONE_SIDED, accepted)
    if len(sides) != 2 or not all(sides):
        raise refusal(field, given, said("This is not two numbers."), accepted)
    parts = []
    for side in sides:
        number, rest = leading_number(side, given, field, locale, accepted)
        if rest:
            raise refusal(field, given, unknown_rest(rest), accepted)
        parts.append(number.value)
    liquor, water = parts
    if liquor <= 0 or water < 0:
        raise refusal(field, given, said("A dilution needs some liquor, and no part can be below zero."), accepted)
    if liquor > 1 and liquor > water:
        raise refusal(field, given, said("Liquor comes first, and this would be more liquor than water."), accepted)
    if water / liquor > 10_000:
        raise refusal(field, given, said("This is more than 10000 parts of water."), accepted)
    return water / liquor


def read_rate(
    given: object, field: str, locale: str = "en-GB", customs: str = "us", kind: str = "mass_or_volume"
) -> tuple[Quantity, float] | None:
    """Return the amount (of a ``kind``) and the square metres of a rate; None for a text that names no ground.

    ``20 lb per 1000 sq ft``, ``1 cup to the sq yd`` and ``98 g/m2`` are rates. Raises `InputError`.

    >>> amount, area = read_rate("20 lb per 1000 sq ft", "amount")
    >>> round(amount.value / area, 1), read_rate("20 lb", "amount") is None
    (97.6, True)
    """
    parts = _per().split(cleaned_text(given, field, ""), maxsplit=1)
    if len(parts) < 2 or not all(parts):
        return None
    amount = read_quantity(parts[0], kind, field, locale, customs)
    ground = parts[1] if re.match(r"[\d½¼¾⅓⅔.,]", parts[1]) else f"1 {parts[1]}"
    return amount, read_quantity(ground, "area", field, locale, customs, minimum=0.0001).value


@cache
def _per() -> re.Pattern[str]:
    words = sorted(words_beside_units("per"), key=len, reverse=True)
    joined = "|".join(rf"(?<!\w){re.escape(word)}(?!\w)" for word in words)
    return re.compile(rf"\s*(?:(?<!\d)/|{joined})\s*", re.IGNORECASE)


@cache
def dilution_words() -> Mapping[str, float]:
    """Return the parts of water that words such as ``quarter strength`` mean, in all languages and in plain form."""
    rows = published.table("dilution_words")
    return {plain_words(word): float(row["parts_water"]) for row in rows for word in row["words"].split("|")}


def write_quantity(value: float, unit: str, figures: int = 2, locale: str = "en-GB", *, trim: bool = False) -> str:
    """Return ``value`` in ``unit`` as text that `read_quantity` reads as the same quantity.

    Number and unit are joined by a space that does not break. A unit that no field accepts (``mol/kg``, ``g CaCO3``) is
    written as it is.

    >>> write_quantity(15.0, "degC", 2)
    '15\\xa0°C'
    """
    number = write_number(value, figures, locale, trim=trim)
    written = (
        WRITTEN_UNITS[unit]
        if unit in WRITTEN_UNITS
        else "/".join(WRITTEN_UNITS.get(part, part) for part in unit.split("/"))
    )
    return said("{number}\u00a0{unit}", number=number, unit=written) if written else number


def _read_text(given: object, kind: Kind, field: str, locale: str, customs: Customs) -> Quantity:
    """Return the quantity in a text; what is not read is tried again with each catalogue's words for units."""
    cleaned = cleaned_text(given, field, kind.accepted)
    try:
        return _read_cleaned(cleaned, given, kind, field, locale, customs)
    except InputError as refused:
        # Other catalogues take long to load; of Latin letters, unit_words.csv has the words of all languages.
        is_latin = all(letter.isascii() for letter in cleaned if letter.isalpha())
        for tag in sorted(LANGUAGES, key=lambda tag: not str(locale).startswith(tag))[: 1 if is_latin else None]:
            spelt = _with_english_units(cleaned, tag)
            if spelt != cleaned:
                try:
                    return _read_cleaned(spelt, given, kind, field, locale, customs)
                except InputError:
                    continue
        raise refused


def _with_english_units(text: str, tag: str) -> str:
    """Return a text with the names of units that the catalogue of a language has, as English spells them."""
    names, pattern = _units_named(tag)
    return pattern.sub(lambda found: f" {names[plain_words(found[0])]} ", text) if pattern else text


@cache
def _units_named(tag: str) -> tuple[Mapping[str, str], re.Pattern[str] | None]:
    """Return the English spelling of each name of a unit in a catalogue, and a pattern that finds the names.

    A plural form that leaves its number out, as Arabic does for one and two, stands for number and unit.
    """
    tongue, found = language(tag), {}
    if tag == "en":
        return {}, None
    for measure, spelt in {"cup": "cup", "tablespoon": "tbsp", "teaspoon": "tsp"}.items():
        for form, number in zip(tongue.forms(level_measure(measure, 1, "")), ("1", "2"), strict=False):
            found[form] = spelt if "{amount}" in form else f"{number} {spelt}"
        found |= dict.fromkeys(tongue.forms(level_measure(measure, 2, ""))[2:], spelt)
    for unit, name in (
        (unit, unit_name(unit.lstrip("?"), 1)) for kind in QUANTITY_KINDS.values() for unit in kind.units
    ):
        if name:
            found |= dict.fromkeys(tongue.forms(name), unit.lstrip("?").replace("_", " "))
    for written in WRITTEN_UNITS.values():
        if isinstance(written, Said):
            found[tongue.speak(written)] = str(written)
    between = re.sub(r"\{\w*\}", "", tongue.forms(PAIR)[0])
    if between == between.rstrip():  # Arabic has it before the word itself
        found |= {between.strip() + name: f"and {spelt}" for name, spelt in found.items() if "{amount}" not in name}
    found[between] = "and"
    names = {plain_words(name.replace("{amount}", "")): spelt for name, spelt in found.items()}
    raw = sorted((name.replace("{amount}", "").strip() for name in found), key=len, reverse=True)
    letter = r"[^\W\d½¼¾⅓⅔]"
    joined = "|".join(map(re.escape, raw))
    return names, re.compile(rf"(?<!{letter})(?:{joined})(?!{letter}|[\u0900-\u0963])", re.IGNORECASE)


def _read_cleaned(cleaned: str, given: object, kind: Kind, field: str, locale: str, customs: Customs) -> Quantity:
    if kind.name == "ph":
        cleaned = re.sub(r"^ph\s*[=:]?\s*", "", cleaned, flags=re.IGNORECASE)
    number, rest = leading_number(cleaned, given, field, locale, kind.accepted)
    if not rest and not kind.dimensionless:
        raise refusal(field, given, said("The unit is missing."), kind.accepted)
    rest = _without_level(rest)
    both = _two_amounts(rest, kind) if kind.name in _ADDED_UP else None
    if both:
        return _sum(number, both, kind, given, field, locale, customs)
    unit, ambiguous = _unit(rest, kind, given, field, locale, customs)
    if kind.name == "mass_or_volume":
        kind = QUANTITY_KINDS["mass" if unit in MASS_UNITS else "volume"]
    value = converted(number.value, unit, kind.base_unit)
    echo, span = "", (1.0, 1.0)
    if unit in HAND_MEASURES:
        span = hand_span(unit)
        echo = _hand_echo(value, span, locale, customs)
    elif unit in CUSTOMARY_UNITS and ambiguous:
        echo = said("{amount} ({unit})", amount=_in_litres(value, locale), unit=WRITTEN_UNITS[unit])
    elif ambiguous and kind.name == "strength":
        echo = said("{amount} (if 1 L weighs 1 kg)", amount=write_quantity(value * 100, "%", 6, locale, trim=True))
    elif unit == "oz" and ambiguous:
        echo = said("{amount} (ounce by weight)", amount=write_quantity(value, "g", 6, locale, trim=True))
    elif ambiguous or number.ambiguous:
        echo = write_quantity(number.value, unit, 12, locale, trim=True)
    return Quantity(value, kind.base_unit, kind.name, str(given).strip(), echo, unit, span)


def hand_span(unit: str) -> tuple[float, float]:
    """Return the factors by which a measure by hand may hold less or more than its typical volume.

    >>> hand_span("glass")
    (0.75, 1.5)
    """
    found = published.estimate(published.row("hand_measures", unit))
    return found.low / found.typical, found.high / found.typical


def _hand_echo(litres: float, span: tuple[float, float], locale: str, customs: Customs) -> str:
    """Return what a measure by hand holds, in words."""
    ends = (litres, litres * span[0], litres * span[1])
    if customs.name == "us":
        own = own_units((), "us")
        amount, low, high = (roughly(each, "L", own, locale, trim=True)[0] for each in ends)
        return said(
            "about {amount}, anything from {low} to {high}; give it in cups or gallons to be surer",
            amount=amount,
            low=low,
            high=high,
        )
    metric = [_in_litres(each, locale, 2) for each in ends]
    return said(
        "about {amount}, anything from {low} to {high}; give it in litres to be surer",
        amount=metric[0],
        low=metric[1],
        high=metric[2],
    )


def _in_litres(litres: float, locale: str, figures: int = 6) -> str:
    amount, unit = (litres, "L") if litres >= 1 else (litres * 1000, "mL")
    return write_quantity(amount, unit, figures, locale, trim=True)


# Kinds whose amounts people and sheets write as two: 1 cup and 2 tablespoons, 5 ft 3 in, 1 h 30 min.
_ADDED_UP = frozenset({"volume", "mass", "mass_or_volume", "length", "time"})


def _without_level(rest: str) -> str:
    """Return the words behind a number without those that say that a measure is level: ``level cup``, ``taza rasa``."""
    return _level().sub(" ", rest).strip()


@cache
def _level() -> re.Pattern[str]:
    words = sorted(words_beside_units("level"), key=len, reverse=True)
    return re.compile(rf"(?<!\S)(?:{'|'.join(map(re.escape, words))})(?!\S)", re.IGNORECASE)


def _two_amounts(rest: str, kind: Kind) -> tuple[str, str] | None:
    """Return the unit of a first amount and the text of a second one; None where there is only one amount."""
    if unit_key(rest) in spellings(kind.name):
        return None
    joined = "|".join(map(re.escape, words_beside_units("and")))
    found = re.fullmatch(rf"([^\d½¼¾⅓⅔]+?)\s*(?:(?<=\s)(?:{joined})(?=\s)|[+&,])?\s*([\d½¼¾⅓⅔].*)", rest, re.IGNORECASE)
    if not found or unit_key(found[1]) not in spellings(kind.name):
        return None
    return found[1], found[2]


def _sum(
    number: NumberRead, both: tuple[str, str], kind: Kind, given: object, field: str, locale: str, customs: Customs
) -> Quantity:
    """Return two amounts added up. The second is in a smaller unit of the same system, and less than one first unit.

    So ``1 quart and 2 cups`` is a sum. ``1 cup 250 mL`` or ``500 g 2 kg`` may say one amount twice and are refused.
    """
    unit, _ = _unit(both[0], kind, given, field, locale, customs)
    kind = QUANTITY_KINDS["mass" if unit in MASS_UNITS else "volume"] if kind.name == "mass_or_volume" else kind
    try:
        second = _read_cleaned(both[1], both[1], kind, field, locale, customs)
        one = converted(1.0, unit, kind.base_unit)
        is_spoon = unit in CUSTOMARY_UNITS and second.typed_unit.endswith(("_tbsp", "_tsp"))  # alike in all countries
        is_sum = (is_spoon or _system(unit) == _system(second.typed_unit)) and second.value < one
        is_sum = is_sum and converted(1.0, second.typed_unit, kind.base_unit) < one
    except InputError:
        is_sum = False
    if not is_sum:
        raise refusal(field, given, said("There is more than one number here."), kind.accepted)
    value = number.value * one + second.value
    echo = _in_litres(value, locale) if kind.name == "volume" else ""
    return Quantity(value, kind.base_unit, kind.name, str(given).strip(), echo, unit)


def _system(unit: str) -> str:
    """Return the system a unit belongs to; spoons of the metric size are used with British measures."""
    system = unit.split("_")[0] if unit in CUSTOMARY_UNITS else "lb ft" if unit in _POUND_FOOT else "metric"
    return "uk" if system in ("metric", "au") and unit in CUSTOMARY_UNITS else system


_POUND_FOOT = frozenset({"lb", "oz", "in", "ft", "yd"})


def _require_within(
    quantity: Quantity, kind: Kind, given: object, field: str, locale: str, minimum: float | None, maximum: float | None
) -> None:
    lowest = kind.lowest if minimum is None else max(minimum, kind.lowest)
    highest = kind.highest if maximum is None else min(maximum, kind.highest)
    if kind.whole and not quantity.value.is_integer():
        raise refusal(field, given, said("This is not a whole number."), kind.accepted)

    def bound(value: float) -> str:
        return write_quantity(value, kind.base_unit, 12, locale, trim=True)

    if quantity.value < 0 and lowest == 0:
        raise refusal(field, given, said("This is below zero."), kind.accepted)
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
    raise refusal(field, given, problem, accepted)


def _unit(typed: str, kind: Kind, given: object, field: str, locale: str, customs: Customs) -> tuple[str, bool]:
    """Return the name of the typed unit, and whether the reading is ambiguous."""
    key = unit_key(typed)
    unit = spellings(kind.name).get(key)
    if unit is None and kind.over and key.count("/") == 1:
        halves = [spellings(part).get(word) for part, word in zip(kind.over, key.split("/"), strict=True)]
        if None not in halves:
            unit = "/".join(str(half) for half in halves)
    if unit is None and kind.name == "conductivity" and key in ("ppm", "mg/l"):
        raise _without_scale(given, field, locale)
    if unit is None:
        problem = REFUSED_SPELLINGS.get((kind.name, key)) or unknown_rest(typed)
        raise refusal(field, given, problem, kind.accepted)
    ambiguous = key in AMBIGUOUS_SPELLINGS.get(kind.name, ()) or (
        typed[:1] == "M" and re.match("m[gLSm]", unit) is not None
    )
    bare = re.search(r"\?(\w+)", unit)
    if bare is None:
        return unit, ambiguous
    return unit.replace(bare.group(), _by_customs(bare.group(1), given, field, locale, customs)), True


def _without_scale(given: object, field: str, locale: str) -> InputError:
    """Return the refusal of a reading in ppm, which means two conductivities, with both."""
    ppm, _ = leading_number(cleaned_text(given, field, ""), given, field, locale, "")

    def shown(unit: str) -> str:
        return write_quantity(converted(ppm.value, unit, "mS/cm"), "mS/cm", 3, locale, trim=True)

    problem = said(
        "Pens show ppm on two scales: this is {low} on the 700 scale and {high} on the 500 scale.",
        low=shown("ppm 700"),
        high=shown("ppm 500"),
    )
    number = write_number(ppm.value, 6, locale, trim=True)
    accepted = said("{number} ppm 500 or {number} ppm 700, as the pen or its leaflet says", number=number)
    return refusal(field, given, problem, accepted)


def _by_customs(measure: str, given: object, field: str, locale: str, customs: Customs) -> str:
    if measure == "tbsp" and customs.name == "metric" and locale == "en-AU":
        return "au_tbsp"
    unit: str | None = getattr(customs, measure)
    if unit is None:
        whole = {"fl_oz": said_in("unit", "fluid ounce"), "gal": said_in("unit", "gallon")}
        word = whole.get(measure) or unit_name(measure, 1) or measure
        us, uk = WRITTEN_UNITS[f"us_{measure}"], WRITTEN_UNITS[f"uk_{measure}"]
        error = refusal(
            field,
            given,
            said("A {word} differs by country.", word=word),
            said("litres or millilitres, {us} or {uk}", us=us, uk=uk),
        )
        error.choices = by_customs(f"us_{measure}", locale)
        raise error
    return unit
