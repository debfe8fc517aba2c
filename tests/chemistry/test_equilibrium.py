"""Single equilibria with a known result, and the refusals of the solver."""

from __future__ import annotations

import time

import pytest

from feedcalc.chemistry import equilibrate
from feedcalc.chemistry.constants import LN10
from feedcalc.chemistry.first_guess import start_from_totals
from feedcalc.chemistry.solver import Search
from feedcalc.chemistry.system import conditions_at
from feedcalc.words.errors import NoSolution
from tests.chemistry.test_reference import ash_grid

KELVIN = 298.15
MINERALS = ("calcite", "portlandite", "brucite", "gypsum")
AGED = {"potassium": 0.05, "calcium": 0.1, "magnesium": 0.02, "carbon": 0.125, "sulfur": 0.004}
FRESH = {**AGED, "carbon": 0.06}


def test_pure_water_is_neutral():
    assert equilibrate({}, KELVIN).ph == pytest.approx(7.0, abs=0.01)


def test_quicklime_makes_potash_caustic_and_carbonated_lime_does_not():
    assert equilibrate(FRESH, KELVIN, MINERALS).ph > 12.3
    aged = equilibrate(AGED, KELVIN, MINERALS)
    assert 10.0 < aged.ph < 12.0
    aired = equilibrate(AGED, KELVIN, MINERALS, carbon_dioxide_atm=4.2e-4)
    assert aired.ph < 10.0


def test_carbonate_precipitates_calcium():
    aged = equilibrate(AGED, KELVIN, MINERALS)
    assert aged.milligrams_per_litre("calcium") < 1.0
    assert aged.milligrams_per_litre("potassium") == pytest.approx(0.05 * 39.098e3, rel=0.02)


def test_undissolved_lime_binds_water_and_keeps_the_liquor_saturated():
    result = equilibrate({"calcium": 10.0}, KELVIN, ["portlandite"])
    assert result.formed["portlandite"] == pytest.approx(10.0, abs=0.03)
    assert result.water_kg == pytest.approx(1.0 - 10.0 * 0.018015, abs=0.001)
    assert result.dissolved["calcium"] / result.water_kg == pytest.approx(0.0203, abs=0.0008)


def test_more_lime_than_the_water_can_slake_is_refused_with_the_reason():
    with pytest.raises(NoSolution, match="not enough water"):
        equilibrate({"calcium": 70.0}, KELVIN, ["portlandite"])


def test_portlandite_never_forms_in_open_water():
    result = equilibrate({"calcium": 0.1}, KELVIN, ["calcite", "portlandite"], carbon_dioxide_atm=4.2e-4)
    assert result.formed["portlandite"] == 0.0
    assert result.formed["calcite"] == pytest.approx(0.1, abs=0.001)


def test_every_allowed_mineral_is_reported_even_if_none_forms():
    assert equilibrate({"potassium": 0.01}, KELVIN, MINERALS).formed == dict.fromkeys(MINERALS, 0.0)


def test_open_water_is_at_the_given_carbon_dioxide_pressure():
    result = equilibrate({"potassium": 0.02}, KELVIN, (), 4.2e-4)
    assert result.carbon_dioxide_atm == pytest.approx(4.2e-4, rel=1e-6)


def test_alkalinity_equals_the_strong_acid_to_the_carbon_dioxide_endpoint():
    """Adding hydrochloric acid equal to the alkalinity leaves the carbon dioxide endpoint, near pH 4.5."""
    liquor = {"potassium": 0.02, "carbon": 0.012, "phosphorus": 0.0005}
    alkalinity = equilibrate(liquor, KELVIN).alkalinity
    titrated = equilibrate({**liquor, "chloride": alkalinity}, KELVIN)
    assert titrated.alkalinity == pytest.approx(0.0, abs=1e-4)
    assert 4.0 < titrated.ph < 5.0


