"""Figures of the contract: value, unit, low and high; and how a figure reads in words."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from feedcalc.contract.numbers import write_number
from feedcalc.contract.quantities import write_quantity
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.messages import said

Figure = dict[str, Any]


def figure(estimate: Estimate, unit: str) -> Figure:
    """A figure of the contract, kept to six significant digits, with its ``median`` where it was sampled.

    `medians_taken` moves that out of a reply's figures.

    >>> figure(Estimate(1.0, 2.0, 3.0), "g")
    {'value': 2.0, 'unit': 'g', 'low': 1.0, 'high': 3.0}
    """
    told: Figure = {
        "value": six_digits(estimate.typical),
        "unit": unit,
        "low": six_digits(estimate.low),
        "high": six_digits(estimate.high),
    }
    if estimate.median is not None:
        told["median"] = six_digits(estimate.median)
    return told


def six_digits(value: float) -> float:
    """Return ``value`` to six significant digits."""
    return float(f"{value:.6g}")


def flat_figures(values: Mapping[str, Any], start: str = "") -> dict[str, Figure]:
    """Every figure of ``values`` by its dotted path, list places counted from 0.

    >>> flat_figures({"a": {"b": {"value": 1.0, "unit": "g", "low": 1.0, "high": 1.0}}})["a.b"]["unit"]
    'g'
    """
    found: dict[str, Figure] = {}
    for key, value in values.items():
        path = f"{start}{key}"
        if isinstance(value, list):
            value = {str(index): row for index, row in enumerate(value) if isinstance(row, dict)}
        if isinstance(value, dict):
            if value.keys() >= {"value", "unit", "low", "high"}:
                found[path] = value
            else:
                found.update(flat_figures(value, path + "."))
    return found


# Smaller than this in its unit, a figure is told as `under` it.
SMALLEST_TOLD = {"mg/L": 0.1, "g/L": 0.001, "mg": 0.1, "g CaCO3": 0.01, "g": 0.01, "mg/L CaCO3": 1.0}


# What is measured out is as sure as the jug; the last names of such figures.
MEASURED_OUT = {
    *("ash_mass", "ash_volume", "water_volume", "liquor_per_can", "water_per_can", "goes", "parts_liquor"),
    *("parts_water", "size", "count", "liquor", "water", "volume", "time", "days"),
    *("batches", "earlier_batches"),
}


# From here on a liquor's mg/L are told as g/L: where the range reaches so far, so that its three numbers stay short.
GRAMS_FROM = 1000.0
_WRITTEN_UNIT = {"mg/L CaCO3": "mg/L", "g CaCO3": "g", "m2": "m^2", "1": ""}


@dataclass(frozen=True, slots=True)
class Shown:
    """A figure in words: its path and number in the contract, the number with its unit, and the likely range.

    ``range`` is empty where nothing is unsure; ``unit`` is what ``text`` ends with. ``value``, ``low`` and ``high`` are
    the contract's numbers in the contract's unit, whatever unit the words are in.
    """

    path: str
    value: float
    text: str
    range: str
    unit: str
    low: float = math.nan
    high: float = math.nan

    @property
    def full(self) -> str:
        """Number and range together, such as ``870 mg/L (likely 320 to 2100)``."""
        return said("{amount} (likely {range})", amount=self.text, range=self.range) if self.range else self.text

    @property
    def likely(self) -> str:
        """As a sentence goes: ``about 0.87 g/L, likely 0.32 to 2.1``."""
        if self.range:
            return said("about {amount}, likely {range}", amount=self.text, range=self.range)
        return said("about {amount}", amount=self.text)

    def headline(self, what: str) -> str:
        """The figure in a line that names it: ``about 0.87 g/L potassium, likely 0.32 to 2.1``.

        >>> about = Shown("liquor.potassium", 870.0, "0.87 g/L", "0.32 to 2.1", "g/L", 320.0, 2100.0)
        >>> about.headline("potassium")
        'about 0.87 g/L potassium, likely 0.32 to 2.1'
        """
        if self.range:
            return said("about {amount} {what}, likely {range}", amount=self.text, what=what, range=self.range)
        return said("about {amount} {what}", amount=self.text, what=what)


def shown(path: str, figure: Figure, locale: str) -> Shown:
    """A figure of the contract in words. Only what is measured out is told to more than two figures.

    >>> shown("liquor.ph", {"value": 12.16, "unit": "1", "low": 11.52, "high": 12.6}, "en-GB").full
    '12.2 (likely 11.5 to 12.6)'
    >>> shown("liquor.potassium", {"value": 874.0, "unit": "mg/L", "low": 316.0, "high": 2113.0}, "en-GB").likely
    'about 0.87\\xa0g/L, likely 0.32 to 2.1'
    """
    value, unit = figure["value"], figure["unit"]
    name = path.rsplit(".", 1)[-1]
    sure = figure["low"] == figure["high"] and name in MEASURED_OUT
    scale = 1.0
    if unit == "mg" and value >= 1000:
        unit, scale = "g", 0.001
    elif path.startswith("liquor.") and unit in ("mg/L", "mg/L CaCO3") and figure["high"] >= GRAMS_FROM:
        unit, scale = "g/L", 0.001
    elif name == "share" or name.endswith("_share"):
        unit, scale = "%", 100.0

    def number(amount: float) -> str:
        amount *= scale
        smallest = SMALLEST_TOLD.get(unit, 0.0)
        if unit == "%":
            return write_number(amount, 2, locale, trim=True)
        if amount < smallest:
            return said("under {least}", least=write_number(smallest, 1, locale))
        if name == "ph" or name.startswith("ph_") or name.endswith("_ph"):
            return write_number(round(amount, 1), 3 if amount >= 9.95 else 2, locale)
        if name in ("parts_water", "goes", "count", "batches", "earlier_batches"):
            return write_number(amount, 4, locale, trim=True) if sure else write_number(amount, 2, locale, trim=True)
        if sure:
            return write_number(amount, 4 if amount >= 1000 else 3, locale, trim=True)
        return write_number(amount, 2, locale)

    written = _WRITTEN_UNIT.get(unit, unit)
    text = number(value)
    spelt = str(written)
    if written and written != "%":
        spelt = write_quantity(1.0, written, 1, locale).split("\u00a0")[-1]
    low, high = number(figure["low"]), number(figure["high"])
    return Shown(
        path,
        value,
        said("{number}\u00a0{unit}", number=text, unit=spelt) if spelt else text,
        "" if sure or low == high else said("{low} to {high}", low=low, high=high),
        spelt,
        figure["low"],
        figure["high"],
    )


_UNITS_OF_GROUND = {
    "g/m2": "\u00a0g/m²",
    "g CaCO3/m2": "\u00a0g/m²",
    "g CaCO3": "\u00a0g",
    "1": "",
    "g": "\u00a0g",
    "m2": "\u00a0m²",
    "mg/kg": "\u00a0mg/kg",
    "g/ha": "\u00a0g/ha",
    "a": "",
}


def figure_words(told: Figure, locale: str) -> str:
    """A figure of ground with its range, two significant figures each, such as ``98 g/m² (49 to 150)``."""
    unit = _UNITS_OF_GROUND[told["unit"]]
    low, value, high = (write_number(told[name], 2, locale, trim=True) for name in ("low", "value", "high"))
    if low == high:
        return value + unit
    return said("{value} ({low} to {high})", value=value + unit, low=low, high=high)
