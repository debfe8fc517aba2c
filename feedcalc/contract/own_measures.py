"""The grower's own measures: an amount in the units that the grower typed, or that the customs of the country suggest.

* Units typed are units read: who types a can in gallons reads gallons, in litres litres. Where nothing of a kind was
  typed, US customs give gallons, feet and degrees Fahrenheit; all others give metric units.
* What is written here can be typed back: `read_quantity` reads it as the same amount, within `CLOSE_ENOUGH`.
* Only words change. Figures of the contract stay in litres, metres and degrees Celsius.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from functools import lru_cache

from feedcalc.contract.numbers import write_number, write_quarters
from feedcalc.contract.units import CUSTOMARY_UNITS, CUSTOMS, HAND_MEASURES, WRITTEN_UNITS, converted, unit_name
from feedcalc.frozen import frozen
from feedcalc.words.messages import Said, said, said_in

# Fewer measures are written where they come this close to the amount (relative).
CLOSE_ENOUGH = 0.01
NO_RECIPE = 0.06  # the same for what a plant or a piece of ground gets, which nobody measures out
# The measures of a system that amounts are written in, largest first, and the parts of each that a jug or spoon shows.
_STEPS: Mapping[str, tuple[tuple[str, float], ...]] = {
    "us": (("us_gal", 0.25), ("us_quart", 0.25), ("us_cup", 0.25), ("us_tbsp", 0.5), ("us_tsp", 0.25)),
    "uk": (("uk_gal", 0.25), ("uk_pint", 0.25), ("uk_fl_oz", 0.5), ("metric_tbsp", 0.5), ("metric_tsp", 0.25)),
}
# The fewest and the most of a measure that anybody counts out.
_COUNTED_OUT = {
    "gal": (1.0, math.inf),
    "quart": (1.0, 16.0),
    "pint": (1.0, 16.0),
    "cup": (0.25, 12.0),
    "fl_oz": (1.0, 40.0),
    "tbsp": (1.0, 4.0),
    "tsp": (0.25, 5.0),
}
_METRIC_KINDS = {"volume": "L", "area": "m^2", "length": "cm", "temperature": "degC"}
_IMPERIAL = {"area": "ft^2", "length": "in", "temperature": "degF"}
_IMPERIAL_TYPED = {"area": {"ft^2", "in^2", "yd^2", "acre"}, "length": {"in", "ft", "yd"}, "temperature": {"degF"}}
# Unit of the contract -> kind, and the name of the unit in `units`.
_KIND_OF_UNIT = {
    "L": ("volume", "L"),
    "mL": ("volume", "mL"),
    "m2": ("area", "m^2"),
    "m": ("length", "m"),
    "cm": ("length", "cm"),
    "degC": ("temperature", "degC"),
}


@frozen
class OwnUnits:
    """The grower's units: the system of volumes (``metric``, ``us``, ``uk``), whether the other kinds are imperial.

    ``customs`` decide whether a bare quart is clear to the grower or must be called a US quart.
    """

    volume: str = "metric"
    area: str = "m^2"
    length: str = "cm"
    temperature: str = "degC"
    customs: str = "metric"

    @property
    def is_metric(self) -> bool:
        """Whether volumes are in litres."""
        return self.volume == "metric"


METRIC = OwnUnits()


@lru_cache(maxsize=256)
def own_units(typed: tuple[tuple[str, str], ...], customs: str) -> OwnUnits:
    """Return the grower's units from pairs of kind and typed unit, the first of each kind counting, and the customs.

    >>> own_units((("volume", "us_gal"),), "metric").volume, own_units((), "us").temperature
    ('us', 'degF')
    """
    found: dict[str, str] = {}
    for kind, unit in typed:
        if kind == "volume":
            # Cups and spoons are at home in every kitchen and say nothing of litres or gallons.
            if unit.split("_")[-1] in ("cup", "tbsp", "tsp") or unit in HAND_MEASURES:
                continue
            found.setdefault(kind, unit.split("_")[0] if unit in CUSTOMARY_UNITS else "metric")
        elif kind in _IMPERIAL:
            found.setdefault(kind, (_IMPERIAL if unit in _IMPERIAL_TYPED[kind] else _METRIC_KINDS)[kind])
    usual = {"volume": "us", **_IMPERIAL} if customs == "us" else {**_METRIC_KINDS, "volume": "metric"}
    return OwnUnits(**{**usual, **found}, customs=customs)


def by_customs(unit: str, locale: str) -> tuple[Mapping[str, str], ...]:
    """Return the customs that know another measure by the same word, each with its size; empty where none differs.

    ``unit`` is the unit as it was read, such as ``us_gal``.

    >>> [str(choice["text"]) for choice in by_customs("uk_gal", "en-GB")]
    ['US: 3.79\\xa0L', 'UK: 4.55\\xa0L']
    """
    if unit not in CUSTOMARY_UNITS:
        return ()
    meant = {name: getattr(customs, _word(unit)) for name, customs in CUSTOMS.items()}
    litres = {name: converted(1.0, own, "L") for name, own in meant.items() if own}
    if max(litres.values()) <= (1 + CLOSE_ENOUGH) * min(litres.values()):
        return ()
    size = {name: _metric(each, locale) for name, each in litres.items()}
    words = {
        "us": said_in("measures of a country", "US: {size}", size=size["us"]),
        "metric": said_in("measures of a country", "metric: {size}", size=size.get("metric", "")),
        "uk": said_in("measures of a country", "UK: {size}", size=size["uk"]),
    }
    return tuple({"field": "customs", "value": name, "text": words[name]} for name in size)


def _metric(litres: float, locale: str) -> Said:
    unit = "L" if litres >= 1 else "mL"
    return _amount(converted(litres, "L", unit), unit, METRIC, locale, 3, trim=True)


@lru_cache(maxsize=256)
def is_own(unit: str, own: OwnUnits) -> bool:
    """Return whether a unit of the contract is to be written in another unit than the contract's."""
    kind, _ = _KIND_OF_UNIT.get(unit, ("", ""))
    return bool(kind) and (own.volume if kind == "volume" else getattr(own, kind)) not in (
        "metric",
        *_METRIC_KINDS.values(),
    )


