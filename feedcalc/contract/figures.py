"""Figures of the contract (value, unit, low, high), and figures as text.

* A figure has six significant digits in the reply. As text it has two, unless it is an amount to measure out.
* `shown` serves the sheet of a batch, `figure_words` the sheets about soil. They differ on purpose: `shown` picks
  handier units and says "likely"; `figure_words` keeps the unit and puts the range in brackets.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from feedcalc.contract.numbers import write_number
from feedcalc.contract.own_measures import CLOSE_ENOUGH, METRIC, NO_RECIPE, OwnUnits, is_own, roughly, to_measure
from feedcalc.contract.quantities import write_quantity
from feedcalc.contract.units import converted
from feedcalc.frozen import frozen
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.messages import said, said_in

Figure = dict[str, Any]
# A figure below this in its unit is written as under this limit.
SMALLEST_WRITTEN = {"mg/L": 0.1, "g/L": 0.001, "mg": 0.1, "g CaCO3": 0.01, "g": 0.01, "mg/L CaCO3": 1.0}
_PARTS_OF_A_FIGURE = frozenset({"value", "unit", "low", "high"})
# Last names of figures that a person measures out or counts: exact, hence written to more than two digits.
MEASURED_OUT = {
    *("ash_mass", "ash_volume", "water_volume", "liquor_per_can", "water_per_can", "goes", "parts_liquor"),
    *("parts_water", "size", "count", "liquor", "water", "volume", "time", "days"),
    *("batches", "earlier_batches"),
}
# A liquor's figure in mg/L is written in g/L if its range reaches this, so that the three numbers stay short.
GRAMS_FROM = 1000.0
_WRITTEN_UNIT = {"mg/L CaCO3": "mg/L", "g CaCO3": "g", "g/m2": "g/m^2", "m2": "m^2", "1": ""}
_SOIL_UNITS = {
    "L": "\u00a0L",
    "g/m2": "\u00a0g/m²",
    "g CaCO3/m2": "\u00a0g/m²",
    "g CaCO3": "\u00a0g",
    "1": "",
    "g": "\u00a0g",
    "kg": "\u00a0kg",
    "m2": "\u00a0m²",
    "mg/kg": "\u00a0mg/kg",
    "g/ha": "\u00a0g/ha",
    "a": "",
}


def figure(estimate: Estimate, unit: str) -> Figure:
    """Return an estimate as a figure of the contract, with its ``median`` if it was sampled.

    `medians_taken` later moves the medians of a reply to one place.

    >>> figure(Estimate(1.0, 2.0, 3.0), "g")
    {'value': 2.0, 'unit': 'g', 'low': 1.0, 'high': 3.0}
    """
    value = six_digits(estimate.typical)
    is_exact = estimate.low == estimate.high
    found: Figure = {
        "value": value,
        "unit": unit,
        "low": value if is_exact else six_digits(estimate.low),
        "high": value if is_exact else six_digits(estimate.high),
    }
    if estimate.median is not None:
        found["median"] = six_digits(estimate.median)
    return found


def exact_figure(value: float, unit: str) -> Figure:
    """Return a value without uncertainty as a figure of the contract.

    >>> exact_figure(2.0, "g")
    {'value': 2.0, 'unit': 'g', 'low': 2.0, 'high': 2.0}
    """
    written = six_digits(value)
    return {"value": written, "unit": unit, "low": written, "high": written}


def six_digits(value: float) -> float:
    """Return ``value`` to six significant digits."""
    return float(f"{value:.6g}")


def flat_figures(values: Mapping[str, Any]) -> dict[str, Figure]:
    """Return every figure of a reply by its dotted path; list indices count from 0.

    >>> flat_figures({"a": {"b": {"value": 1.0, "unit": "g", "low": 1.0, "high": 1.0}}})["a.b"]["unit"]
    'g'
    """
    found: dict[str, Figure] = {}
    _note_figures(values, "", found)
    return found


def _note_figures(part: Any, start: str, found: dict[str, Figure]) -> None:
    rows = part.items() if isinstance(part, dict) else enumerate(part)
    for key, value in rows:
        if isinstance(value, dict) and value.keys() >= _PARTS_OF_A_FIGURE:
            found[f"{start}{key}"] = value
        elif isinstance(value, (dict, list)):
            _note_figures(value, f"{start}{key}.", found)


@frozen
class Shown:
    """A figure as text: ``text`` is the number with its unit, ``range`` the likely range (empty if it is exact).

    ``value``, ``low`` and ``high`` are the numbers of the contract in its own unit; ``unit`` is the unit of ``text``.
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
        """Number and range, such as ``870 mg/L (likely 320 to 2100)``."""
        return said("{amount} (likely {range})", amount=self.text, range=self.range) if self.range else self.text

    @property
    def likely(self) -> str:
        """Number and range for a sentence: ``about 0.87 g/L, likely 0.32 to 2.1``."""
        if self.range:
            return said("about {amount}, likely {range}", amount=self.text, range=self.range)
        return said_in("range of a figure", "about {amount}", amount=self.text)

    def headline(self, what: str) -> str:
        """Return number, name and range: ``about 0.87 g/L potassium, likely 0.32 to 2.1``.

        >>> about = Shown("liquor.potassium", 870.0, "0.87 g/L", "0.32 to 2.1", "g/L", 320.0, 2100.0)
        >>> about.headline("potassium")
        'about 0.87 g/L potassium, likely 0.32 to 2.1'
        """
        if self.range:
            return said("about {amount} {what}, likely {range}", amount=self.text, what=what, range=self.range)
        return said("about {amount} {what}", amount=self.text, what=what)


