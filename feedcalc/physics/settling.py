"""Settling of grains in still water: velocity, and the time until a depth is clear.

* Grains are described by their settling (Stokes) diameter: that of a sphere of equal density that settles as fast.
  Flat or porous grains settle more slowly than their sieve size suggests.
* A depth is clear of a size when grains of that size that started at the surface have passed it.
* Stokes' law with the drag correction of Schiller and Naumann 1933 for coarse grains; hindered settling by Richardson
  and Zaki 1954 or Brzinski and Durian 2018.
* The water is at rest and at one temperature. Convection, as in a bucket in the sun, keeps the finest grains up.
* Units are SI, except hours where the name says so. Constants are in ``published/settling_laws.csv``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import cache, lru_cache

from feedcalc import published
from feedcalc.frozen import frozen
from feedcalc.physics.water import density_kg_per_m3, viscosity_pascal_second

SECONDS_PER_HOUR = 3600.0
MAX_VOLUME_FRACTION = 0.4  # above it grains form a bed that consolidates instead of settling
SMALLEST_DIAMETER_M = 1e-8  # bounds of the search for a diameter
LARGEST_DIAMETER_M = 1e-3
MAX_SEARCH_STEPS = 100
SEARCH_TOLERANCE = 1e-13  # of the logarithm of the time


@frozen
class Settling:
    """Settling of one grain size in a suspension.

    ``velocity_m_per_s`` includes hindrance by other grains; ``reynolds`` and ``peclet`` are those of a single grain.
    ``stokes_holds``: Stokes' law alone suffices. ``too_fine``: Brownian motion and convection can keep the grain
    suspended for longer than calculated.
    """

    diameter_m: float
    velocity_m_per_s: float
    reynolds: float
    peclet: float
    stokes_holds: bool
    too_fine: bool


@frozen
class ClearingTrace:
    """Depth below the surface that is free of one grain size, at each of some times."""

    diameter_m: float
    hours: tuple[float, ...]
    clear_depth_m: tuple[float, ...]


def settling_velocity_stokes(
    diameter_m: float,
    particle_density_kg_per_m3: float,
    temperature_kelvin: float,
    liquid_density_kg_per_m3: float | None = None,
) -> float:
    """Return the terminal velocity of a single sphere in m/s, Stokes 1851: v = g (rho_s - rho) d^2 / (18 mu).

    Without ``liquid_density_kg_per_m3`` the liquid is pure water; its viscosity is always that of water. Valid for
    a Reynolds number below 0.2. Raises `ValueError` for a grain that does not sink, a diameter that is not above
    zero, or a temperature outside 273.15 to 373.15 K.

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
    """Return the terminal velocity of a single sphere in m/s with corrected drag: v (1 + 0.15 Re^0.687) = v_Stokes.

    Correlation of Schiller and Naumann 1933, for Re up to 800 (quartz in water: about 2 mm); approaches
    Stokes' law for small grains. Raises `ValueError` as `settling_velocity_stokes` does, and beyond Re = 800.

    >>> round(settling_velocity_schiller_naumann(2e-4, 2650, 293.15) * 1000, 1)  # mm a second
    24.8
    """
    stokes = settling_velocity_stokes(
        diameter_m, particle_density_kg_per_m3, temperature_kelvin, liquid_density_kg_per_m3
    )
    reynolds_per_velocity = grain_reynolds(diameter_m, 1.0, temperature_kelvin, liquid_density_kg_per_m3)
    law = _law("schiller_naumann")[0]
    velocity = stokes
    for _ in range(60):  # Newton from above on an increasing convex function never passes the root
        extra = law.value * (reynolds_per_velocity * velocity) ** law.exponent
        step = (velocity * (1.0 + extra) - stokes) / (1.0 + extra * (1.0 + law.exponent))
        velocity -= step
        if step <= 1e-14 * velocity:
            break
    if reynolds_per_velocity * velocity > law.highest:
        raise ValueError(f"a grain of {diameter_m!r} m sinks too fast for this law (Reynolds number above 800)")
    return velocity


def grain_reynolds(
    diameter_m: float, velocity_m_per_s: float, temperature_kelvin: float, liquid_density_kg_per_m3: float | None = None
) -> float:
    """Return the Reynolds number of a grain, rho v d / mu (dimensionless)."""
    liquid = _liquid_density(temperature_kelvin, liquid_density_kg_per_m3)
    return liquid * velocity_m_per_s * diameter_m / viscosity_pascal_second(temperature_kelvin)


