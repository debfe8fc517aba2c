"""Bringing a feed's pH down: what a grower must be able to rely on."""

from __future__ import annotations

from itertools import pairwise

import pytest

from feedcalc.chemistry import equilibrate
from feedcalc.chemistry.formulas import formula_grams_per_mol
from feedcalc.liquor.acid import acid_dose, acid_for, acids, titration_curve
from feedcalc.liquor.steeping import Liquor

KELVIN = 288.15
VINEGAR = acids()["vinegar"]
CITRIC = acids()["citric acid"]


@pytest.fixture(scope="module")
def carbonate_liquor() -> Liquor:
    return Liquor(equilibrate({"potassium": 0.02, "carbon": 0.01, "sulfur": 0.001}, KELVIN))


@pytest.fixture(scope="module")
def caustic_liquor() -> Liquor:
    return Liquor(equilibrate({"potassium": 0.02, "carbon": 0.0001}, KELVIN))


def test_acid_leaves_the_potassium_of_a_litre_of_feed_unchanged(carbonate_liquor):
    answer = acid_for(carbonate_liquor, VINEGAR, 0.05, 7.0, KELVIN)
    before = carbonate_liquor.mol_per_litre()["potassium"]
    grown = 1.0 + answer.dose / 1000  # litres after the vinegar went in
    assert answer.feed.mol_per_litre()["potassium"] * grown == pytest.approx(before, rel=0.001)


def test_the_ph_rises_when_the_gas_leaves_and_more_acid_keeps_it_down(carbonate_liquor):
    answer = acid_for(carbonate_liquor, VINEGAR, 0.05, 7.0, KELVIN)
    assert answer.ph_reached == pytest.approx(7.0, abs=0.01)
    assert answer.ph_gas_gone > 8.0
    assert answer.dose_gas_gone > 1.3 * answer.dose


def test_the_gas_that_escapes_is_less_than_all_the_carbon_but_enough_to_fill_a_bottle(carbonate_liquor):
    answer = acid_for(carbonate_liquor, VINEGAR, 0.05, 5.0, KELVIN)
    all_of_it = 0.01 * 23.6 * 1000  # mL at 15 degC
    assert 0.9 * all_of_it < answer.carbon_dioxide_millilitres_per_litre < all_of_it


def test_a_stronger_vinegar_needs_a_smaller_dose(carbonate_liquor):
    doses = [acid_for(carbonate_liquor, VINEGAR, strength, 7.0, KELVIN).dose for strength in (0.04, 0.05, 0.1)]
    assert doses == sorted(doses, reverse=True)
    assert doses[0] / doses[2] == pytest.approx(2.5, rel=0.02)


def test_caustic_liquor_without_carbonate_is_easily_overshot_and_says_so(caustic_liquor, carbonate_liquor):
    assert acid_for(caustic_liquor, VINEGAR, 0.05, 8.0, KELVIN).is_easily_overshot
    assert not acid_for(carbonate_liquor, VINEGAR, 0.05, 6.3, KELVIN).is_easily_overshot


def test_portions_add_up_to_the_dose_and_get_smaller(carbonate_liquor):
    answer = acid_for(carbonate_liquor, CITRIC, 1.0, 7.0, KELVIN)
    assert sum(answer.portions) == pytest.approx(answer.dose)
    assert all(first > second for first, second in pairwise(answer.portions))
    assert answer.millilitres_per_litre is None
    assert answer.grams_per_litre == answer.dose


def test_a_target_out_of_reach_has_a_reason_and_no_dose():
    strong = Liquor(equilibrate({"potassium": 0.4, "carbon": 0.2}, KELVIN))
    answer = acid_for(strong, VINEGAR, 0.04, 4.0, KELVIN)
    assert answer.dose is None
    assert answer.portions == ()
    assert "only to pH" in answer.reason


def test_a_mixture_too_strong_for_the_chemistry_has_a_reason():
    lye = Liquor(equilibrate({"potassium": 0.4, "sodium": 0.04, "phosphorus": 8e-5}, 274.0))
    answer = acid_for(lye, CITRIC, 1.0, 4.3, 274.0)
    assert (answer.dose is None) == bool(answer.reason)
    assert acid_dose(lye, CITRIC, 1.0, 4.3, 274.0) == answer.dose
    assert len(titration_curve(lye, CITRIC, 1.0, 274.0)) <= 60


def test_a_feed_already_at_the_target_needs_no_acid(carbonate_liquor):
    answer = acid_for(carbonate_liquor, VINEGAR, 0.05, 12.0, KELVIN)
    assert answer.dose == 0.0
    assert answer.reason == "The feed is already at or below this pH. It needs no acid."
    assert answer.carbon_dioxide_millilitres_per_litre == 0.0


def test_water_without_alkalinity_is_handled():
    pure = Liquor(equilibrate({}, KELVIN))
    assert acid_for(pure, VINEGAR, 0.05, 6.0, KELVIN).dose == pytest.approx(0.0015, rel=0.5)


@pytest.mark.parametrize("strength", [0.0, -0.1, 1.5])
def test_an_impossible_strength_is_refused(carbonate_liquor, strength):
    with pytest.raises(ValueError, match="strength"):
        acid_for(carbonate_liquor, VINEGAR, strength, 7.0, KELVIN)


def test_the_quick_dose_equals_the_full_one(carbonate_liquor):
    full = acid_for(carbonate_liquor, CITRIC, 1.0, 7.0, KELVIN)
    assert acid_dose(carbonate_liquor, CITRIC, 1.0, 7.0, KELVIN) == pytest.approx(full.dose, rel=0.005)


@pytest.mark.parametrize("air", [None, 420e-6])
def test_the_titration_curve_falls_throughout_and_has_few_points(carbonate_liquor, air):
    curve = titration_curve(carbonate_liquor, VINEGAR, 0.05, KELVIN, carbon_dioxide_atm=air)
    assert len(curve) <= 60
    assert all(left[0] < right[0] and left[1] > right[1] for left, right in pairwise(curve))
    assert curve[-1][1] == pytest.approx(4.5, abs=0.01)


@pytest.mark.parametrize(
    ("formula", "mass"),
    # CRC Handbook, physical constants of inorganic compounds, from memory.
    [("MgSO4:7H2O", 246.47), ("(NH4)2SO4", 132.14), ("CO(NH2)2", 60.06), ("Ca(H2PO4)2:H2O", 252.07)],
)
def test_molar_masses_of_common_acids(formula, mass):
    assert formula_grams_per_mol(formula) == pytest.approx(mass, abs=0.01)