def shown(path: str, figure: Figure, locale: str, own: OwnUnits = METRIC) -> Shown:
    """Return a figure of a batch as text; only amounts to measure out have more than two significant digits.

    Volumes, areas and lengths are in the grower's own units.

    >>> shown("liquor.ph", {"value": 12.16, "unit": "1", "low": 11.52, "high": 12.6}, "en-GB").full
    '12.2 (likely 11.5 to 12.6)'
    >>> shown("liquor.potassium", {"value": 874.0, "unit": "mg/L", "low": 316.0, "high": 2113.0}, "en-GB").likely
    'about 0.87\\xa0g/L, likely 0.32 to 2.1'
    """
    value, unit = figure["value"], figure["unit"]
    name = path.rsplit(".", 1)[-1]
    exact = figure["low"] == figure["high"] and name in MEASURED_OUT
    if is_own(unit, own):
        return _shown_in_own_units(path, figure, locale, own, exact)
    if unit in ("g/m2", "g CaCO3/m2") and own.area == "ft^2":
        text = figure_words(figure, locale, own)
        return Shown(path=path, value=value, text=text, range="", unit="", low=figure["low"], high=figure["high"])
    scale = 1.0
    if unit == "mg" and value >= 1000:
        unit, scale = "g", 0.001
    elif path.startswith("liquor.") and unit in ("mg/L", "mg/L CaCO3") and figure["high"] >= GRAMS_FROM:
        unit, scale = "g/L", 0.001
    elif name == "share" or name.endswith("_share"):
        unit, scale = "%", 100.0

    def number(amount: float) -> str:
        amount *= scale
        smallest = SMALLEST_WRITTEN.get(unit, 0.0)
        if unit == "%":
            return write_number(amount, 2, locale, trim=True)
        if amount < smallest:
            return said_in("range of a figure", "under {least}", least=write_number(smallest, 1, locale))
        if name == "ph" or name.startswith("ph_") or name.endswith("_ph"):
            rounded = round(amount, 1)
            return write_number(rounded, 3 if rounded >= 9.95 else 2, locale)
        if name in ("parts_water", "goes", "count", "batches", "earlier_batches"):
            return write_number(amount, 4, locale, trim=True) if exact else write_number(amount, 2, locale, trim=True)
        if exact:
            return write_number(amount, 4 if amount >= 1000 else 3, locale, trim=True)
        return write_number(amount, 2, locale)

    written = _WRITTEN_UNIT.get(unit, unit)
    text = number(value)
    spelt = str(written)
    if written and written != "%":
        spelt = write_quantity(1.0, written, 1, locale).split("\u00a0")[-1]
    low, high = number(figure["low"]), number(figure["high"])
    return Shown(
        path=path,
        value=value,
        text=said("{number}\u00a0{unit}", number=text, unit=spelt) if spelt else text,
        range="" if exact or low == high else said("{low} to {high}", low=low, high=high),
        unit=spelt,
        low=figure["low"],
        high=figure["high"],
    )


