"""Liquor standing in a vessel: how its pH falls day by day, and what free lime in the ash makes of it.

Rules of this room:

* The two ends are equilibria: the liquor as poured off, and the liquor at peace with the air. The way between is a
  rate, known only roughly, so it comes as low, typical and high.
* The chemistry is worked out once, along the carbon taken up; time follows by adding up carbon over uptake
  (`feedcalc.physics.gas_uptake`). Slow and fast share the same chemistry.
* The vessel's content is taken as mixed and keeps its water: it is covered against rain and tops nothing up.
* Ash's free lime turns its alkali carbonate to hydroxide: `caustic_switch` shows the turn, which decides corrosive
  or not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from math import inf

from feedcalc import published
from feedcalc.chemistry import Equilibrium, equilibrate
from feedcalc.garden.ash import AshSample
from feedcalc.garden.water import Water
from feedcalc.liquor.steeping import JUDGED_AT_KELVIN, Liquor, steep
from feedcalc.physics.gas_uptake import (
    LITRES_PER_M3,
    Surface,
    air_velocity,
    uptake_mol_per_m2_second,
    uptake_past_the_film,
    water_velocity,
)
from feedcalc.uncertainty.estimates import Estimate

SECONDS_PER_DAY = 86400.0
# What can fall out of clear liquor as it takes up carbon dioxide.
STANDING_MINERALS = ("calcite", "brucite")
_STEPS = 48  # along the carbon; twice as many move no day by more than a hundredth
_LEAST_CARBON = 1e-9  # mol/kg: so that an exhausted caustic liquor still has a carbon dioxide pressure


@dataclass(frozen=True, slots=True)
class DayOfStanding:
    """One row: days since the liquor was poured off, its pH and its alkalinity in mg/L as CaCO3."""

    days: float
    ph: Estimate
    alkalinity: Estimate


@dataclass(frozen=True, slots=True)
class StandingLiquor:
    """A liquor standing: ``rows`` by day, the pH at the start and at peace with the air.

    ``slow``, ``typical`` and ``fast`` are the same path as (days, pH), each ascending in days.
    """

    rows: tuple[DayOfStanding, ...]
    ph_at_first: float
    ph_in_the_end: float
    slow: tuple[tuple[float, float], ...]
    typical: tuple[tuple[float, float], ...]
    fast: tuple[tuple[float, float], ...]

    def days_until(self, ph: float) -> tuple[float | None, float | None, float | None]:
        """Days until the pH has fallen to ``ph``: soonest, typical, latest; None where it never gets there, 0 if it
        has.
        """
        return (_days_until(self.fast, ph), _days_until(self.typical, ph), _days_until(self.slow, ph))


@dataclass(frozen=True, slots=True)
class CausticSwitch:
    """What free lime does to a liquor of a given strength.

    ``rows`` of (share of the calcium that is free lime, pH, share of the alkalinity that is hydroxide).
    ``corrosive_from`` is the share from which the liquor counts as corrosive (pH ``corrosive_ph``): 0 where it
    always does, None where never.
    """

    rows: tuple[tuple[float, float, float], ...]
    corrosive_ph: float
    corrosive_from: float | None


def standing_in_air_over_days(
    liquor: Liquor,
    surface_m2: float,
    litres: float,
    temperature_kelvin: float,
    days: Sequence[float],
    is_covered: bool = False,
    carbon_dioxide_atm: float | None = None,
) -> StandingLiquor:
    """pH of ``litres`` of clear liquor with ``surface_m2`` open to the air, at each of ``days``.

    Under a cover the air reaches it slowly or not at all. ``carbon_dioxide_atm`` is that of the air, by default the
    outdoor one of ``batch_rules.csv``; a shut shed holds more. Raises `ValueError` where surface, volume or a day
    isn't in range.
    """
    if not (surface_m2 > 0.0 and litres > 0.0):
        raise ValueError(f"surface and volume must be above 0, got {surface_m2!r} m2 and {litres!r} L")
    if any(day < 0.0 for day in days):
        raise ValueError("days cannot lie before the start")
    air = outdoor_carbon_dioxide() if carbon_dioxide_atm is None else carbon_dioxide_atm
    # Every pH here is that at 25 degC, by which liquor is judged; only the rates follow the temperature of the shed.
    path = _path(liquor, JUDGED_AT_KELVIN, air)
    kilograms_per_m2 = litres / liquor.equilibrium.litres / surface_m2
    in_water, in_air = water_velocity(temperature_kelvin), air_velocity(is_covered)
    slow, typical, fast = (
        _times(path, kilograms_per_m2, air, water, above, temperature_kelvin)
        for water, above in (
            (in_water.low, in_air.low),
            (in_water.typical, in_air.typical),
            (in_water.high, in_air.high),
        )
    )
    ph = [state.ph for _, state in path]
    alkalinity = [Liquor(state).alkalinity for _, state in path]
    rows = tuple(
        DayOfStanding(day, *(_range(values, (slow, typical, fast), day) for values in (ph, alkalinity))) for day in days
    )
    traces = [tuple(zip(times, ph, strict=True)) for times in (slow, typical, fast)]
    return StandingLiquor(rows, ph[0], _at_peace(liquor, JUDGED_AT_KELVIN, air).ph, *traces)


def hydroxide_share(liquor: Liquor) -> float:
    """Share (0 to 1) of a liquor's alkalinity that is hydroxide, the caustic part; the rest is mostly carbonate."""
    alkalinity = liquor.equilibrium.alkalinity
    if alkalinity <= 0.0:
        return 0.0
    return min(liquor.equilibrium.molality["OH-"] / alkalinity, 1.0)


