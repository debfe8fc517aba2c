"""Grains sinking in still water: how fast, and how long until a depth is clear of them.

Rules of this room:

* A grain is told by its settling diameter: that of the sphere of equal density that sinks as fast. Flat or
  porous grains sink slower than their sieve size suggests.
* A size has left a depth when the last grain of it, started at the surface, has passed that depth.
* Stokes' law with the drag of Schiller and Naumann 1933 on top, so that coarse grains are not told too fast;
  a crowd of grains sinks slower by Richardson and Zaki 1954 or Brzinski and Durian 2018.
* The water stands still and at one temperature. A bucket in the sun stirs itself: the finest grains stay up.
* SI units, except hours where the name says so. Constants come from ``published/settling_laws.csv``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from feedcalc import published
from feedcalc.physics.water import density_kg_per_m3, viscosity_pascal_second

SECONDS_PER_HOUR = 3600.0
MOST_CROWDED = 0.4  # share of the volume; above it grains form a bed that is squeezed rather than settles
FINEST_SOUGHT_M = 1e-8
COARSEST_SOUGHT_M = 1e-3


@dataclass(frozen=True, slots=True)
class Settling:
    """How one size of grain sinks.

    ``velocity_m_per_s`` is that in the crowd, ``reynolds`` and ``peclet`` are those of the grain alone, and
    ``hindered_share`` is the factor the crowd puts on it. ``stokes_holds``: Stokes' law alone would do.
    ``too_fine``: Brownian movement and warm currents can keep the grain up for longer than told.
    """

    diameter_m: float
    velocity_m_per_s: float
    reynolds: float
    peclet: float
    hindered_share: float
    stokes_holds: bool
    too_fine: bool


@dataclass(frozen=True, slots=True)
class ClearingTrace:
    """Depth below the surface that is free of one size of grain, at each of some hours."""

    diameter_m: float
    hours: tuple[float, ...]
    clear_depth_m: tuple[float, ...]


def settling_velocity_stokes(
    diameter_m: float,
    particle_density_kg_per_m3: float,
    temperature_kelvin: float,
    liquid_density_kg_per_m3: float | None = None,
) -> float:
    """Terminal velocity of a lone sphere in m/s by Stokes 1851: v = g (rho_s - rho) d^2 / (18 mu).

    Without ``liquid_density_kg_per_m3`` the liquid is pure water; its viscosity is always that of water.
    Holds while `grain_reynolds` stays below 0.2. Raises `ValueError` for a grain that doesn't sink, a size
    that isn't above zero, or a temperature outside 273.15 to 373.15 K.

    >>> round(settling_velocity_stokes(2e-6, 2650, 293.15) * 1e6, 3)  # clay limit, micrometres a second
    3.594
    """
    liquid = _liquid_density(temperature_kelvin, liquid_density_kg_per_m3)
    excess = particle_density_kg_per_m3 - liquid
    if not (diameter_m > 0.0 and excess > 0.0 and liquid > 0.0):
        raise ValueError(f"{diameter_m!r} m of {particle_density_kg_per_m3!r} kg/m3 doesn't sink in {liquid!r} kg/m3")
    return _constant("gravity") * excess * diameter_m**2 / (18.0 * viscosity_pascal_second(temperature_kelvin))


def settling_velocity_schiller_naumann(
    diameter_m: float,
    particle_density_kg_per_m3: float,
    temperature_kelvin: float,
    liquid_density_kg_per_m3: float | None = None,
) -> float:
    """Terminal velocity of a lone sphere in m/s with drag beyond Stokes: v (1 + 0.15 Re^0.687) = v_Stokes.

    Correlation of Schiller and Naumann 1933, for Re up to 800 (quartz in water: about 2 mm); tends to Stokes
    for small grains. Raises `ValueError` as `settling_velocity_stokes` does, and beyond Re = 800.

    >>> round(settling_velocity_schiller_naumann(2e-4, 2650, 293.15) * 1000, 1)  # mm a second
    24.8
    """
    stokes = settling_velocity_stokes(
        diameter_m, particle_density_kg_per_m3, temperature_kelvin, liquid_density_kg_per_m3
    )
    reynolds_per_velocity = grain_reynolds(diameter_m, 1.0, temperature_kelvin, liquid_density_kg_per_m3)
    law = _law("schiller_naumann")[0]
    velocity = stokes
    for _ in range(60):  # Newton from above on a rising convex function: falls to the root and never past it
        extra = law.value * (reynolds_per_velocity * velocity) ** law.exponent
        step = (velocity * (1.0 + extra) - stokes) / (1.0 + extra * (1.0 + law.exponent))
        velocity -= step
        if step <= 1e-14 * velocity:
            break
    if reynolds_per_velocity * velocity > law.highest:
        raise ValueError(f"a grain of {diameter_m!r} m sinks too fast for this law (Reynolds number above 800)")
    return velocity


def grain_reynolds(
    diameter_m: float,
    velocity_m_per_s: float,
    temperature_kelvin: float,
    liquid_density_kg_per_m3: float | None = None,
) -> float:
    """Reynolds number of a grain, rho v d / mu (dimensionless)."""
    liquid = _liquid_density(temperature_kelvin, liquid_density_kg_per_m3)
    return liquid * velocity_m_per_s * diameter_m / viscosity_pascal_second(temperature_kelvin)


def grain_peclet(diameter_m: float, velocity_m_per_s: float, temperature_kelvin: float) -> float:
    """Péclet number of a grain, sinking against Brownian movement: v a / D with D = kT / (6 pi mu a).

    a is the radius: so in Brzinski and Durian 2018, from memory.
    """
    radius = diameter_m / 2.0
    drag = 6.0 * math.pi * viscosity_pascal_second(temperature_kelvin) * radius
    return velocity_m_per_s * radius * drag / (_constant("boltzmann") * temperature_kelvin)


def stokes_holds(reynolds: float) -> bool:
    """Whether Stokes' law alone is good to about 4 % at this Reynolds number (below 0.2)."""
    return reynolds < _law("stokes")[0].highest


