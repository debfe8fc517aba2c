"""Heavy-metal loads of ash on soil, from the grower's own laboratory report, compared with the limits of a country.

* Nothing is assumed about metals: a metal that the report does not give has no figure.
* Load in g/ha = dry ash in g/m2 x content in mg/kg x 0.01. Only materials with ash grains count (dry ash, sludge,
  compost with ash); clear liquor does not, so liquid feeds have no load.
* The load of twelve months is also compared with limits that are means of several years: records rarely go back that
  far, and this comparison is the stricter one.
* If a limit is a range, a value is above it only past the upper end; in between it may be above.
* Most limits were made for sold fertilisers, heating plants or sewage sludge. They are yardsticks and not permits.
"""

from __future__ import annotations

from collections.abc import Mapping

from feedcalc import published
from feedcalc.frozen import frozen
from feedcalc.uncertainty.estimates import Estimate

METALS = ("cadmium", "lead", "zinc", "copper", "nickel", "chromium", "arsenic", "mercury")
MATERIAL, SOIL, LOAD, LOAD_TOTAL = "material", "soil", "load", "load_total"
# 1 g/m2 x 1 mg/kg = 1e-6 g/m2 of metal, and a hectare has 10,000 m2.
HECTARE_FACTOR = 0.01


@frozen
class Limit:
    """A country's limit for a metal, as a range.

    ``kind`` is ``MATERIAL`` or ``SOIL`` (mg/kg), ``LOAD`` (g/ha a year) or ``LOAD_TOTAL`` (g/ha for all years);
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


@frozen
class Compared:
    """A value compared with a limit; the verdict is ``within``, ``may be above`` or ``above``."""

    limit: Limit
    value: Estimate
    verdict: str


@frozen
class MetalFigures:
    """One metal: mg/kg in ash and soil, g/ha by the heaviest single entry and in twelve months, and the limits.

    ``years_to_limit`` is the time at this yearly load until the soil reaches its limit or, in a country without one,
    until the limit for all years together is used up; None if a figure for it is missing or nothing is added.
    """

    metal: str
    in_ash: float | None
    in_soil: float | None
    per_application: Estimate | None
    per_year: Estimate | None
    compared: tuple[Compared, ...]
    years_to_limit: Estimate | None


def countries() -> Mapping[str, Mapping[str, str]]:
    """Return the countries with limits by code, each with its name and the note that goes with its limits."""
    return {row["country"]: row for row in published.table("metal_countries")}


def limits_of(country: str) -> tuple[Limit, ...]:
    """Return the limits of a country; empty for a country that is not in the table.

    >>> [limit.high for limit in limits_of("DK") if limit.kind == "load"]
    [0.8]
    """
    return tuple(
        Limit(
            country=row["country"],
            kind=row["kind"],
            metal=row["metal"],
            low=float(row["low"]),
            high=float(row["high"]),
            unit=row["unit"],
            applies=row["applies"],
            source=row["source"],
            status=row["status"],
            note=row["note"],
        )
        for row in published.table("metal_limits")
        if row["country"] == country
    )


def load_per_hectare(ash_per_square_metre: Estimate, milligrams_per_kilogram: float) -> Estimate:
    """Return the load of a metal in g/ha from dry ash (g/m2) with this content (mg/kg).

    >>> load_per_hectare(Estimate.exactly(98.0), 3.0).typical
    2.94
    """
    return ash_per_square_metre.scaled(milligrams_per_kilogram * HECTARE_FACTOR)


def compared(limit: Limit, value: Estimate) -> Compared:
    """Compare a value with a limit: ``above`` if the typical value is, ``may be above`` if the ranges overlap."""
    if value.typical > limit.high:
        return Compared(limit, value, "above")
    if value.high > limit.low:
        return Compared(limit, value, "may be above")
    return Compared(limit, value, "within")


def years_to_limit(
    soil: float, limit: Limit, yearly_load: Estimate, depth_cm: float, soil_density: Estimate
) -> Estimate | None:
    """Return the years until a soil reaches its limit; 0 if it has, None if no metal is added.

    ``soil`` in mg/kg, ``yearly_load`` in g/ha, ``soil_density`` in kg/L. Years = (limit - soil) x mass of soil / load,
    with depth (cm) x density x 100,000 kg of soil to the hectare. Uptake by crops and leaching are neglected.

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


def typical_years_to_limit(
    ash_per_year: float, country: str, depth_cm: float, soil_density: Estimate
) -> tuple[tuple[str, Estimate, Limit], ...]:
    """Return for each metal with a limit of soil in a country the years until ash brings an ordinary soil there.

    The ash (g/m2 a year) is of clean wood and was not analysed (``ash_metals.csv``). The soonest metal comes first.
    """
    limits = {limit.metal: limit for limit in limits_of(country) if limit.kind == SOIL}
    found = []
    for row in published.table("ash_metals"):
        limit, content = limits.get(row["metal"]), published.estimate(row)
        load = Estimate(
            *(ash_per_year * value * HECTARE_FACTOR for value in (content.low, content.typical, content.high))
        )
        if limit and (years := years_to_limit(float(row["soil"]), limit, load, depth_cm, soil_density)):
            found.append((row["metal"], years, limit))
    return tuple(sorted(found, key=lambda each: each[1].low))


def metal_figures(
    in_ash: Mapping[str, float],
    in_soil: Mapping[str, float],
    per_application: Estimate | None,
    per_year: Estimate | None,
    country: str,
    depth_cm: float,
    soil_density: Estimate,
) -> tuple[MetalFigures, ...]:
    """Return every metal that a report names, with its loads, compared with the limits of a country.

    ``in_ash`` and ``in_soil`` in mg/kg of dry matter; ``per_application`` and ``per_year`` in g of dry ash per square
    metre, None if the area is not known.
    """
    limits = limits_of(country)
    found = []
    for metal in METALS:
        if metal not in in_ash and metal not in in_soil:
            continue
        ash, soil = in_ash.get(metal), in_soil.get(metal)
        single_load = None if ash is None or per_application is None else load_per_hectare(per_application, ash)
        yearly_load = None if ash is None or per_year is None else load_per_hectare(per_year, ash)
        values = {
            MATERIAL: None if ash is None else Estimate.exactly(ash),
            SOIL: None if soil is None else Estimate.exactly(soil),
            LOAD: yearly_load,
        }
        own = [limit for limit in limits if limit.metal == metal]
        comparisons = tuple(compared(limit, value) for limit in own if (value := values.get(limit.kind)) is not None)
        soil_limit = next((limit for limit in own if limit.kind == SOIL), None)
        total = next((limit.high for limit in own if limit.kind == LOAD_TOTAL), None)
        years = None
        if soil is not None and soil_limit is not None and yearly_load is not None:
            years = years_to_limit(
                soil=soil, limit=soil_limit, yearly_load=yearly_load, depth_cm=depth_cm, soil_density=soil_density
            )
        elif total is not None and yearly_load is not None and yearly_load.low > 0:
            years = Estimate(total / yearly_load.high, total / yearly_load.typical, total / yearly_load.low)
        found.append(
            MetalFigures(
                metal=metal,
                in_ash=ash,
                in_soil=soil,
                per_application=single_load,
                per_year=yearly_load,
                compared=comparisons,
                years_to_limit=years,
            )
        )
    return tuple(found)
