"""Constants and water properties against independent published formulas."""

from __future__ import annotations

import math

import pytest
from iapws import IAPWS97
from iapws._iapws import _Dielectric, _Kw

from feedcalc.chemistry.activity import _compressibility_per_bar, debye_huckel_slopes, dielectric_constant
from feedcalc.chemistry.constants import constant_set

KELVINS = [273.15 + celsius for celsius in (1.0, 10.0, 20.0, 25.0, 30.0, 40.0, 50.0)]


def plummer_and_busenberg_1982(name: str, kelvin: float) -> float:
    """log10 K of Plummer and Busenberg, Geochimica et Cosmochimica Acta 46 (1982) 1011-1040, as in the abstract."""
    constant, linear, inverse, logarithm, square = {
        "henry": (108.3865, 0.01985076, -6919.53, -40.45154, 669365.0),
        "first": (-356.3094, -0.06091964, 21834.37, 126.8339, -1684915.0),
        "second": (-107.8871, -0.03252849, 5151.79, 38.92561, -563713.9),
        "calcite": (-171.9065, -0.077993, 2839.319, 71.595, 0.0),
    }[name]
    return constant + linear * kelvin + inverse / kelvin + logarithm * math.log10(kelvin) + square / kelvin**2


def formation(name: str, kelvin: float) -> float:
    (species,) = (one for one in constant_set().species if one.name == name)
    return species.formation.log_k(kelvin)


@pytest.mark.parametrize("kelvin", KELVINS)
def test_carbonate_constants_follow_plummer_and_busenberg_1982(kelvin):
    second = -formation("HCO3-", kelvin)
    first = formation("HCO3-", kelvin) - formation("CO2", kelvin)
    henry = constant_set().gases["carbon dioxide"].log_k(kelvin) + formation("CO2", kelvin)
    assert first == pytest.approx(plummer_and_busenberg_1982("first", kelvin), abs=0.005)
    assert second == pytest.approx(plummer_and_busenberg_1982("second", kelvin), abs=0.005)
    assert henry == pytest.approx(plummer_and_busenberg_1982("henry", kelvin), abs=0.01)
    calcite = constant_set().minerals["calcite"].log_k(kelvin)
    assert calcite == pytest.approx(plummer_and_busenberg_1982("calcite", kelvin), abs=0.001)


@pytest.mark.parametrize("kelvin", KELVINS)
def test_ion_product_of_water_follows_iapws_r11(kelvin, deviations):
    theirs = float(_Kw(IAPWS97(T=kelvin, P=0.101325).rho, kelvin))
    ours = -formation("OH-", kelvin)
    deviations.record("IAPWS R11-07", "pKw", abs(ours - theirs), 0.02, f"{kelvin - 273.15:g} degC")
    assert ours == pytest.approx(theirs, abs=0.02)


@pytest.mark.parametrize("kelvin", KELVINS)
def test_dielectric_constant_follows_iapws_r8(kelvin, deviations):
    theirs = float(_Dielectric(IAPWS97(T=kelvin, P=0.101325).rho, kelvin))
    gap = abs(dielectric_constant(kelvin) / theirs - 1.0)
    deviations.record("IAPWS R8-97", "dielectric constant", gap, 0.002, f"{kelvin - 273.15:g} degC")
    assert gap < 0.002


@pytest.mark.parametrize("kelvin", KELVINS)
def test_compressibility_follows_iapws_if97(kelvin):
    thin, dense = (IAPWS97(T=kelvin, P=pressure).rho for pressure in (0.1, 0.6))
    theirs = (dense - thin) / thin / 5.0  # 0.5 MPa is 5 bar
    assert _compressibility_per_bar(kelvin) == pytest.approx(theirs, rel=0.01)


def test_debye_huckel_slopes_agree_with_the_textbook():
    """0.509 (kg/mol)^0.5 and 0.328 per angstrom at 25 degC: Robinson and Stokes, Electrolyte Solutions, from memory."""
    slope, size_slope = debye_huckel_slopes(298.15)
    assert slope == pytest.approx(0.509, abs=0.002)
    assert size_slope == pytest.approx(0.328, abs=0.001)
