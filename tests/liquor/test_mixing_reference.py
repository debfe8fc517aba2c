"""What falls out and what gas comes off, against published ammonia constants and an independent solver."""

from __future__ import annotations

import pytest

from feedcalc.chemistry import equilibrate
from feedcalc.liquor.mixing import MIXING_MINERALS, mixing_check, second_things
from feedcalc.liquor.steeping import Liquor
from tests.chemistry.reference import reference_equilibrium

LIQUOR = {"potassium": 0.02, "carbon": 0.0095, "sulfur": 0.001}
FOLLOWED = [thing.id for thing in second_things().values() if thing.brings]


@pytest.mark.parametrize("celsius", [5, 15, 25])
@pytest.mark.parametrize("dose", [0.05, 0.5])
def test_the_share_that_is_ammonia_follows_the_published_equation(celsius, dose):
    """pKa = 0.09018 + 2729.92 / T: Emerson, Russo, Lund and Thurston, J. Fish. Res. Board Can. 32 (1975) 2379, from
    memory.
    """
    kelvin = celsius + 273.15
    weak = Liquor(equilibrate({"potassium": 0.001, "carbon": 0.0006}, kelvin))
    found = mixing_check(weak, second_things()["ammonium nitrate"], kelvin, dose)
    pka = 0.09018 + 2729.92 / kelvin
    # The equation is for no salt at all; the ion's activity coefficient by Guentelberg: -0.51 I^0.5 / (1 + I^0.5).
    root = (0.001 + dose / 80.04) ** 0.5
    ratio = 10 ** (found.ph_after - pka - 0.51 * root / (1 + root))
    assert found.ammonia_share == pytest.approx(ratio / (1 + ratio), rel=0.03)


def test_pressure_of_ammonia_follows_henrys_constant():
    """About 60 mol per kg and atm at 25 degC: R. Sander, Atmos. Chem. Phys. 15 (2015) 4399, values of 56 to 62, from
    memory.
    """
    caustic = Liquor(equilibrate({"potassium": 0.05}, 298.15))
    found = mixing_check(caustic, second_things()["ammonium nitrate"], 298.15)
    mol = found.ammonia_nitrogen * found.ammonia_share / 14.007 / 1000
    assert mol / (found.ammonia_ppm * 1e-6) == pytest.approx(60, rel=0.08)


@pytest.mark.parametrize("name", FOLLOWED)
def test_the_precipitate_agrees_with_the_independent_solver(name):
    kelvin = 288.15
    thing = second_things()[name]
    liquor = Liquor(equilibrate(LIQUOR, kelvin))
    found = mixing_check(liquor, thing, kelvin)
    totals = dict(LIQUOR)
    for element, amount in thing.brings.items():
        brought = amount * thing.dose * liquor.equilibrium.litres
        totals[element] = totals.get(element, 0.0) + brought
    # A Liquor tells its pure-water equilibrium per kg of water put in, as does the reference.
    reference = reference_equilibrium(totals, kelvin, MIXING_MINERALS, constants="chosen")
    assert found.ph_after == pytest.approx(reference.ph, abs=0.01)
    grams = {"calcite": 100.087, "brucite": 58.32, "amorphous_calcium_phosphate": 310.18, "brushite": 172.09}
    for mineral, mass in grams.items():
        expected = reference.formed[mineral] * mass * 1000 / reference.litres
        assert found.fallen_out.get(mineral, 0.0) == pytest.approx(expected, rel=0.01, abs=0.6)
