"""Electrical conductivity of a solution from its ions.

* Limiting molar conductivity at 25 degC: z^2 F^2 D / (R T) (Nernst and Einstein), D the tracer diffusion coefficient.
  Its temperature dependence is the ratio of the curves of McCleskey and others 2012, or else the viscosity of water
  (Walden's rule).
* Decrease with concentration: (B1 z limit + B2 z^2) sqrt(I) / (1 + B a sqrt(I)), Onsager's relaxation and
  electrophoretic terms with the denominator of Robinson and Stokes; a is the distance of closest approach, and B2
  follows viscosity. Amounts are per litre of solution.
* Accuracy, and the methods that were tried instead, are in ``README.md``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache, lru_cache

from feedcalc import published
from feedcalc.chemistry.activity import debye_huckel_slopes, water_constant
from feedcalc.chemistry.constants import REFERENCE_KELVIN, constant_set
from feedcalc.frozen import frozen
from feedcalc.physics.water import ZERO_CELSIUS_KELVIN, viscosity_pascal_second


@frozen
class _Ion:
    name: str
    charge: int
    limit: float
    denominator: float
    curve: tuple[float, ...]

    def at(self, celsius: float) -> tuple[float, float]:
        """Return the limiting molar conductivity and its slope with sqrt(I), in mS/cm per mol/L."""
        fluidity = viscosity_pascal_second(REFERENCE_KELVIN) / viscosity_pascal_second(celsius + ZERO_CELSIUS_KELVIN)
        ratio = _quadratic(self.curve, celsius) / _quadratic(self.curve, 25.0) if self.curve else fluidity
        relaxation = water_constant("relaxation_slope") * self.charge * self.limit * ratio
        drag = water_constant("drag_slope") * self.charge**2 * fluidity
        return self.limit * ratio, relaxation + drag


def conductivity_millisiemens_per_cm(
    molality: Mapping[str, float],
    ionic_strength: float,
    kg_water_per_litre: float,
    temperature_kelvin: float = REFERENCE_KELVIN,
) -> float:
    """Return the conductivity in mS/cm of ions at ``molality`` (mol per kg water) and ``ionic_strength`` (mol/kg).

    ``kg_water_per_litre`` is the water in a litre of solution. ``temperature_kelvin`` applies to the mobilities only,
    not to the speciation. Uncertain by about 5 % up to an ionic strength of 0.5 mol/kg. No ion counts below zero.

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
    """Return the limiting molar conductivity of each ion, its slope with sqrt(I), and B a."""
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


def _quadratic(coefficients: tuple[float, ...], celsius: float) -> float:
    squared, linear, constant = coefficients
    return (squared * celsius + linear) * celsius + constant