def grain_peclet(diameter_m: float, velocity_m_per_s: float, temperature_kelvin: float) -> float:
    """Return the Péclet number of settling against Brownian diffusion: v a / D with D = kT / (6 pi mu a).

    a is the radius, as in Brzinski and Durian 2018 (from memory).
    """
    radius = diameter_m / 2.0
    drag = 6.0 * math.pi * viscosity_pascal_second(temperature_kelvin) * radius
    return velocity_m_per_s * radius * drag / (_constant("boltzmann") * temperature_kelvin)


def stokes_holds(reynolds: float) -> bool:
    """Return whether Stokes' law is accurate to about 4 % at this Reynolds number (below 0.2)."""
    return reynolds < _law("stokes")[0].highest


def hindered_share(volume_fraction: float, reynolds: float, peclet: float) -> float:
    """Return the hindered settling velocity over that of a single grain at ``volume_fraction`` phi: (1 - phi)^n.

    From Re = 0.2 n depends on the Reynolds number (Richardson and Zaki 1954), below on the Péclet number (Brzinski and
    Durian 2018): 5.6 below about 1e8, which includes every grain that clears slowly, and 4.48 above. Raises
    `ValueError` outside 0 to 0.4.

    >>> round(hindered_share(0.01, 7e-6, 17.0), 3)
    0.945
    """
    if not 0.0 <= volume_fraction <= MAX_VOLUME_FRACTION:
        raise ValueError(f"grains may fill 0 to {MAX_VOLUME_FRACTION} of the volume, got {volume_fraction!r}")
    return float((1.0 - volume_fraction) ** _hindered_exponent(reynolds, peclet))


@lru_cache(maxsize=1024)
def _hindered_exponent(reynolds: float, peclet: float) -> float:
    if stokes_holds(reynolds):
        return next(row.value for row in _law("brzinski_durian") if peclet < row.highest)
    row = next(row for row in _law("richardson_zaki") if reynolds < row.highest)
    return float(row.value * reynolds**row.exponent)


def settling(
    diameter_m: float,
    particle_density_kg_per_m3: float,
    temperature_kelvin: float,
    *,
    liquid_density_kg_per_m3: float | None = None,
    volume_fraction: float = 0.0,
) -> Settling:
    """Return how one grain size settles in a suspension in which all grains together fill ``volume_fraction``.

    Raises `ValueError` if one of its laws does.

    >>> clay = settling(2e-6, 2650, 293.15)
    >>> clay.stokes_holds, clay.too_fine
    (True, False)
    """
    alone, reynolds, peclet = _single_grain(
        diameter_m, particle_density_kg_per_m3, temperature_kelvin, liquid_density_kg_per_m3
    )
    return Settling(
        diameter_m=diameter_m,
        velocity_m_per_s=alone * hindered_share(volume_fraction, reynolds, peclet),
        reynolds=reynolds,
        peclet=peclet,
        stokes_holds=stokes_holds(reynolds),
        too_fine=diameter_m < _constant("smallest_grain") * 1e-6,
    )


@lru_cache(maxsize=1024)
def _single_grain(
    diameter_m: float,
    particle_density_kg_per_m3: float,
    temperature_kelvin: float,
    liquid_density_kg_per_m3: float | None,
) -> tuple[float, float, float]:
    """Return velocity in m/s, Reynolds and Péclet number of a grain on its own."""
    alone = settling_velocity_schiller_naumann(
        diameter_m, particle_density_kg_per_m3, temperature_kelvin, liquid_density_kg_per_m3
    )
    reynolds = grain_reynolds(diameter_m, alone, temperature_kelvin, liquid_density_kg_per_m3)
    return alone, reynolds, grain_peclet(diameter_m, alone, temperature_kelvin)


