"""Volume of a solution from pure water and the partial molar volumes of its species.

* Partial molar volumes depend on temperature and ionic strength in the form of Redlich and Rosenfeld, with the
  coefficients of Appelo, Parkhurst and Post 2014.
* Volumes are conventional, with 0 for H+, so only charge-balanced sums have a meaning. The solutions here are balanced.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache, lru_cache

from feedcalc import published
from feedcalc.chemistry.activity import (
    STANDARD_PRESSURE_BAR,
    born_function,
    debye_huckel_slopes,
    volume_slope,
    water_constant,
)
from feedcalc.chemistry.constants import constant_set
from feedcalc.physics.water import density_kg_per_m3

_CALORIE_PER_BAR_CM3 = 41.84  # cal/bar in cm3, by the definition of the calorie (4.184 J)


def solution_litres(molality: Mapping[str, float], ionic_strength: float, temperature_kelvin: float) -> float:
    """Return the litres of solution with one kilogram of water and ``molality`` (mol per kg water) of each species.

    >>> round(solution_litres({"K+": 0.1, "Cl-": 0.1}, 0.1, 298.15), 4)
    1.0057
    """
    root = math.sqrt(ionic_strength)
    cubic_cm = 0.0
    volumes = _volumes(temperature_kelvin)
    for name, amount in molality.items():
        if name in volumes:
            volume, charge_term, size, at_strength, power = volumes[name]
            if root:
                volume += charge_term * root / (1.0 + size * root) + at_strength * ionic_strength**power
            cubic_cm += amount * volume
    return 1000.0 / density_kg_per_m3(temperature_kelvin) + cubic_cm / 1000.0


@lru_cache(maxsize=256)
def _volumes(kelvin: float) -> Mapping[str, tuple[float, float, float, float, float]]:
    """Return by species the volume at infinite dilution and four coefficients of its dependence on ionic strength."""
    above = kelvin - water_constant("singular_kelvin")
    pressed = water_constant("singular_bar") + STANDARD_PRESSURE_BAR
    _, size_slope = debye_huckel_slopes(kelvin)
    volumes = {}
    for name, charge, (a1, a2, a3, a4, w, a0, i1, i2, i3, i4) in _coefficients():
        base = _CALORIE_PER_BAR_CM3 * (
            0.1 * a1 + 100.0 * a2 / pressed + a3 / above + 1e4 * a4 / (pressed * above) - w * born_function(kelvin)
        )
        volumes[name] = (
            base,
            0.5 * charge * charge * volume_slope(kelvin),
            size_slope * a0,
            i1 + i2 / above + i3 * above,
            i4,
        )
    return volumes


@cache
def _coefficients() -> tuple[tuple[str, int, tuple[float, ...]], ...]:
    charges = {
        species.name: species.charge for name in ("database", "chosen") for species in constant_set(name).species
    }
    columns = ("a1", "a2", "a3", "a4", "w", "a0", "i1", "i2", "i3", "i4")
    return tuple(
        (row["species"], charges[row["species"]], tuple(float(row[column]) for column in columns))
        for row in published.table("chem_volume")
    )
