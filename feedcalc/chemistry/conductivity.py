"""Electrical conductivity from the ions of a solution.

Rules of this module:

* At infinite dilution each ion conducts z^2 F^2 D / (R T) (Nernst and Einstein), with its tracer diffusion coefficient D at
  25 degC from ``published/chem_conductivity.csv``.
* At concentration the ions hold each other back: each ion counts with its molality times its activity coefficient to a power, 0.6/sqrt|z|
  up to I = 0.36 |z| and sqrt(I)/|z| above (Appelo 2010).
* At another temperature all move by the viscosity of water (Walden's rule).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache, lru_cache

from feedcalc import published
from feedcalc.chemistry.activity import activity_law, water_constant
from feedcalc.chemistry.constants import REFERENCE_KELVIN, constant_set
from feedcalc.physics.water import viscosity_pascal_second


def conductivity_millisiemens_per_cm(
    molality: Mapping[str, float],
    ionic_strength: float,
    kg_water_per_litre: float,
    temperature_kelvin: float = REFERENCE_KELVIN,
) -> float:
    """Conductivity in mS/cm of ions at ``molality`` (mol per kg water) and ``ionic_strength`` (mol/kg).

    The ions conduct as at ``temperature_kelvin``, whatever temperature they were speciated at. Within 0.6 % of the KCl
    standards at 25 degC up to 0.1 mol/kg; meant for ionic strength up to about 0.5 mol/kg.
    """
    root = math.sqrt(ionic_strength)
    sum_of_ions = 0.0
    for name, charge, conductance, leading, size, linear in _ions():
        amount = molality.get(name, 0.0)
        if amount > 1e-12:
            ln_gamma = linear * ionic_strength - leading * root / (1.0 + size * root)
            power = 0.6 / math.sqrt(charge) if ionic_strength < 0.36 * charge else root / charge
            sum_of_ions += amount * conductance * math.exp(min(0.0, power * ln_gamma))
    return sum_of_ions * kg_water_per_litre * _viscosity_ratio(temperature_kelvin)


@cache
def _ions() -> tuple[tuple[str, int, float, float, float, float], ...]:
    """Name, charge number, molar conductivity at infinite dilution (mS/cm per mol/L), and activity law at 25 degC."""
    faraday = water_constant("elementary_charge") * water_constant("avogadro")
    gas_constant = water_constant("boltzmann") * water_constant("avogadro")
    factor = faraday * faraday / (gas_constant * REFERENCE_KELVIN)
    diffusion = {
        row["species"]: float(row["diffusion_1e9_m2_per_s"]) * 1e-9
        for row in published.table("chem_conductivity")
    }
    ions = {}
    for set_name in ("database", "chosen"):
        for species in constant_set(set_name).species:
            if species.name in diffusion:
                charge = abs(species.charge)
                siemens_square_metre = charge * charge * factor * diffusion[species.name]
                ions[species.name] = (
                    species.name,
                    charge,
                    siemens_square_metre * 1e4,
                    *activity_law(species, REFERENCE_KELVIN),
                )
    return tuple(ions.values())


@lru_cache(maxsize=256)
def _viscosity_ratio(temperature_kelvin: float) -> float:
    return viscosity_pascal_second(REFERENCE_KELVIN) / viscosity_pascal_second(temperature_kelvin)