def hindered_share(volume_fraction: float, reynolds: float, peclet: float) -> float:
    """Share of its lone speed that a grain keeps where grains fill ``volume_fraction``: (1 - phi)^n.

    n by Reynolds number after Richardson and Zaki 1954 where the grain drags a wake (Re from 0.2), else by
    Péclet number after Brzinski and Durian 2018: 5.6 below about 1e8, which is every grain that clears
    slowly, and 4.48 above. Raises `ValueError` outside 0 to 0.4.

    >>> round(hindered_share(0.01, 7e-6, 17.0), 3)
    0.945
    """
    if not 0.0 <= volume_fraction <= MOST_CROWDED:
        raise ValueError(f"grains may fill 0 to {MOST_CROWDED} of the volume, got {volume_fraction!r}")
    if stokes_holds(reynolds):
        exponent = next(row.value for row in _law("brzinski_durian") if peclet < row.highest)
    else:
        row = next(row for row in _law("richardson_zaki") if reynolds < row.highest)
        exponent = row.value * reynolds**row.exponent
    return float((1.0 - volume_fraction) ** exponent)


def settling(
    diameter_m: float,
    particle_density_kg_per_m3: float,
    temperature_kelvin: float,
    *,
    liquid_density_kg_per_m3: float | None = None,
    volume_fraction: float = 0.0,
) -> Settling:
    """How grains of one size sink in a suspension where all grains together fill ``volume_fraction``.

    Raises `ValueError` as the laws it rests on do.

    >>> clay = settling(2e-6, 2650, 293.15)
    >>> clay.stokes_holds, clay.too_fine
    (True, False)
    """
    alone = settling_velocity_schiller_naumann(
        diameter_m, particle_density_kg_per_m3, temperature_kelvin, liquid_density_kg_per_m3
    )
    reynolds = grain_reynolds(diameter_m, alone, temperature_kelvin, liquid_density_kg_per_m3)
    peclet = grain_peclet(diameter_m, alone, temperature_kelvin)
    share = hindered_share(volume_fraction, reynolds, peclet)
    return Settling(
        diameter_m=diameter_m,
        velocity_m_per_s=alone * share,
        reynolds=reynolds,
        peclet=peclet,
        hindered_share=share,
        stokes_holds=stokes_holds(reynolds),
        too_fine=diameter_m < _constant("smallest_grain") * 1e-6,
    )