def to_measure(value: float, unit: str, own: OwnUnits, locale: str, close: float = CLOSE_ENOUGH) -> Said:
    """Return an amount to measure out, in at most two of the grower's measures that can be read off.

    One measure will do where it comes within ``close`` (relative) of the amount.

    >>> us = own_units((), "us")
    >>> [str(to_measure(litres, "L", us, "en-US")) for litres in (7.5708, 0.946353, 0.58, 0.0444)]
    ['2\\xa0gal', '1\\xa0quart', '2¼\\xa0cups and 3\\xa0tablespoons', '3\\xa0tablespoons']
    >>> to_measure(2.5, "L", METRIC, "de-DE")
    '2,5\\xa0L'
    """
    kind, name = _KIND_OF_UNIT[unit]
    if not is_own(unit, own):
        return _amount(value, name, own, locale, 4 if value >= 1000 else 3, trim=True)
    if kind != "volume":
        to = "acre" if kind == "area" and value >= 4000 else getattr(own, kind)
        return _amount(converted(value, name, to), to, own, locale, 3, trim=True)
    litres = converted(value, name, "L")
    steps = [(measure, step, converted(1.0, measure, "L")) for measure, step in _STEPS[own.volume]]
    for measure, step, size in steps:
        count = _rounded(litres / size, step)
        least, most = _COUNTED_OUT[_word(measure)]
        if least <= count <= most and abs(count * size - litres) <= close * litres:
            return _counted(count, measure, own)
    for place, (measure, step, size) in enumerate(steps[:-1]):
        # Quarters of a cup are marked on every cup; of larger measures the whole ones are counted.
        whole_step = step if _word(measure) == "cup" else 1.0
        whole = whole_step * int(litres / size / whole_step + 1e-9)
        if whole:
            first, rest = _counted(whole, measure, own), litres - whole * size
            smaller = [(unit, _rounded(rest / of, part), of) for unit, part, of in steps[place + 1 :]]
            close_enough = (row for row in smaller if abs(row[1] * row[2] - rest) <= close * litres)
            unit, count, _ = next(close_enough, smaller[-1])
            return said("{first} and {second}", first=first, second=_counted(count, unit, own)) if count else first
    measure, step, size = steps[-1]
    return _counted(max(_rounded(litres / size, step), step), measure, own)


