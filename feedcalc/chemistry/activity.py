"""Activity coefficients of dissolved species and the activity of water.

* Charged species follow the extended Debye-Huckel law with a linear term (Truesdell and Jones 1974) if the
  table gives an ion size, else Davies 1962: log10 gamma = -A z^2 sqrt(I) / (1 + B a sqrt(I)) + b I.
  Davies is the same form with B a = 1 and b = 0.3 A z^2. Uncharged species: log10 gamma = 0.1 I.
* The slopes A and B follow from the density and dielectric constant of water at the temperature.
* Accurate to an ionic strength of about 0.5 mol/kg and useful to about 1; beyond that results are only indicative.
"""

from __future__ import annotations

import math
from functools import cache, lru_cache

from feedcalc import published
from feedcalc.chemistry.constants import LN10, Species
from feedcalc.physics.water import ZERO_CELSIUS_KELVIN, density_kg_per_m3

TRUSTED_IONIC_STRENGTH = 0.5
HIGHEST_IONIC_STRENGTH = 1.0
STANDARD_PRESSURE_BAR = 1.01325  # one atmosphere, exact by definition


@cache
def water_constant(name: str) -> float:
    """Return a value of ``published/chem_water.csv`` by its name."""
    return float(published.row("chem_water", name)["value"])


@lru_cache(maxsize=1024)
def dielectric_constant(temperature_kelvin: float, pressure_bar: float = STANDARD_PRESSURE_BAR) -> float:
    """Return the static dielectric constant of water, Bradley and Pitzer 1979 (equation in ``chem_water.csv``).

    Valid for 0 to 350 degC, up to 1 kbar.

    >>> round(dielectric_constant(298.15), 2)
    78.38
    """
    kelvin = temperature_kelvin
    u1, u2, u3, u4, u5, u6, u7, u8, u9 = (water_constant(f"u{index}") for index in range(1, 10))
    at_kilobar = u1 * math.exp(u2 * kelvin + u3 * kelvin * kelvin)
    slope = u4 + u5 / (u6 + kelvin)
    offset = u7 + u8 / kelvin + u9 * kelvin
    return at_kilobar + slope * math.log((offset + pressure_bar) / (offset + 1000.0))


@lru_cache(maxsize=1024)
def debye_huckel_slopes(temperature_kelvin: float) -> tuple[float, float]:
    """Return A in (kg/mol)^0.5 for log10, and B in (kg/mol)^0.5 per angstrom, at a temperature in kelvin and 1 atm.

    With the Bjerrum length q = e^2 / (4 pi eps0 eps k T): B = sqrt(8 pi N q rho), A = B q / (2 ln 10).

    >>> [round(slope, 4) for slope in debye_huckel_slopes(298.15)]
    [0.51, 0.3285]
    """
    charge = water_constant("elementary_charge")
    bjerrum_metre = (
        charge
        * charge
        / (
            4.0
            * math.pi
            * water_constant("vacuum_permittivity")
            * dielectric_constant(temperature_kelvin)
            * water_constant("boltzmann")
            * temperature_kelvin
        )
    )
    density = density_kg_per_m3(temperature_kelvin)
    per_metre = math.sqrt(8.0 * math.pi * water_constant("avogadro") * bjerrum_metre * density)
    return per_metre * bjerrum_metre / (2.0 * LN10), per_metre * 1e-10


def volume_slope(temperature_kelvin: float) -> float:
    """Return the Debye-Huckel slope of partial molar volumes at 1 atm in cm3/mol (kg/mol)^0.5, Redlich and Meyer 1964.

    Av = B q R T (d ln eps / dp - compressibility / 3), with B and q of `debye_huckel_slopes`; the
    compressibility of water by Kell 1975.

    >>> round(volume_slope(298.15), 2)
    1.87
    """
    slope, size_slope = debye_huckel_slopes(temperature_kelvin)
    per_metre = size_slope * 1e10
    bjerrum_metre = 2.0 * LN10 * slope / per_metre
    dielectric = dielectric_constant(temperature_kelvin)
    pascal = 1e5
    pressure_term = _dielectric_slope_per_bar(temperature_kelvin) / dielectric / pascal
    compressibility = _compressibility_per_bar(temperature_kelvin) / pascal
    gas_constant = water_constant("boltzmann") * water_constant("avogadro")
    cubic_metre = (
        per_metre * bjerrum_metre * gas_constant * temperature_kelvin * (pressure_term - compressibility / 3.0)
    )
    return cubic_metre * 1e6


def born_function(temperature_kelvin: float) -> float:
    """Return the pressure dependence of the Born term, (d eps / dp) / eps^2, in 1e-5 / bar as the tables' ``w``."""
    dielectric = dielectric_constant(temperature_kelvin)
    return _dielectric_slope_per_bar(temperature_kelvin) / dielectric**2 * 1e5


def _dielectric_slope_per_bar(kelvin: float) -> float:
    step = 1.0
    return (
        dielectric_constant(kelvin, STANDARD_PRESSURE_BAR + step)
        - dielectric_constant(kelvin, STANDARD_PRESSURE_BAR - step)
    ) / (2.0 * step)


def _compressibility_per_bar(kelvin: float) -> float:
    celsius = kelvin - ZERO_CELSIUS_KELVIN
    polynomial = 0.0
    for index in range(5, -1, -1):
        polynomial = polynomial * celsius + water_constant(f"squeeze{index}")
    return polynomial / (1.0 + water_constant("squeeze_denominator") * celsius) * 1e-6


ActivityLaw = tuple[float, float, float]


def activity_law(species: Species, temperature_kelvin: float) -> ActivityLaw:
    """Return (d, c, b) of ln gamma = -d sqrt(I) / (1 + c sqrt(I)) + b I for a species."""
    slope, size_slope = debye_huckel_slopes(temperature_kelvin)
    if species.charge == 0:
        return 0.0, 0.0, water_constant("uncharged_slope") * LN10
    leading = slope * species.charge**2 * LN10
    if species.ion_size_angstrom is None:
        return leading, 1.0, water_constant("davies_slope") * leading
    return leading, size_slope * species.ion_size_angstrom, (species.linear_term or 0.0) * LN10
