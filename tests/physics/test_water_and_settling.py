"""Density, viscosity and settling against published tables, other formulas and a reference library."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest
from iapws import IAPWS95
from iapws._iapws import _Liquid

from feedcalc.physics import settling
from feedcalc.physics.water import density_kg_per_m3, viscosity_pascal_second

PROPERTIES = {"density": (density_kg_per_m3, 1.0), "viscosity": (viscosity_pascal_second, 1e3)}


def rows_of(name):
    lines = Path(__file__).with_name(name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if line and not line.startswith("#")))


WATER = rows_of("water_tables.csv")
TIMES = rows_of("settling_times.csv")


@pytest.mark.parametrize(
    "row", WATER, ids=[f"{row['property']} {row['celsius']} degC: {row['citation']}" for row in WATER]
)
def test_water_agrees_with_the_printed_table(row):
    property_of, scale = PROPERTIES[row["property"]]
    ours = property_of(float(row["celsius"]) + 273.15) * scale
    assert ours == pytest.approx(float(row["value"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("celsius", [0.01, 5, 10, 15, 20, 25, 30, 35, 40, 60, 80, 99])
def test_water_agrees_with_the_full_international_formulation(celsius):
    """IAPWS-95 with R12-08, by the iapws package."""
    reference = IAPWS95(T=celsius + 273.15, P=0.101325)
    assert density_kg_per_m3(celsius + 273.15) == pytest.approx(reference.rho, abs=0.02)
    assert viscosity_pascal_second(celsius + 273.15) == pytest.approx(reference.mu, rel=1e-4)


@pytest.mark.parametrize("celsius", [0, 12.5, 25, 50, 99])
def test_viscosity_agrees_with_the_coefficients_of_the_release(celsius):
    """IAPWS SR6-08 as coded by the iapws package."""
    assert viscosity_pascal_second(celsius + 273.15) == pytest.approx(_Liquid(celsius + 273.15)["mu"], rel=1e-12)


@pytest.mark.parametrize("celsius", range(0, 41, 5))
def test_density_agrees_with_the_formula_of_tanaka_2001(celsius):
    """Tanaka et al., Metrologia 38 (2001) 301: constants read in three public codes that cite it."""
    thiesen = ((celsius - 3.983035) ** 2 * (celsius + 301.797)) / (522528.9 * (celsius + 69.34881))
    assert density_kg_per_m3(celsius + 273.15) == pytest.approx(999.974950 * (1 - thiesen), abs=0.004)


@pytest.mark.parametrize(
    "row",
    TIMES,
    ids=[f"{row['micrometre']} um {row['depth_cm']} cm {row['celsius']} degC: {row['citation']}" for row in TIMES],
)
def test_clearing_times_agree_with_published_pipette_times(row):
    hours = settling.clearing_time_hours(
        float(row["depth_cm"]) / 100, float(row["micrometre"]) * 1e-6, 2650, float(row["celsius"]) + 273.15
    )
    assert hours * 3600 == pytest.approx(float(row["seconds"]), rel=float(row["tolerance_percent"]) / 100)


@pytest.mark.parametrize("diameter_mm", [0.05, 0.063, 0.1, 0.2, 0.5, 1.0])
def test_coarse_spheres_sink_as_measured_by_gibbs_1971(diameter_mm):
    """Gibbs, Matthews and Link, J. Sedimentary Petrology 41 (1971) 7, fitted to glass spheres in water.

    Centimetres, grams and seconds; constants read in a public code that cites it after Komar 1981. The two
    correlations are independent and stay within 5 % of each other.
    """
    kelvin = 293.15
    viscosity, water = viscosity_pascal_second(kelvin) * 10, density_kg_per_m3(kelvin) / 1000
    radius = diameter_mm / 20
    root = math.sqrt(9 * viscosity**2 + 981 * radius**2 * water * (2.65 - water) * (0.015476 + 0.19841 * radius))
    gibbs_cm_per_s = (root - 3 * viscosity) / (water * (0.011607 + 0.14881 * radius))
    ours = settling.settling_velocity_schiller_naumann(diameter_mm / 1000, 2650, kelvin)
    assert ours * 100 == pytest.approx(gibbs_cm_per_s, rel=0.05)


def test_hindrance_in_dilute_suspensions_does_not_exceed_batchelor_1972():
    """Batchelor, J. Fluid Mechanics 52 (1972) 245: 1 - 6.55 phi for spheres at random (from memory)."""
    clay = settling.settling(2e-6, 2650, 293.15)
    for fraction in (0.001, 0.005, 0.01):
        share = settling.hindered_share(fraction, clay.reynolds, clay.peclet)
        assert 1 - 6.55 * fraction < share < 1 - 4.4 * fraction


@pytest.mark.parametrize(("reynolds", "exponent"), [(0.5, 4.35 * 0.5**-0.03), (100, 4.45 * 100**-0.1), (600, 2.39)])
def test_hindrance_of_coarse_grains_follows_richardson_and_zaki_1954(reynolds, exponent):
    """Exponents from memory; the paper was not seen."""
    assert settling.hindered_share(0.2, reynolds, 1e12) == pytest.approx(0.8**exponent)
