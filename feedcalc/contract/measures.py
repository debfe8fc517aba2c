"""Amounts rounded to what household measures show: cups and spoons, kitchen scales, marked jugs and buckets."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from math import ceil, floor

from feedcalc import published

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
    step = 1 if grams < 50 else 5 if grams < 500 else 10 if grams < 2000 else 50
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


def poured(litres: float) -> float:
    """Return litres of water rounded up to the marks of a jug or bucket, so that the cans still fill.

    >>> poured(4.93), poured(1.02), poured(33.2)
    (5.0, 1.05, 33.5)
    """
    step = 0.05 if litres < 2 else 0.1 if litres < 20 else 0.5 if litres < 100 else 1.0
    return round(ceil(litres / step - 1e-9) * step, 10)


def jugged(litres: float) -> float:
    """Return litres of liquor for one can rounded down to the marks of a measuring jug, so that no feed gets stronger.

    >>> jugged(0.6923), jugged(2.25), jugged(0.0333)
    (0.65, 2.25, 0.03)
    """
    step = 0.005 if litres < 0.1 else 0.01 if litres < 0.5 else 0.05 if litres < 5 else 0.1
    return max(round(floor(litres / step + 1e-9) * step, 10), min(litres, 0.005))
