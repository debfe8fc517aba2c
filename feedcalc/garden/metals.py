"""Metals that ash brings to ground, from the grower's own laboratory report, beside the limits of a country.

Rules of this room:

* Nothing is assumed about metals: without a report there is no figure. What a report leaves out is left out.
* g/ha = g/m2 of dry ash x mg/kg x 0.01. Only what holds the ash's grains counts (dry ash, sludge, compost with ash);
  clear liquor is left out, so a load of liquid feeds is not said.
* The load of twelve months stands beside yearly limits that are means of several years as well, because a book rarely
  reaches back that far: the careful comparison.
* A limit that is a span counts as passed only above its upper end; between the ends it may be, and that is said.
* The limits were mostly made for sold fertilisers, heating works or sewage sludge, not for private gardens. They
  measure, they don't permit: local rules go before them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from feedcalc import published
from feedcalc.uncertainty.estimates import Estimate

METALS = ("cadmium", "lead", "zinc", "copper", "nickel", "chromium", "arsenic", "mercury")
MATERIAL, SOIL, LOAD, LOAD_TOTAL = "material", "soil", "load", "load_total"
# 1 g/m2 x 1 mg/kg = 1e-6 g/m2 of metal, and a hectare has 10,000 m2.
HECTARE_FACTOR = 0.01


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit of a country: for what (``MATERIAL``, ``SOIL`` in mg/kg; ``LOAD``, ``LOAD_TOTAL`` in g/ha), its span.

    ``applies`` is what the rule was made for.
    """

    country: str
    kind: str
    metal: str
    low: float
    high: float
    unit: str
    applies: str
    source: str
    status: str
    note: str


@dataclass(frozen=True, slots=True)
class Compared:
    """A figure beside a limit: ``within``, ``may be above`` or ``above``."""

    limit: Limit
    value: Estimate
    verdict: str


@dataclass(frozen=True, slots=True)
class MetalFigures:
    """One metal: mg/kg in ash and soil, g/ha by the heaviest single entry and in twelve months, and the limits.

    ``years_to_limit`` at this yearly load: until the soil stands at its limit, or until a limit for all years together
    is spent where the country has only that; None where a figure for it is missing or nothing is added.
    """

    metal: str
    in_ash: float | None
    in_soil: float | None
    per_application: Estimate | None
    per_year: Estimate | None
    compared: tuple[Compared, ...]
    years_to_limit: Estimate | None


def countries() -> Mapping[str, Mapping[str, str]]:
    """The countries with limits, by code, with the name and what must be said beside their limits."""
    return {row["country"]: row for row in published.table("metal_countries")}


def limits_of(country: str) -> tuple[Limit, ...]:
    """The limits of a country; empty for one that is not in the table.

    >>> [limit.high for limit in limits_of("DK") if limit.kind == "load"]
    [0.8]
    """
    return tuple(
        Limit(
            row["country"],
            row["kind"],
            row["metal"],
            float(row["low"]),
            float(row["high"]),
            row["unit"],
            row["applies"],
            row["source"],
            row["status"],
            row["note"],
        )
        for row in published.table("metal_limits")
        if row["country"] == country
    )


def load_per_hectare(ash_per_square_metre: Estimate, milligrams_per_kilogram: float) -> Estimate:
    """Grams of a metal to the hectare that ash (g/m2, dry) brings.

    >>> load_per_hectare(Estimate.exactly(98.0), 3.0).typical
    2.94
    """
    return ash_per_square_metre.scaled(milligrams_per_kilogram * HECTARE_FACTOR)


def compared(limit: Limit, value: Estimate) -> Compared:
    """A value beside its limit: ``above`` the upper end by typical figures, ``may be above`` where any end might."""
    if value.typical > limit.high:
        return Compared(limit, value, "above")
    if value.high > limit.low:
        return Compared(limit, value, "may be above")
    return Compared(limit, value, "within")


def years_to_limit(
    soil: float, limit: Limit, yearly_load: Estimate, depth_cm: float, soil_density: Estimate
) -> Estimate | None:
    """Years until the soil stands at its limit, counted in whole ranges; 0 where it does, None where nothing is added.

    Soil to the hectare and depth in kg: depth (cm) x density (kg/L) x 100,000. Years = what may still come to it
    (mg/kg x kg / 1000, in g) over g/ha a year. Nothing is taken off for what crops take up or rain carries away.

    >>> cadmium = next(limit for limit in limits_of("EU") if limit.kind == "soil" and limit.metal == "cadmium")
    >>> round(years_to_limit(0.3, cadmium, Estimate.exactly(2.94), 15, Estimate.exactly(1.3)).high)
    1791
    """
    if yearly_load.typical <= 0 or yearly_load.low <= 0:
        return None

    def years(up_to: float, density: float, load: float) -> float:
        kilograms = depth_cm * density * 100_000
        return max(up_to - soil, 0.0) * kilograms / 1000 / load

    middle = (limit.low + limit.high) / 2
    return Estimate(
        years(limit.low, soil_density.low, yearly_load.high),
        years(middle, soil_density.typical, yearly_load.typical),
        years(limit.high, soil_density.high, yearly_load.low),
    )


def metal_figures(
    in_ash: Mapping[str, float],
    in_soil: Mapping[str, float],
    per_application: Estimate | None,
    per_year: Estimate | None,
    country: str,
    depth_cm: float,
    soil_density: Estimate,
) -> tuple[MetalFigures, ...]:
    """Every metal that a report names, with its loads and what they come to beside the limits of a country.

    ``in_ash`` and ``in_soil`` in mg/kg dry; ``per_application`` and ``per_year`` in g of dry ash to the square metre,
    None where the area is not known.
    """
    limits = limits_of(country)
    found = []
    for metal in METALS:
        if metal not in in_ash and metal not in in_soil:
            continue
        ash, soil = in_ash.get(metal), in_soil.get(metal)
        one = None if ash is None or per_application is None else load_per_hectare(per_application, ash)
        year = None if ash is None or per_year is None else load_per_hectare(per_year, ash)
        values = {
            MATERIAL: None if ash is None else Estimate.exactly(ash),
            SOIL: None if soil is None else Estimate.exactly(soil),
            LOAD: year,
        }
        own = [limit for limit in limits if limit.metal == metal]
        beside = tuple(compared(limit, value) for limit in own if (value := values.get(limit.kind)) is not None)
        soil_limit = next((limit for limit in own if limit.kind == SOIL), None)
        total = next((limit.high for limit in own if limit.kind == LOAD_TOTAL), None)
        years = None
        if soil is not None and soil_limit is not None and year is not None:
            years = years_to_limit(soil, soil_limit, year, depth_cm, soil_density)
        elif total is not None and year is not None and year.low > 0:
            years = Estimate(total / year.high, total / year.typical, total / year.low)
        found.append(MetalFigures(metal, ash, soil, one, year, beside, years))
    return tuple(found)
