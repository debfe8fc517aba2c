"""Rate of carbon dioxide exchange between still water and the air above it.

* Two-film theory (Lewis and Whitman): the resistances of a liquid film and a gas film add up. In caustic water the gas
  reacts within the liquid film, which enhances uptake about a hundredfold; then the gas film limits the rate, and the
  transport of the products into the bulk.
* The bulk is taken as mixed, since cooling of the vessel stirs it. Transfer velocities are uncertain and are given as
  low, typical and high.
* Numbers are in ``published/gas_transfer.csv``. Units are SI; amounts of gas are in mol.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import cache

from feedcalc import published
from feedcalc.frozen import frozen
from feedcalc.physics.water import density_kg_per_m3, viscosity_pascal_second
from feedcalc.uncertainty.estimates import Estimate

SECONDS_PER_HOUR = 3600.0
LITRES_PER_M3 = 1000.0


@frozen
class Surface:
    """The state of the water at the surface: [OH-] and [CO2] in mol/L, and Henry's constant in mol/(L atm).

    ``bound_ratio`` is [CO2] / ([HCO3-] + [CO3--]).
    """

    hydroxide: float
    carbon_dioxide: float
    solubility: float
    bound_ratio: float


@frozen
class Uptake:
    """Flux of carbon dioxide into the water in mol/(m2 s), negative if it escapes.

    ``reacted`` is the part that reacts to carbonate in the liquid film.
    """

    total: float
    reacted: float


def hydroxide_rate_constant(temperature_kelvin: float) -> float:
    """Return the rate constant of CO2 + OH- -> HCO3- in L/(mol s), 0 to 40 degC (Pinsent and others 1956).

    >>> round(hydroxide_rate_constant(298.15), -2)
    8400.0
    """
    return float(10.0 ** (_value("hydroxide_constant") - _value("hydroxide_slope") / temperature_kelvin))


def hydration_rate_constant(temperature_kelvin: float) -> float:
    """Return the rate constant of CO2 + H2O in 1/s, 5 to 35 degC (Johnson 1982).

    >>> round(hydration_rate_constant(298.15), 3)
    0.037
    """
    return math.exp(
        _value("hydration_constant")
        - _value("hydration_slope") / temperature_kelvin
        - _value("hydration_log") * math.log(temperature_kelvin)
    )


def carbon_dioxide_diffusivity(temperature_kelvin: float) -> float:
    """Return the diffusion coefficient of carbon dioxide in water in m2/s (Versteeg and van Swaaij 1988).

    >>> round(carbon_dioxide_diffusivity(298.15) * 1e9, 2)
    1.93
    """
    return _value("diffusion_constant") * math.exp(-_value("diffusion_slope") / temperature_kelvin)


def litres_of_gas_per_mol(temperature_kelvin: float) -> float:
    """Return the molar volume of an ideal gas at 1 atm in L/mol (that of carbon dioxide is 0.5 % smaller).

    >>> round(litres_of_gas_per_mol(273.15), 2)
    22.41
    """
    return _value("gas_constant") * temperature_kelvin / _value("atmosphere") * LITRES_PER_M3


def water_velocity(temperature_kelvin: float) -> Estimate:
    """Return the liquid-side transfer velocity without reaction in m/s: the published one x (Schmidt / 600)^-0.5."""
    kinematic = viscosity_pascal_second(temperature_kelvin) / density_kg_per_m3(temperature_kelvin)
    schmidt = kinematic / carbon_dioxide_diffusivity(temperature_kelvin)
    return _estimate("water_velocity").scaled((schmidt / _value("schmidt_number")) ** -0.5 / (100 * SECONDS_PER_HOUR))


def air_velocity(is_covered: bool) -> Estimate:
    """Return the gas-side transfer velocity in m/s; a lid reduces it, at the low end to 0."""
    uncovered = _estimate("air_velocity")
    if not is_covered:
        return uncovered
    share = _estimate("cover_share")
    return Estimate(uncovered.low * share.low, uncovered.typical * share.typical, uncovered.high * share.high)


def enhancement(surface: Surface, velocity_m_per_s: float, temperature_kelvin: float) -> float:
    """Return the enhancement factor of reaction on transfer through the liquid film (dimensionless).

    E = t / (t - 1 + tanh(q) / q) with q = (r t D)^0.5 / k, r = k_hydration + k_hydroxide [OH-]
    and t = 1 + [CO2] / ([HCO3-] + [CO3--]); for t = 1, q is the Hatta number. Hoover and Berkshire 1969.

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
    """Return the flux into water with this surface: (H p - c) / (1 / (k_w E) + H R T / k_a), E from `enhancement`.

    Concentrations in mol/m3, velocities in m/s. The flux is 0 if ``air_velocity_m_per_s`` is 0.
    """
    if air_velocity_m_per_s == 0.0:
        return Uptake(0.0, 0.0)
    difference = (surface.solubility * air_carbon_dioxide_atm - surface.carbon_dioxide) * LITRES_PER_M3
    factor = enhancement(surface, water_velocity_m_per_s, temperature_kelvin)
    liquid_resistance = 1.0 / (water_velocity_m_per_s * factor)
    gas_resistance = surface.solubility * litres_of_gas_per_mol(temperature_kelvin) / air_velocity_m_per_s
    uptake = difference / (liquid_resistance + gas_resistance)
    return Uptake(uptake, uptake * (1.0 - 1.0 / factor))


def uptake_past_the_film(
    carbon_mol_per_m3: Sequence[float], at_surface: Sequence[Uptake], water_velocity_m_per_s: float
) -> Iterator[float]:
    """Yield the flux in mol/(m2 s) for a bulk in each state of ``carbon_mol_per_m3``, negative if gas escapes.

    The products of the reaction must diffuse through the liquid film, so the surface is ahead of the bulk on the same
    sequence of states: k_w (c_surface - c_bulk) = reacted flux. ``at_surface`` holds the flux of a surface in each
    state; between states the solution is interpolated linearly. No state beyond that of the surface is looked at.
    """
    for bulk, carbon in enumerate(carbon_mol_per_m3):
        previous_gap = -abs(at_surface[bulk].reacted)
        for ahead in range(bulk + 1, len(at_surface)):
            transported = water_velocity_m_per_s * abs(carbon_mol_per_m3[ahead] - carbon)
            gap = transported - abs(at_surface[ahead].reacted)
            if gap >= 0.0:
                share = 0.0 if gap == previous_gap else -previous_gap / (gap - previous_gap)
                previous, current = at_surface[ahead - 1].total, at_surface[ahead].total
                yield previous + share * (current - previous)
                break
            previous_gap = gap
        else:
            yield at_surface[-1].total


@cache
def _estimate(name: str) -> Estimate:
    return published.estimate(published.row("gas_transfer", name))


def _value(name: str) -> float:
    return _estimate(name).typical
