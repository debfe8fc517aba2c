"""Liquor exposed to air: how its pH falls as it takes up CO2. Also the effect of free lime on how caustic it is.

* Both ends are equilibria: the liquor as poured off and the liquor in equilibrium with air. The rate in between is
  known only roughly, so times come as low, typical and high.
* The chemistry is computed once along the carbon taken up. Time follows by integrating carbon over the uptake rate
  (`feedcalc.physics.gas_uptake`).
* The vessel counts as well mixed. Evaporation and rain are neglected.
* Free lime turns alkali carbonate into hydroxide (`caustic_switch`), which decides whether a liquor is corrosive.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import cache, lru_cache
from itertools import pairwise
from math import inf
from typing import Any, TypeVar

from feedcalc import published
from feedcalc.chemistry import Equilibrium, equilibrate
from feedcalc.frozen import frozen
from feedcalc.garden.ash import AshSample
from feedcalc.garden.water import Water
from feedcalc.liquor.steeping import JUDGED_AT_KELVIN, Liquor, steep
from feedcalc.liquor.vessel import rules
from feedcalc.physics.gas_uptake import (
    LITRES_PER_M3,
    Surface,
    air_velocity,
    uptake_mol_per_m2_second,
    uptake_past_the_film,
    water_velocity,
)
from feedcalc.uncertainty.estimates import Estimate

Item = TypeVar("Item")
SECONDS_PER_DAY = 86400.0
# Minerals that can precipitate from clear liquor as it takes up carbon dioxide.
AIR_MINERALS = ("calcite", "brucite")
_STEPS = 48  # along the carbon; doubling them changes no time by more than 1 %
_LEAST_CARBON = 1e-9  # mol/kg: so that an exhausted caustic liquor still has a carbon dioxide pressure


@frozen
class DayInAir:
    """Days since the liquor was poured off, with its pH and its alkalinity in mg/L as CaCO3."""

    days: float
    ph: Estimate
    alkalinity: Estimate


@frozen
class AirExposure:
    """A liquor exposed to air: ``rows`` by day, and the pH at the start and in equilibrium with the air.

    ``slow``, ``typical`` and ``fast`` are the course of the pH at three rates, as (days, pH) with ascending days.
    """

    rows: tuple[DayInAir, ...]
    ph_at_first: float
    ph_in_the_end: float
    slow: tuple[tuple[float, float], ...]
    typical: tuple[tuple[float, float], ...]
    fast: tuple[tuple[float, float], ...]

    def days_until(self, ph: float) -> tuple[float | None, float | None, float | None]:
        """Return the days until the pH has fallen to ``ph``, fast, typical and slow; None where it never does."""
        return (_days_until(self.fast, ph), _days_until(self.typical, ph), _days_until(self.slow, ph))


@frozen
class CausticSwitch:
    """The effect of free lime on a liquor of a given strength.

    ``rows`` are (share of the calcium that is free lime, pH, share of the alkalinity that is hydroxide).
    ``corrosive_from`` is the share of free lime from which the pH reaches ``corrosive_ph``: 0 where it always does,
    None where it never does.
    """

    rows: tuple[tuple[float, float, float], ...]
    corrosive_ph: float
    corrosive_from: float | None


def exposure_to_air(
    liquor: Liquor,
    surface_m2: float,
    litres: float,
    temperature_kelvin: float,
    days: Sequence[float],
    is_covered: bool = False,
    carbon_dioxide_atm: float | None = None,
) -> AirExposure:
    """Return the pH and alkalinity of ``litres`` of clear liquor on each of ``days``, its surface exposed to air.

    Under a cover air reaches the surface slowly or not at all. ``carbon_dioxide_atm`` is the partial pressure in the
    air, by default that outdoors. Raises `ValueError` unless surface and volume are positive and no day is negative.
    """
    if any(day < 0.0 for day in days):
        raise ValueError("days cannot lie before the start")
    air = outdoor_carbon_dioxide() if carbon_dioxide_atm is None else carbon_dioxide_atm
    end = liquor_in_equilibrium_with_air(liquor, JUDGED_AT_KELVIN, air)
    path = list(_path(liquor, end))
    courses = _at_three_rates(path, liquor, surface_m2, litres, temperature_kelvin, air, is_covered)
    slow, typical, fast = (list(course) for course in courses)
    ph = [state.ph for _, state in path]
    alkalinity = [Liquor(state).alkalinity for _, state in path]
    rates = (slow, typical, fast)
    traces = [tuple(zip(times, ph, strict=True)) for times in rates]
    return AirExposure(
        rows=tuple(DayInAir(day, _range(ph, rates, day), _range(alkalinity, rates, day)) for day in days),
        ph_at_first=ph[0],
        ph_in_the_end=end.equilibrium.ph,
        slow=traces[0],
        typical=traces[1],
        fast=traces[2],
    )


@lru_cache(maxsize=1)  # the three replies to a batch ask for the same feed
def days_in_air_until(
    liquor: Liquor, ph: float, surface_m2: float, litres: float, temperature_kelvin: float
) -> tuple[float | None, float | None, float | None]:
    """Return `AirExposure.days_until` for an open vessel outdoors; the course is not worked out further than that.

    Raises `ValueError` unless surface and volume are positive.
    """
    air = outdoor_carbon_dioxide()
    path = _OnDemand(_STEPS, _path(liquor, liquor_in_equilibrium_with_air(liquor, JUDGED_AT_KELVIN, air)))
    slow, typical, fast = (
        _days_until(zip(course, (state.ph for _, state in path), strict=True), ph)
        for course in _at_three_rates(path, liquor, surface_m2, litres, temperature_kelvin, air)
    )
    return fast, typical, slow


class _OnDemand(Sequence[Item]):
    """A sequence of known length, whose items are worked out in order, each when it is first asked for."""

    def __init__(self, length: int, items: Iterator[Item]) -> None:
        self._length, self._items = length, items
        self._known: list[Item] = []

    def __len__(self) -> int:
        return self._length

    def __getitem__(self, place: Any) -> Any:
        wanted = range(self._length)[place]
        while len(self._known) <= wanted:
            self._known.append(next(self._items))
        return self._known[wanted]


def hydroxide_share(liquor: Liquor) -> float:
    """Return the share (0 to 1) of the alkalinity that is hydroxide, the caustic part; the rest is mostly carbonate."""
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
    """Return the pH as a function of the share of the ash's calcium that is free lime.

    Free lime slakes and precipitates the carbonate: Ca(OH)2 + K2CO3 -> CaCO3 + 2 KOH. The pH rises steeply until the
    carbonate is used up, then stays. ``grams_per_kilogram`` is the ash in each kilogram of water, ``hours`` the time of
    the steep. The curve has ``count`` points up to ``highest_share``.
    """

    def liquor_with(share: float) -> Liquor:
        limed = replace(sample, free_lime=share)
        return steep(limed, grams_per_kilogram, water, temperature_kelvin, hours=hours).liquor

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
    """Return the pH from which a liquor counts as corrosive (``hazard_classes.csv``)."""
    return next(float(row["ph_low"]) for row in published.table("hazard_classes") if row["class"] == "corrosive")


def outdoor_carbon_dioxide() -> float:
    """Return the partial pressure of CO2 in outdoor air in atm (``batch_rules.csv``)."""
    return rules()["outdoor_carbon_dioxide"]


def liquor_in_equilibrium_with_air(liquor: Liquor, kelvin: float, carbon_dioxide_atm: float) -> Liquor:
    """Return the liquor after days or weeks in open air, when it has taken up all the CO2 that it can hold."""
    return Liquor(equilibrate(liquor.equilibrium.dissolved, kelvin, AIR_MINERALS, carbon_dioxide_atm))


def _path(liquor: Liquor, end: Liquor) -> Iterator[tuple[float, Equilibrium]]:
    """Yield (total carbon in mol per kg of water, equilibrium) from the start towards the equilibrium with air.

    The end is approached but never reached, so the `_STEPS` steps shrink towards it. Liquor is judged by its pH at
    25 degC, so the chemistry is that of 25 degC; the rates follow the temperature.
    """
    totals = dict(liquor.equilibrium.dissolved)
    first = max(totals["carbon"], _LEAST_CARBON)
    last = end.equilibrium.dissolved["carbon"] + end.equilibrium.formed["calcite"]
    nearby = liquor.equilibrium
    for step in range(_STEPS):
        left = (1.0 - step / _STEPS) ** 2
        carbon = last + (first - last) * left
        nearby = equilibrate({**totals, "carbon": carbon}, JUDGED_AT_KELVIN, AIR_MINERALS, nearby=nearby)
        yield carbon, nearby


def _at_three_rates(
    path: Sequence[tuple[float, Equilibrium]],
    liquor: Liquor,
    surface_m2: float,
    litres: float,
    temperature_kelvin: float,
    air: float,
    is_covered: bool = False,
) -> Iterator[Iterator[float]]:
    """Yield the `_times` of a path where carbon dioxide is taken up slowly, as is typical, and fast."""
    if not (surface_m2 > 0.0 and litres > 0.0):
        raise ValueError(f"surface and volume must be above 0, got {surface_m2!r} m2 and {litres!r} L")
    kilograms_per_m2 = litres / liquor.equilibrium.litres / surface_m2
    in_water, in_air = water_velocity(temperature_kelvin), air_velocity(is_covered)
    for water, above in ((in_water.low, in_air.low), (in_water.typical, in_air.typical), (in_water.high, in_air.high)):
        yield _times(path, kilograms_per_m2, air, water=water, above=above, kelvin=temperature_kelvin)


def _times(
    path: Sequence[tuple[float, Equilibrium]],
    kilograms_per_m2: float,
    air: float,
    water: float,
    above: float,
    kelvin: float,
) -> Iterator[float]:
    """Yield the days at which each state of ``path`` is reached; infinite where no CO2 is taken up.

    ``water`` and ``above`` are transfer velocities in the water and in the air above it.
    """
    at_surface = _OnDemand(
        len(path), (uptake_mol_per_m2_second(_surface(state), air, water, above, kelvin) for _, state in path)
    )
    carbon = _OnDemand(len(path), (amount / state.litres * LITRES_PER_M3 for amount, state in path))
    speeds = uptake_past_the_film(carbon, at_surface, water)
    day = 0.0
    yield day
    for ((earlier, _), (later, _)), (before, after) in zip(pairwise(path), pairwise(speeds), strict=True):
        if before * (later - earlier) <= 0.0 or after * (later - earlier) <= 0.0:
            day = inf
        else:
            # Trapezoidal rule for the integral of d(carbon) / uptake.
            day += (later - earlier) * kilograms_per_m2 * (1.0 / before + 1.0 / after) / 2 / SECONDS_PER_DAY
        yield day


def _surface(state: Equilibrium) -> Surface:
    per_litre = state.water_kg / state.litres
    carbon_dioxide = state.molality["CO2"] * per_litre
    hydroxide = state.molality["OH-"] * per_litre
    carbonates = (state.molality["HCO3-"] + state.molality["CO3-2"]) * per_litre
    return Surface(hydroxide, carbon_dioxide, carbon_dioxide / state.carbon_dioxide_atm, carbon_dioxide / carbonates)


def _range(values: Sequence[float], paths: Sequence[Sequence[float]], day: float) -> Estimate:
    slow, typical, fast = (_value_at(values, times, day) for times in paths)
    return Estimate(min(slow, typical, fast), typical, max(slow, typical, fast))


def _value_at(values: Sequence[float], times: Sequence[float], day: float) -> float:
    """Return the value on a day by linear interpolation; after the last state its value holds."""
    for i in range(1, len(times)):
        if times[i] >= day:
            if times[i] == inf:
                return values[i - 1]
            share = (day - times[i - 1]) / (times[i] - times[i - 1])
            return values[i - 1] + share * (values[i] - values[i - 1])
    return values[-1]


def _days_until(trace: Iterable[tuple[float, float]], ph: float) -> float | None:
    for (before, higher), (after, lower) in pairwise(trace):
        if higher <= ph:  # from the start
            return 0.0
        if lower <= ph:
            return None if after == inf else before + (higher - ph) / (higher - lower) * (after - before)
    return None