def caustic_switch(
    sample: AshSample,
    grams_per_kilogram: float,
    water: Water,
    temperature_kelvin: float,
    hours: float,
    highest_share: float = 0.6,
    count: int = 25,
) -> CausticSwitch:
    """pH against the share of the ash's calcium that is free lime, for ``grams_per_kilogram`` of ash in water.

    Free lime slakes and takes the carbonate out of the liquor as chalk: Ca(OH)2 + K2CO3 -> CaCO3 + 2 KOH. The curve
    climbs steeply until the carbonate is spent, then stays. ``count`` points up to ``highest_share``.
    """

    def liquor_with(share: float) -> Liquor:
        return steep(replace(sample, free_lime=share), grams_per_kilogram, water, temperature_kelvin, hours).liquor

    shares = [highest_share * i / (count - 1) for i in range(count)]
    liquors = [liquor_with(share) for share in shares]
    rows = tuple((share, liquor.ph_25, hydroxide_share(liquor)) for share, liquor in zip(shares, liquors, strict=True))
    limit = corrosive_ph()
    above = next((i for i, row in enumerate(rows) if row[1] >= limit), None)
    if above is None or above == 0:
        return CausticSwitch(rows, limit, None if above is None else 0.0)
    low, high = rows[above - 1][0], rows[above][0]
    while high - low > 1e-3:
        middle = (low + high) / 2
        if liquor_with(middle).ph_25 >= limit:
            high = middle
        else:
            low = middle
    return CausticSwitch(rows, limit, high)


@cache
def corrosive_ph() -> float:
    """The pH from which a liquor counts as corrosive (``hazard_classes.csv``)."""
    return next(float(row["ph_low"]) for row in published.table("hazard_classes") if row["class"] == "corrosive")


@cache
def outdoor_carbon_dioxide() -> float:
    """Pressure of carbon dioxide in outdoor air, atm (``batch_rules.csv``)."""
    return next(
        float(row["value"]) for row in published.table("batch_rules") if row["quantity"] == "outdoor_carbon_dioxide"
    )


def _at_peace(liquor: Liquor, kelvin: float, air: float) -> Equilibrium:
    return equilibrate(liquor.equilibrium.dissolved, kelvin, STANDING_MINERALS, air)


def _path(liquor: Liquor, kelvin: float, air: float) -> list[tuple[float, Equilibrium]]:
    """States from first to last by total carbon (dissolved and fallen out), mol per kg of water.

    Steps shrink towards the end, which is only ever approached.
    """
    totals = dict(liquor.equilibrium.dissolved)
    first = max(totals["carbon"], _LEAST_CARBON)
    end = _at_peace(liquor, kelvin, air)
    last = end.dissolved["carbon"] + end.formed["calcite"]
    path: list[tuple[float, Equilibrium]] = []
    nearby = liquor.equilibrium
    for step in range(_STEPS):
        left = (1.0 - step / _STEPS) ** 2
        carbon = last + (first - last) * left
        nearby = equilibrate({**totals, "carbon": carbon}, kelvin, STANDING_MINERALS, nearby=nearby)
        path.append((carbon, nearby))
    return path


def _times(
    path: Sequence[tuple[float, Equilibrium]],
    kilograms_per_m2: float,
    air: float,
    water: float,
    above: float,
    kelvin: float,
) -> list[float]:
    """Days at which each state of ``path`` is reached; infinite where nothing gets in."""
    at_surface = [uptake_mol_per_m2_second(_surface(state), air, water, above, kelvin) for _, state in path]
    carbon = [amount / state.litres * LITRES_PER_M3 for amount, state in path]
    speeds = uptake_past_the_film(carbon, at_surface, water)
    days = [0.0]
    for ((earlier, _), (later, _)), (before, after) in zip(pairwise(path), pairwise(speeds), strict=True):
        if before * (later - earlier) <= 0.0 or after * (later - earlier) <= 0.0:
            days.append(inf)
            continue
        # Trapezium rule on carbon over uptake.
        seconds = (later - earlier) * kilograms_per_m2 * (1.0 / before + 1.0 / after) / 2
        days.append(days[-1] + seconds / SECONDS_PER_DAY)
    return days


def _surface(state: Equilibrium) -> Surface:
    per_litre = state.water_kg / state.litres
    carbon_dioxide = state.molality["CO2"] * per_litre
    hydroxide = state.molality["OH-"] * per_litre
    carbonates = (state.molality["HCO3-"] + state.molality["CO3-2"]) * per_litre
    return Surface(
        hydroxide,
        carbon_dioxide,
        carbon_dioxide / state.carbon_dioxide_atm,
        carbon_dioxide / carbonates,
    )


def _range(values: Sequence[float], paths: Sequence[Sequence[float]], day: float) -> Estimate:
    slow, typical, fast = (_value_at(values, times, day) for times in paths)
    return Estimate(min(slow, typical, fast), typical, max(slow, typical, fast))


def _value_at(values: Sequence[float], times: Sequence[float], day: float) -> float:
    """Value at a day, linear between states; the last state stands for all later days."""
    for i in range(1, len(times)):
        if times[i] >= day:
            if times[i] == inf:
                return values[i - 1]
            share = (day - times[i - 1]) / (times[i] - times[i - 1])
            return values[i - 1] + share * (values[i] - values[i - 1])
    return values[-1]


def _days_until(trace: Sequence[tuple[float, float]], ph: float) -> float | None:
    if trace[0][1] <= ph:
        return 0.0
    for (before, higher), (after, lower) in pairwise(trace):
        if lower <= ph:
            if after == inf:
                return None
            return before + (higher - ph) / (higher - lower) * (after - before)
    return None