def clearing_time_hours(
    depth_m: float,
    diameter_m: float,
    particle_density_kg_per_m3: float,
    temperature_kelvin: float,
    *,
    liquid_density_kg_per_m3: float | None = None,
    volume_fraction: float = 0.0,
) -> float:
    """Hours until every grain of this size or larger has sunk below ``depth_m``: t = depth / velocity.

    Raises `ValueError` for a depth below zero and as `settling` does.

    >>> round(clearing_time_hours(0.10, 2e-6, 2650, 293.15), 2)  # the pipette of soil laboratories
    7.73
    """
    if depth_m < 0.0:
        raise ValueError(f"a depth can't be below zero, got {depth_m!r}")
    sinking = settling(
        diameter_m,
        particle_density_kg_per_m3,
        temperature_kelvin,
        liquid_density_kg_per_m3=liquid_density_kg_per_m3,
        volume_fraction=volume_fraction,
    )
    return depth_m / sinking.velocity_m_per_s / SECONDS_PER_HOUR


def cleared_diameter_m(
    depth_m: float,
    hours: float,
    particle_density_kg_per_m3: float,
    temperature_kelvin: float,
    *,
    liquid_density_kg_per_m3: float | None = None,
    volume_fraction: float = 0.0,
) -> float:
    """Smallest grain, in metres, that has left ``depth_m`` after ``hours``.

    The inverse of `clearing_time_hours`. Sought between 10 nanometres and 1 mm; the nearer end is
    returned for what lies beyond.
    Raises `ValueError` for a depth or time that isn't above zero and as `settling` does.

    >>> round(cleared_diameter_m(0.25, 24, 2650, 288.15) * 1e6, 2)  # micrometres, a bucket after a day
    1.91
    """
    if depth_m <= 0.0 or hours <= 0.0:
        raise ValueError(f"depth and time must be above zero, got {depth_m!r} m and {hours!r} h")

    def left(diameter: float) -> bool:
        needed = clearing_time_hours(
            depth_m,
            diameter,
            particle_density_kg_per_m3,
            temperature_kelvin,
            liquid_density_kg_per_m3=liquid_density_kg_per_m3,
            volume_fraction=volume_fraction,
        )
        return needed <= hours

    too_small, large_enough = math.log(FINEST_SOUGHT_M), math.log(COARSEST_SOUGHT_M)
    if left(math.exp(too_small)):
        return FINEST_SOUGHT_M
    for _ in range(48):
        middle = (too_small + large_enough) / 2.0
        if left(math.exp(middle)):
            large_enough = middle
        else:
            too_small = middle
    return math.exp(large_enough)


def clearing_traces(
    diameters_m: Sequence[float],
    depth_m: float,
    hours: Sequence[float],
    particle_density_kg_per_m3: float,
    temperature_kelvin: float,
    *,
    liquid_density_kg_per_m3: float | None = None,
    volume_fraction: float = 0.0,
) -> tuple[ClearingTrace, ...]:
    """For each size of grain the depth that is free of it at each hour, at most ``depth_m``: for a picture.

    Raises `ValueError` for a depth that isn't above zero, an hour below zero, and as `settling` does.

    >>> clearing_traces([2e-6], 0.3, [0, 12, 24], 2650, 293.15)[0].clear_depth_m[-1]
    0.3
    """
    if depth_m <= 0.0 or any(hour < 0.0 for hour in hours):
        raise ValueError(f"depth must be above zero and no hour below, got {depth_m!r} m, {hours!r}")
    traces = []
    for diameter in diameters_m:
        sinking = settling(
            diameter,
            particle_density_kg_per_m3,
            temperature_kelvin,
            liquid_density_kg_per_m3=liquid_density_kg_per_m3,
            volume_fraction=volume_fraction,
        )
        depths = tuple(min(depth_m, sinking.velocity_m_per_s * hour * SECONDS_PER_HOUR) for hour in hours)
        traces.append(ClearingTrace(diameter, tuple(float(hour) for hour in hours), depths))
    return tuple(traces)


def _liquid_density(temperature_kelvin: float, given: float | None) -> float:
    return density_kg_per_m3(temperature_kelvin) if given is None else given


@cache
def grain_sizes_m() -> Mapping[str, float]:
    """Upper limits of clay, silt and sand and openings of test sieves, metres by id in ``grain_sizes.csv``.

    >>> grain_sizes_m()["clay"]
    2e-06
    """
    return {row["id"]: float(row["micrometre"]) / 1e6 for row in published.table("grain_sizes")}


@dataclass(frozen=True, slots=True)
class _Law:
    value: float
    exponent: float
    highest: float


@cache
def _law(name: str) -> tuple[_Law, ...]:
    return tuple(
        _Law(float(row["value"]), float(row["exponent"]), float(row["highest"] or math.inf))
        for row in published.table("settling_laws")
        if row["law"] == name
    )


def _constant(name: str) -> float:
    return _law(name)[0].value