def on_a_square_foot(litres_per_square_metre: float, own: OwnUnits, locale: str) -> str:
    """Return what a square foot gets; empty where the grower does not count in square feet."""
    if own.area != "ft^2":
        return ""
    return to_measure(litres_per_square_metre * converted(1.0, "ft^2", "m^2"), "L", own, locale, close=NO_RECIPE)


def volume_on_ground(litres_per_square_metre: float, own: OwnUnits, locale: str) -> str:
    """Return what a square metre, or a square foot, gets as a clause.

    >>> str(volume_on_ground(3.0, METRIC, "en-GB")), str(volume_on_ground(3.0, own_units((), "us"), "en-US"))
    ('3\xa0L on a square metre', '1\xa0cup and 3\xa0tablespoons on a square foot')
    """
    if feet := on_a_square_foot(litres_per_square_metre, own, locale):
        return said("{amount} on a square foot", amount=feet)
    return said("{amount} on a square metre", amount=roughly(litres_per_square_metre, "L", own, locale, trim=True)[0])


@lru_cache(maxsize=64)
def depth_words(centimetres: float, own: OwnUnits, locale: str) -> str:
    """Return a depth of soil, which nobody knows to the millimetre, in inches where ground is told in feet.

    >>> depth_words(15.0, METRIC, "en-GB"), depth_words(15.0, own_units((), "us"), "en-US")
    ('15\xa0cm', '6\xa0inches')
    """
    if own.area != "ft^2":
        return _amount(centimetres, "cm", own, locale, 3, trim=True)
    return _amount(float(round(converted(centimetres, "cm", "in"))), "in", own, locale, 3, trim=True)


def _rounded(count: float, step: float) -> float:
    return step * round(count / step)


def roughly(
    value: float, unit: str, own: OwnUnits, locale: str, others: Iterable[float] = (), *, trim: bool = False
) -> tuple[Said, list[str], str]:
    """Return an amount known only roughly as text with its unit, ``others`` as bare numbers in that unit, and the unit.

    ``trim`` drops zeros behind the decimal mark.

    >>> roughly(2.2, "L", own_units((), "us"), "en-US", (2.1, 2.4))
    ('2.3\\xa0quarts', ['2.2', '2.5'], 'quarts')
    """
    kind, name = _KIND_OF_UNIT[unit]
    to = name
    if is_own(unit, own):
        to = getattr(own, kind) if kind != "volume" else _handy(converted(value, name, "L"), own)
        if to == "ft^2" and value >= 4000:
            to = "acre"

    def number(amount: float) -> str:
        return write_number(converted(amount, name, to), 2, locale, trim=trim)

    written = _unit_words(to, own, converted(value, name, to))
    text = said("{number}\u00a0{unit}", number=number(value), unit=written)
    return text, [number(other) for other in others], written


def _handy(litres: float, own: OwnUnits) -> str:
    """Return the largest measure that an amount holds at least once."""
    return next(
        (
            measure
            for measure, _ in _STEPS[own.volume]
            if litres >= converted(_COUNTED_OUT[_word(measure)][0], measure, "L")
        ),
        _STEPS[own.volume][-1][0],
    )


def _amount(value: float, unit: str, own: OwnUnits, locale: str, figures: int, *, trim: bool) -> Said:
    return said(
        "{number}\u00a0{unit}",
        number=write_number(value, figures, locale, trim=trim),
        unit=_unit_words(unit, own, value),
    )


def _counted(count: float, unit: str, own: OwnUnits) -> Said:
    """Return so many of a measure, with quarters as fractions: ``1½ cups``."""
    return said("{number}\u00a0{unit}", number=write_quarters(count), unit=_unit_words(unit, own, count))


def _word(unit: str) -> str:
    return unit.split("_", 1)[1] if unit in CUSTOMARY_UNITS else unit


def _unit_words(unit: str, own: OwnUnits, count: float) -> str:
    """Return a unit as a word, with its country where a bare word would be read as another country's."""
    word = _word(unit)
    bare = getattr(CUSTOMS[own.customs], word, None)
    if unit in CUSTOMARY_UNITS and bare != unit and not unit.startswith("metric"):
        return WRITTEN_UNITS[unit]
    return unit_name(word, count) or WRITTEN_UNITS.get(unit, unit)