class ShownFigures(Mapping[str, Shown]):
    """The figures of a batch as text by their path, each written when it is first asked for.

    A part of a sheet needs few of them. ``start`` narrows them to those below a path, by the rest of their paths.

    >>> figures = flat_figures({"liquor": {"ph": {"value": 12.16, "unit": "1", "low": 12.16, "high": 12.16}}})
    >>> below = ShownFigures(figures, "en-GB").below("liquor")
    >>> list(below), below["ph"].text
    (['ph'], '12.2')
    """

    def __init__(self, figures: Mapping[str, Figure], locale: str, own: OwnUnits = METRIC, start: str = "") -> None:
        self._figures, self._locale, self._own, self._start = figures, locale, own, start
        self._written: dict[str, Shown] = {}

    def __getitem__(self, path: str) -> Shown:
        if path not in self._written:
            whole = self._start + path
            self._written[path] = shown(whole, self._figures[whole], self._locale, self._own)
        return self._written[path]

    def __contains__(self, path: object) -> bool:
        return isinstance(path, str) and self._start + path in self._figures

    def __iter__(self) -> Iterator[str]:
        return (path[len(self._start) :] for path in self._figures if path.startswith(self._start))

    def __len__(self) -> int:
        return sum(1 for _ in self)

    def below(self, start: str) -> ShownFigures:
        """Return the figures below a path, by the rest of their paths."""
        return ShownFigures(self._figures, self._locale, self._own, f"{self._start}{start}.")


def _in_feet_and_pounds(figure: Figure) -> tuple[float, str] | None:
    """Return factor and unit of a figure about soil where ground is measured in feet; None if that is the same."""
    pound, square_foot = converted(1.0, "lb", "g"), converted(1.0, "ft^2", "m^2")
    match figure["unit"]:
        case "g/m2" | "g CaCO3/m2" if figure["value"] * 100 * square_foot < pound:
            return 100 * square_foot * converted(1.0, "g", "oz"), "\u00a0oz/100\u00a0sq\u00a0ft"
        case "g/m2" | "g CaCO3/m2":
            return 100 * square_foot / pound, "\u00a0lb/100\u00a0sq\u00a0ft"
        case "g" | "g CaCO3" if figure["value"] >= pound:
            return 1 / pound, "\u00a0lb"
        case "g" | "g CaCO3":
            return converted(1.0, "g", "oz"), "\u00a0oz"
        case "m2":
            return 1 / square_foot, "\u00a0sq\u00a0ft"
    return None


def _shown_in_own_units(path: str, figure: Figure, locale: str, own: OwnUnits, exact: bool) -> Shown:
    text: str
    ends: list[str]
    if exact:
        text, ends, spelt = to_measure(figure["value"], figure["unit"], own, locale, _closeness(path)), [], ""
    else:
        text, ends, spelt = roughly(figure["value"], figure["unit"], own, locale, (figure["low"], figure["high"]))
    return Shown(
        path=path,
        value=figure["value"],
        text=text,
        range=said("{low} to {high}", low=ends[0], high=ends[1]) if ends and ends[0] != ends[1] else "",
        unit=spelt,
        low=figure["low"],
        high=figure["high"],
    )


def _closeness(path: str) -> float:
    """Return how close one measure must come: what a plant gets, or what other dilutions would take, is no recipe."""
    return CLOSE_ENOUGH if path.startswith("batch.") else NO_RECIPE


def ground_words(grams_per_square_metre: float, locale: str, own: OwnUnits = METRIC, figures: int = 2) -> str:
    """Return what lies on the ground as text; an amount that a source gives in g/m2 may have more ``figures``.

    >>> ground_words(0.63, "en-GB"), ground_words(0.63, "en-US", OwnUnits(area="ft^2"))
    ('0.63\xa0g/m²', '0.21\xa0oz/100\xa0sq\xa0ft')
    """
    if own.area != "ft^2":
        return f"{write_number(grams_per_square_metre, figures, locale, trim=True)}\u00a0g/m²"
    return figure_words(exact_figure(grams_per_square_metre, "g/m2"), locale, own)


def figure_words(figure: Figure, locale: str, own: OwnUnits = METRIC) -> str:
    """Return a figure about soil as text, two significant digits each, such as ``98 g/m² (49 to 150)``.

    Who measures ground in feet reads pounds to 100 square feet.

    >>> us = OwnUnits(area="ft^2")
    >>> figure_words({"value": 98.0, "unit": "g/m2", "low": 98.0, "high": 98.0}, "en-US", us).replace("\u00a0", " ")
    '2 lb/100 sq ft'
    """
    if is_own(figure["unit"], own) and figure["unit"] == "L":
        text, ends, _ = roughly(figure["value"], "L", own, locale, (figure["low"], figure["high"]), trim=True)
        return text if ends[0] == ends[1] else said("{value} ({low} to {high})", value=text, low=ends[0], high=ends[1])
    scale, unit = 1.0, _SOIL_UNITS[figure["unit"]]
    if own.area == "ft^2":
        scale, unit = _in_feet_and_pounds(figure) or (scale, unit)
    low, value, high = (write_number(figure[name] * scale, 2, locale, trim=True) for name in ("low", "value", "high"))
    if low == high:
        return value + unit
    return said("{value} ({low} to {high})", value=value + unit, low=low, high=high)