def test_a_strong_brine_is_flagged_but_not_refused():
    result = equilibrate({"potassium": 1.5, "carbon": 0.75}, KELVIN)
    assert not result.within_range
    assert "too strong" in result.notes[0]
    assert equilibrate({"potassium": 0.1, "carbon": 0.05}, KELVIN).notes == ()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (({"unobtainium": 1.0}, KELVIN), "unknown element"),
        (({"calcium": -1.0}, KELVIN), "at least 0"),
        (({"calcium": float("nan")}, KELVIN), "finite"),
        (({}, KELVIN, ["granite"]), "unknown mineral"),
        (({}, KELVIN, (), 2.0), "pressure"),
    ],
)
def test_a_programmer_error_is_a_value_error(arguments, words):
    with pytest.raises(ValueError, match=words):
        equilibrate(*arguments)


@pytest.mark.parametrize("kelvin", [260.0, 400.0])
def test_ice_and_steam_are_refused(kelvin):
    with pytest.raises(NoSolution, match="liquid water"):
        equilibrate({}, kelvin)


@pytest.mark.parametrize(
    "totals",
    [
        {"magnesium": 3.7, "silicon": 3.9, "phosphorus": 1.6, "carbon": 1e-7, "calcium": 1e-11},
        {"sulfur": 8.7, "carbon": 8e-8, "calcium": 3.7e-5},
        {"potassium": 10.0, "carbon": 1e-12, "phosphorus": 10.0},
    ],
)
def test_extreme_mixtures_give_a_flagged_answer_or_a_refusal(totals):
    started = time.perf_counter()
    try:
        result = equilibrate(totals, KELVIN, MINERALS)
    except NoSolution:
        pass
    else:
        assert result.balance_error <= 1e-9
        assert not result.within_range
    assert time.perf_counter() - started < 30.0  # a hang, not a speed


def test_the_solver_takes_no_more_steps_than_allowed():
    conditions = conditions_at("chosen", frozenset(AGED), frozenset(MINERALS), False, KELVIN)
    search = Search(conditions, AGED, None)
    start_from_totals(search)
    assert not search.run(max_steps=1)
    assert search.run(max_steps=20)


def test_the_first_guess_of_ph_is_near_the_solution(monkeypatch):
    guesses = []

    def watched(search):
        start_from_totals(search)
        guesses.append(-search.x[-1] / LN10)

    monkeypatch.setattr("feedcalc.chemistry.equilibrium.start_from_totals", watched)
    solved = [
        equilibrate(case.totals, case.celsius + 273.15, case.minerals, case.carbon_dioxide_atm, None, case.constants).ph
        for case in ash_grid()
    ]
    assert guesses == pytest.approx(solved, abs=0.3)


def test_a_refusal_for_strength_says_so():
    with pytest.raises(NoSolution, match="too strong"):
        equilibrate({"sulfur": 20.0}, KELVIN)


def test_ammonia_leaves_a_caustic_liquor_and_hardly_a_neutral_one():
    """Henry's constant of ammonia is about 60 mol/(kg atm) at 25 degC (Sander 2015, from memory)."""
    caustic = equilibrate({"ammonia": 0.1, "potassium": 0.05}, KELVIN)
    neutral = equilibrate({"ammonia": 0.1, "chloride": 0.1}, KELVIN)
    assert caustic.ammonia_atm == pytest.approx(0.1 / 60.0, rel=0.1)
    assert neutral.ammonia_atm < 0.01 * caustic.ammonia_atm


def test_phosphate_is_absent_from_liquor_only_if_hydroxyapatite_has_formed():
    ash = {"potassium": 0.05, "calcium": 0.1, "carbon": 0.125, "phosphorus": 0.002}
    lasting = equilibrate(ash, KELVIN, ["calcite", "hydroxyapatite"])
    young = equilibrate(ash, KELVIN, ["calcite", "amorphous_calcium_phosphate"])
    assert lasting.dissolved["phosphorus"] < 0.05 * young.dissolved["phosphorus"]


def test_vinegar_releases_carbon_dioxide_and_does_not_change_potassium():
    liquor = {"potassium": 0.05, "carbon": 0.025}
    soured = equilibrate({**liquor, "acetate": 0.05}, KELVIN)
    assert soured.ph < 7.0
    assert soured.carbon_dioxide_atm > 0.1
    assert soured.dissolved["potassium"] == pytest.approx(0.05)
