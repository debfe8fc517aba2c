"""Electrical conductivity from the ions of a solution.

Rules of this module:

* At infinite dilution and 25 degC each ion conducts z^2 F^2 D / (R T) (Nernst and Einstein), D its tracer
  diffusion coefficient.
* Over temperature that limit follows the measured curve of McCleskey and others 2012, used as a ratio; ions
  without a curve follow the viscosity of water (Walden's rule).
* With concentration each ion loses (B1 z limit + B2 z^2) sqrt(I) / (1 + B a sqrt(I)): Onsager's relaxation
  and drag with the denominator of Robinson and Stokes, a the distance of closest approach. B2 follows
  viscosity.
* Amounts count per litre of solution.

Why so: with distances in the order of the ions' sizes this meets published KCl from 5 to 40 degC, NaOH, HCl,
NaCl, CaCl2, MgCl2, KHCO3 and Ca(OH)2 up to 0.1 mol/L within 2 %, K2CO3 and mixtures of KOH and NaOH up to
0.4 mol/L within 3 %. The reference library's way (molality times a power of the activity coefficient) is as
good on KCl, but 9 to 12 % low on those hydroxides and leaves out CaOH+; McCleskey's own concentration terms
are 3 % low on NaCl and up to 17 % on sulfates unless his unphysical ion-pair values go with them. No
measured ash liquor was found to test against.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache

from feedcalc import published
from feedcalc.chemistry.activity import debye_huckel_slopes, water_constant
from feedcalc.chemistry.constants import REFERENCE_KELVIN, constant_set
from feedcalc.physics.water import ZERO_CELSIUS_KELVIN, viscosity_pascal_second


@dataclass(frozen=True, slots=True)
class _Ion:
    name: str
    charge: int
    limit: float
    denominator: float
    curve: tuple[float, ...]

    def at(self, celsius: float) -> tuple[float, float]:
        """Molar conductivity at infinite dilution and its slope with sqrt(I), mS/cm per mol/L."""
        fluidity = viscosity_pascal_second(REFERENCE_KELVIN) / viscosity_pascal_second(celsius + ZERO_CELSIUS_KELVIN)
        gain = _square(self.curve, celsius) / _square(self.curve, 25.0) if self.curve else fluidity
        relaxation = water_constant("relaxation_slope") * self.charge * self.limit * gain
        drag = water_constant("drag_slope") * self.charge**2 * fluidity
        return self.limit * gain, relaxation + drag


def conductivity_millisiemens_per_cm(
    molality: Mapping[str, float],
    ionic_strength: float,
    kg_water_per_litre: float,
    temperature_kelvin: float = REFERENCE_KELVIN,
) -> float:
    """Conductivity in mS/cm of ions at ``molality`` (mol per kg water) and ``ionic_strength`` (mol/kg).

    ``kg_water_per_litre`` is what a litre of the solution holds. The ions conduct as at
    ``temperature_kelvin``, whatever temperature they were speciated at. Meant for an ionic strength up to
    about 0.5 mol/kg, where it is some 5 % uncertain. An ion never counts below zero.

    >>> round(conductivity_millisiemens_per_cm({"K+": 0.01, "Cl-": 0.01}, 0.01, 0.9967), 2)
    1.41
    """
    root = math.sqrt(ionic_strength)
    sum_of_ions = 0.0
    ions = _ions_at(temperature_kelvin)
    for name, amount in molality.items():
        if name in ions:
            limit, slope, denominator = ions[name]
            sum_of_ions += amount * max(0.0, limit - slope * root / (1.0 + denominator * root))
    return sum_of_ions * kg_water_per_litre


@lru_cache(maxsize=256)
def _ions_at(temperature_kelvin: float) -> Mapping[str, tuple[float, float, float]]:
    """By ion: its molar conductivity at infinite dilution, its slope with sqrt(I), and B a."""
    celsius = temperature_kelvin - ZERO_CELSIUS_KELVIN
    return {ion.name: (*ion.at(celsius), ion.denominator) for ion in _ions()}


@cache
def _ions() -> tuple[_Ion, ...]:
    faraday = water_constant("elementary_charge") * water_constant("avogadro")
    gas_constant = water_constant("boltzmann") * water_constant("avogadro")
    factor = faraday * faraday / (gas_constant * REFERENCE_KELVIN)
    charges = {
        species.name: abs(species.charge) for name in ("database", "chosen") for species in constant_set(name).species
    }
    _, size_slope = debye_huckel_slopes(REFERENCE_KELVIN)
    ions = []
    for row in published.table("chem_conductivity"):
        charge = charges[row["species"]]
        limit = charge * charge * factor * float(row["diffusion"]) * 1e-9 * 1e4  # S m2/mol to mS/cm per mol/L
        curve = tuple(float(row[key]) for key in ("l2", "l1", "l0")) if row["l0"] else ()
        ions.append(_Ion(row["species"], charge, limit, size_slope * float(row["size"]), curve))
    return tuple(ions)


def _square(coefficients: tuple[float, ...], celsius: float) -> float:
    squared, linear, constant = coefficients
    return (squared * celsius + linear) * celsius + constant
