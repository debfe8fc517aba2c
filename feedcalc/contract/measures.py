"""Amounts rounded to what household measures show: cups and spoons, kitchen scales, marked jugs and buckets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from math import ceil, floor, inf

from feedcalc import published
from feedcalc.contract.numbers import write_number, write_quarters
from feedcalc.words.messages import Said, said, said_of

# Cups alone will do if they come this close to the volume (relative), well within the scatter of a cup of ash.
CLOSE_ENOUGH = 0.06


@lru_cache
def measures(customs: str) -> Mapping[str, float]:
    """Return the millilitres of a level cup, tablespoon and teaspoon by customs (us, metric, uk)."""
    return {
        row["measure"]: float(row["millilitres"]) for row in published.table("measures") if row["customs"] == customs
    }


def weighed(grams: float) -> float:
    """Return grams rounded to what a kitchen scale or a spring balance shows: 1, 5, 10 or 50 g.

    >>> weighed(106.5), weighed(23.4), weighed(1234.0)
    (105.0, 23.0, 1230.0)
    """
    step = 1 if grams < 100 else 5 if grams < 500 else 10 if grams < 2000 else 50
    return max(_nearest(grams, step), min(grams, 1.0))


def measured_out(millilitres: float, customs: str) -> tuple[float, tuple[tuple[float, str], ...]]:
    """Return a volume in level cups and spoons: the millilitres they hold, and the number of each measure.

    Quarter cups if they come within `CLOSE_ENOUGH` of the volume, otherwise quarter cups and tablespoons;
    tablespoons alone below a quarter cup, teaspoons below two tablespoons, half and whole cups for large volumes.

    >>> measured_out(240.0, "us")[1], measured_out(122.0, "metric")[1], measured_out(150.0, "metric")[1]
    (((1.0, 'cup'),), ((0.5, 'cup'),), ((0.5, 'cup'), (2.0, 'tablespoon')))
    """
    cup, tablespoon, teaspoon = (measures(customs)[name] for name in ("cup", "tablespoon", "teaspoon"))
    if millilitres < 2 * tablespoon:
        spoons = max(_nearest(millilitres / teaspoon, 0.5), 0.5)
        return spoons * teaspoon, ((spoons, "teaspoon"),)
    step = 0.25 if millilitres < 10 * cup else 0.5 if millilitres < 40 * cup else 1.0
    cups = _nearest(millilitres / cup, step)
    if cups > 0 and abs(cups * cup - millilitres) <= CLOSE_ENOUGH * millilitres:
        return cups * cup, ((cups, "cup"),)
    cups = step * floor(millilitres / cup / step)
    spoons = _nearest((millilitres - cups * cup) / tablespoon, 1.0)
    if spoons * tablespoon > step * cup - tablespoon / 2:
        cups, spoons = cups + step, 0.0  # that many spoons are the next mark of the cup
    parts = tuple((amount, name) for amount, name in ((cups, "cup"), (spoons, "tablespoon")) if amount > 0)
    return cups * cup + spoons * tablespoon, parts


def _nearest(amount: float, step: float) -> float:
    return float(step * floor(amount / step + 0.5))


# The marks of a jug or bucket by system of volumes: litres up to which a step of so many litres is read off.
_US_CUP, _UK_PINT = 0.2365882365, 0.56826125
_MARKS_OF_WATER: Mapping[str, tuple[tuple[float, float], ...]] = {
    "metric": ((2, 0.05), (20, 0.1), (100, 0.5), (inf, 1.0)),
    "us": ((2, _US_CUP / 4), (8, _US_CUP / 2), (20, _US_CUP * 2), (100, _US_CUP * 4), (inf, _US_CUP * 16)),
    "uk": ((2, _UK_PINT / 10), (8, _UK_PINT / 4), (20, _UK_PINT / 2), (100, _UK_PINT), (inf, _UK_PINT * 8)),
}
_MARKS_OF_LIQUOR: Mapping[str, tuple[tuple[float, float], ...]] = {
    "metric": ((0.1, 0.005), (0.5, 0.01), (5, 0.05), (inf, 0.1)),
    "us": ((0.1, _US_CUP / 48), (0.5, _US_CUP / 16), (5, _US_CUP / 4), (inf, _US_CUP / 2)),
    "uk": ((0.1, _UK_PINT / 160), (0.5, _UK_PINT / 40), (5, _UK_PINT / 10), (inf, _UK_PINT / 4)),
}


def poured(litres: float, system: str = "metric") -> float:
    """Return litres of water rounded up to the marks of a jug or bucket (metric, us, uk), so that the cans still fill.

    >>> poured(4.93), poured(1.02), poured(33.2), poured(4.6, "us")
    (5.0, 1.05, 33.5, 4.6134706117)
    """
    step = _step(_MARKS_OF_WATER[system], litres)
    return round(ceil(litres / step - 1e-9) * step, 10)


def jugged(litres: float, system: str = "metric") -> float:
    """Return litres of liquor for one can rounded down to the marks of a measuring jug (metric, us, uk).

    Down, so that no feed gets stronger.

    >>> jugged(0.6923), jugged(2.25), jugged(0.0333)
    (0.65, 2.25, 0.03)
    """
    step = _step(_MARKS_OF_LIQUOR[system], litres)
    return max(round(floor(litres / step + 1e-9) * step, 10), min(litres, 0.005))


def _step(marks: tuple[tuple[float, float], ...], litres: float) -> float:
    return next(step for below, step in marks if litres < below)


def measure_words(parts: Sequence[tuple[float, str]], locale: str) -> str:
    """Return level cups and spoons, as `measured_out` counts them, in words.

    >>> measure_words(((1.5, "cup"), (2.0, "tablespoon")), "en-GB")
    '1½ level cups and 2 level tablespoons'
    """
    words = []
    for amount, name in parts:
        words.append(level_measure(name, amount, write_quarters(amount) or write_number(amount, 3, locale)))
    return words[0] if len(words) == 1 else said("{first} and {second}", first=words[0], second=words[1])


def level_measure(measure: str, amount: float, number: str) -> Said:
    """Return so many of a level measure: a cup, tablespoon or teaspoon.

    >>> level_measure("cup", 1.5, "1½")
    '1½ level cups'
    """
    words = {
        "cup": said_of(amount, "{amount} level cup", "{amount} level cups", amount=number),
        "tablespoon": said_of(amount, "{amount} level tablespoon", "{amount} level tablespoons", amount=number),
        "teaspoon": said_of(amount, "{amount} level teaspoon", "{amount} level teaspoons", amount=number),
    }
    return words[measure]
