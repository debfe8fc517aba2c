"""How fast still water and the air above it trade carbon dioxide.

Rules of this module:

* Two films stand in line, one of water and one of air (Lewis and Whitman's picture). In caustic water the gas reacts
  within the water's film, which speeds it up a hundredfold; then the air's film decides, and how fast the water carries
  off what was formed.
* The bulk is taken as mixed: a vessel's own cooling stirs it. Velocities are known only roughly and come as
  low, typical and high.
* Numbers come from ``published/gas_transfer.csv``. Units are SI; amounts of gas are in mol.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from feedcalc import published
from feedcalc.physics.water import density_kg_per_m3, viscosity_pascal_second
from feedcalc.uncertainty.estimates import Estimate

SECONDS_PER_HOUR = 3600.0
LITRES_PER_M3 = 1000.0


@dataclass(frozen=True, slots=True)
class Surface:
    """What the water's side of the surface holds, in mol per litre and mol per litre and atm.

    ``hydroxide`` reacts with the gas; ``carbon_dioxide`` is dissolved as such, ``solubility`` is Henry's;
    ``bound_ratio`` is carbon dioxide over the carbonates (HCO3-, CO3--).
    """

    hydroxide: float
    carbon_dioxide: float
    solubility: float
    bound_ratio: float


@dataclass(frozen=True, slots=True)
class Uptake:
    """Carbon dioxide that crosses a square metre in a second, mol, negative where it leaves; ``reacted`` is the part
    of it that turns to carbonate in the water's film.
    """

    total: float
    reacted: float


def hydroxide_rate_constant(temperature_kelvin: float) -> float:
    """Rate constant of CO2 + OH- -> HCO3-, L/(mol s), 0 to 40 degC (Pinsent and others 1956).

    >>> round(hydroxide_rate_constant(298.15), -2)
    8400.0
    """
    return float(10.0 ** (_value("hydroxide_constant") - _value("hydroxide_slope") / temperature_kelvin))


def hydration_rate_constant(temperature_kelvin: float) -> float:
    """Rate constant of CO2 + H2O, 1/s, 5 to 35 degC (Johnson 1982).

    >>> round(hydration_rate_constant(298.15), 3)
    0.037
    """
    return math.exp(
        _value("hydration_constant")
        - _value("hydration_slope") / temperature_kelvin
        - _value("hydration_log") * math.log(temperature_kelvin)
    )


def carbon_dioxide_diffusivity(temperature_kelvin: float) -> float:
    """Diffusion coefficient of carbon dioxide in water, m2/s (Versteeg and van Swaaij 1988).

    >>> round(carbon_dioxide_diffusivity(298.15) * 1e9, 2)
    1.93
    """
    return _value("diffusion_constant") * math.exp(-_value("diffusion_slope") / temperature_kelvin)


def litres_of_gas_per_mol(temperature_kelvin: float) -> float:
    """Volume of a mol of gas at 1 atm, litres, as an ideal gas (carbon dioxide takes 0.5 % less).

    >>> round(litres_of_gas_per_mol(273.15), 2)
    22.41
    """
    return _value("gas_constant") * temperature_kelvin / _value("atmosphere") * LITRES_PER_M3


def water_velocity(temperature_kelvin: float) -> Estimate:
    """Transfer velocity on the water's side without reaction, m/s: the published one times (Schmidt / 600)^-0.5."""
    kinematic = viscosity_pascal_second(temperature_kelvin) / density_kg_per_m3(temperature_kelvin)
    schmidt = kinematic / carbon_dioxide_diffusivity(temperature_kelvin)
    return _estimate("water_velocity").scaled((schmidt / _value("schmidt_number")) ** -0.5 / (100 * SECONDS_PER_HOUR))


def air_velocity(is_covered: bool) -> Estimate:
    """Transfer velocity on the air's side, m/s; under a lid only what the lid lets by, down to nothing."""
    free = _estimate("air_velocity")
    if not is_covered:
        return free
    share = _estimate("cover_share")
    return Estimate(free.low * share.low, free.typical * share.typical, free.high * share.high)


def enhancement(surface: Surface, velocity_m_per_s: float, temperature_kelvin: float) -> float:
    """By how many times reaction speeds the gas through the water's film.

    Hoover and Berkshire 1969: t / (t - 1 + tanh(q) / q) with q = (r t D)^0.5 / k, r = k_hydration + k_hydroxide [OH-]
    and t = 1 + [CO2] / ([HCO3-] + [CO3--]); q is the Hatta number where t is 1.

    >>> lye = Surface(0.03, 0.0, 0.034, 0.0)
    >>> round(enhancement(lye, 1e-5, 298.15))
    70
    """
    rate = hydration_rate_constant(temperature_kelvin) + surface.hydroxide * hydroxide_rate_constant(temperature_kelvin)
    t = 1.0 + surface.bound_ratio
    q = math.sqrt(rate * t * carbon_dioxide_diffusivity(temperature_kelvin)) / velocity_m_per_s
    return t / (t - 1.0 + math.tanh(q) / q)


def uptake_mol_per_m2_second(
    surface: Surface,
    air_carbon_dioxide_atm: float,
    water_velocity_m_per_s: float,
    air_velocity_m_per_s: float,
    temperature_kelvin: float,
) -> Uptake:
    """What crosses a square metre whose surface water is ``surface``: (H p - c) / (1 / (k_w E) + H R T / k_a).

    The difference over both films in line, E as `enhancement`. Nothing passes where the air is shut off.
    """
    if air_velocity_m_per_s == 0.0:
        return Uptake(0.0, 0.0)
    difference = (surface.solubility * air_carbon_dioxide_atm - surface.carbon_dioxide) * LITRES_PER_M3
    faster = enhancement(surface, water_velocity_m_per_s, temperature_kelvin)
    in_water = 1.0 / (water_velocity_m_per_s * faster)
    in_air = surface.solubility * litres_of_gas_per_mol(temperature_kelvin) / air_velocity_m_per_s
    uptake = difference / (in_water + in_air)
    return Uptake(uptake, uptake * (1.0 - 1.0 / faster))


def uptake_past_the_film(
    carbon_mol_per_m3: Sequence[float], at_surface: Sequence[Uptake], water_velocity_m_per_s: float
) -> list[float]:
    """What a square metre takes up when the bulk is at each of ``carbon_mol_per_m3``, mol/s; negative where gas leaves.

    What reacted at the surface must be carried off through the water's film, so the surface runs ahead of the bulk
    on the same path of states: k_w (c_surface - c_bulk) = what reacted there. ``at_surface`` holds the uptake of a
    surface in each state.
    """
    past = []
    for bulk, carbon in enumerate(carbon_mol_per_m3):
        found = at_surface[-1].total
        gap_before = -abs(at_surface[bulk].reacted)
        for ahead in range(bulk + 1, len(at_surface)):
            carried = water_velocity_m_per_s * abs(carbon_mol_per_m3[ahead] - carbon)
            gap = carried - abs(at_surface[ahead].reacted)
            if gap >= 0.0:
                share = 0.0 if gap == gap_before else -gap_before / (gap - gap_before)
                before, after = at_surface[ahead - 1].total, at_surface[ahead].total
                found = before + share * (after - before)
                break
            gap_before = gap
        past.append(found)
    return past


@cache
def _rows() -> dict[str, Estimate]:
    return {row["id"]: published.estimate(row) for row in published.table("gas_transfer")}


def _estimate(name: str) -> Estimate:
    return _rows()[name]


def _value(name: str) -> float:
    return _rows()[name].typical