def clearing_time_hours(
    depth_m: float,
    diameter_m: float,
    particle_density_kg_per_m3: float,
    temperature_kelvin: float,
    *,
    liquid_density_kg_per_m3: float | None = None,
    volume_fraction: float = 0.0,
) -> float:
    """Return the hours until all grains of this size or larger have passed ``depth_m``: t = depth / velocity.

    Raises `ValueError` for a depth below zero and as `settling` does.

    >>> round(clearing_time_hours(0.10, 2e-6, 2650, 293.15), 2)  # the pipette of soil laboratories
    7.73
    """
    if depth_m < 0.0:
        raise ValueError(f"a depth can't be below zero, got {depth_m!r}")
    alone, reynolds, peclet = _single_grain(
        diameter_m, particle_density_kg_per_m3, temperature_kelvin, liquid_density_kg_per_m3
    )
    return depth_m / (alone * hindered_share(volume_fraction, reynolds, peclet)) / SECONDS_PER_HOUR


def cleared_diameter_m(
    depth_m: float,
    hours: float,
    particle_density_kg_per_m3: float,
    temperature_kelvin: float,
    *,
    liquid_density_kg_per_m3: float | None = None,
    volume_fraction: float = 0.0,
) -> float:
    """Return the smallest grain diameter in metres that has passed ``depth_m`` after ``hours``.

    The inverse of `clearing_time_hours` between 10 nanometres and 1 mm; beyond them the nearer end is returned. By
    steps that Stokes' law makes exact, the time being inverse to the square of the diameter, and by bisection where
    these leave the bracket. Where one law of hindered settling takes over from another (grains of 0.1 mm) the time
    jumps, and two diameters 1 % apart may both answer. Raises `ValueError` for a depth or time that is not above zero
    and as `settling` does.

    >>> round(cleared_diameter_m(0.25, 24, 2650, 288.15) * 1e6, 2)  # micrometres, a bucket after a day
    1.91
    """
    if depth_m <= 0.0 or hours <= 0.0:
        raise ValueError(f"depth and time must be above zero, got {depth_m!r} m and {hours!r} h")

    def ln_excess(ln_diameter: float) -> float:
        needed = clearing_time_hours(
            depth_m,
            math.exp(ln_diameter),
            particle_density_kg_per_m3,
            temperature_kelvin,
            liquid_density_kg_per_m3=liquid_density_kg_per_m3,
            volume_fraction=volume_fraction,
        )
        return math.log(needed / hours)

    too_small, large_enough = math.log(SMALLEST_DIAMETER_M), math.log(LARGEST_DIAMETER_M)
    excess = ln_excess(too_small)
    if excess <= 0.0:
        return SMALLEST_DIAMETER_M
    ln_diameter = too_small
    for _ in range(MAX_SEARCH_STEPS):
        ln_diameter += excess / 2.0
        if not too_small < ln_diameter < large_enough:
            ln_diameter = (too_small + large_enough) / 2.0
        excess = ln_excess(ln_diameter)
        if abs(excess) < SEARCH_TOLERANCE:
            return math.exp(ln_diameter)
        if excess > 0.0:
            too_small = ln_diameter
        else:
            large_enough = ln_diameter
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
    """Return, for a plot, the depth that is free of each grain size at each hour, at most ``depth_m``.

    Raises `ValueError` for a depth that is not above zero, an hour below zero, and as `settling` does.

    >>> clearing_traces([2e-6], 0.3, [0, 12, 24], 2650, 293.15)[0].clear_depth_m[-1]
    0.3
    """
    if depth_m <= 0.0 or any(hour < 0.0 for hour in hours):
        raise ValueError(f"depth must be above zero and no hour below, got {depth_m!r} m, {hours!r}")
    traces = []
    for diameter in diameters_m:
        grains = settling(
            diameter,
            particle_density_kg_per_m3,
            temperature_kelvin,
            liquid_density_kg_per_m3=liquid_density_kg_per_m3,
            volume_fraction=volume_fraction,
        )
        depths = tuple(min(depth_m, grains.velocity_m_per_s * hour * SECONDS_PER_HOUR) for hour in hours)
        traces.append(ClearingTrace(diameter, tuple(float(hour) for hour in hours), depths))
    return tuple(traces)


def _liquid_density(temperature_kelvin: float, given: float | None) -> float:
    return density_kg_per_m3(temperature_kelvin) if given is None else given


@cache
def grain_sizes_m() -> Mapping[str, float]:
    """Return the upper limits of clay, silt and sand and sieve openings in metres, by id in ``grain_sizes.csv``.

    >>> grain_sizes_m()["clay"]
    2e-06
    """
    return {row["id"]: float(row["micrometre"]) / 1e6 for row in published.table("grain_sizes")}


@frozen
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
