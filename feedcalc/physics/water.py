"""Density and viscosity of pure water at about one atmosphere.

* Temperatures are in kelvin, results in SI units.
* Coefficients are in ``published/water_properties.csv``; nothing is fitted here.
* Outside the range of a correlation a `ValueError` is raised; nothing is extrapolated.
"""

from __future__ import annotations

from functools import cache, lru_cache

from feedcalc import published

ZERO_CELSIUS_KELVIN = 273.15  # exact by definition of the Celsius scale
LOWEST_KELVIN = 273.15
HIGHEST_KELVIN = 373.15


@lru_cache(maxsize=64)
def density_kg_per_m3(temperature_kelvin: float) -> float:
    """Return the density of air-free water in kg/m3, Kell 1975, equation 16.

    rho = (a0 + a1 t + ... + a5 t^5) / (1 + b t), with t in degC. Stated for 0 to 150 degC, used here
    from 0 to 100 degC; within 0.01 kg/m3 of the later Tanaka 2001 table between 0 and 40 degC.
    Raises `ValueError` outside 273.15 to 373.15 K.

    >>> round(density_kg_per_m3(298.15), 2)
    997.04
    """
    _require_liquid(temperature_kelvin)
    celsius = temperature_kelvin - ZERO_CELSIUS_KELVIN
    numerator, denominator = _density_terms()
    polynomial = 0.0
    for coefficient in numerator:
        polynomial = polynomial * celsius + coefficient
    return polynomial / (1.0 + denominator * celsius)


@lru_cache(maxsize=64)
def viscosity_pascal_second(temperature_kelvin: float) -> float:
    """Return the dynamic viscosity of water at 0.1 MPa in Pa s, IAPWS supplementary release SR6-08.

    mu = 1e-6 * sum of a_i (T / 300 K)^b_i. Stated for 253.15 to 383.15 K, used here from 0 to 100 degC, where
    it agrees with the full formulation (IAPWS R12-08) within 0.01 %.
    Raises `ValueError` outside 273.15 to 373.15 K.

    >>> round(viscosity_pascal_second(293.15) * 1000, 4)
    1.0016
    """
    _require_liquid(temperature_kelvin)
    reduced = temperature_kelvin / 300.0
    micropascal_second = 0.0
    for coefficient, exponent in _viscosity_terms():
        micropascal_second += coefficient * reduced**exponent
    return micropascal_second * 1e-6


def _require_liquid(temperature_kelvin: float) -> None:
    if not LOWEST_KELVIN <= temperature_kelvin <= HIGHEST_KELVIN:
        raise ValueError(f"water properties hold from 273.15 to 373.15 K, got {temperature_kelvin!r}")


@cache
def _density_terms() -> tuple[tuple[float, ...], float]:
    """Return the numerator's coefficients from the highest power down, and the denominator's coefficient."""
    rows = [row for row in published.table("water_properties") if row["property"] == "density"]
    powers = {int(row["exponent"]): float(row["coefficient"]) for row in rows if row["role"] == "numerator"}
    (denominator,) = (float(row["coefficient"]) for row in rows if row["role"] == "denominator")
    return tuple(powers[power] for power in sorted(powers, reverse=True)), denominator


@cache
def _viscosity_terms() -> tuple[tuple[float, float], ...]:
    return tuple(
        (float(row["coefficient"]), float(row["exponent"]))
        for row in published.table("water_properties")
        if row["property"] == "viscosity"
    )
