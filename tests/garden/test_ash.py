"""Composition of ash: stoichiometry of pure substances, analyses and measured densities."""

from __future__ import annotations

import pytest

from feedcalc.chemistry.formulas import calcium_carbonate_grams_per_mol, molar_masses
from feedcalc.garden.ash import ELEMENTS, AshSample, ash_of
from feedcalc.garden.water import water_of_kind
from feedcalc.liquor.steeping import steep
from feedcalc.uncertainty.estimates import Estimate

KINDS = ("mixed", "hardwood", "softwood", "bark")


def pure(free_lime: float = 0.0, **grams_per_kilogram: float) -> AshSample:
    """An ash made of nothing but these elements, all of it within reach of water."""
    content = dict.fromkeys(ELEMENTS, 0.0) | grams_per_kilogram
    return AshSample(
        grams_per_kilogram=content,
        reachable=dict.fromkeys(ELEMENTS, 1.0),
        free_lime=free_lime,
        density=0.5,
        fast_share=0.9,
        fast_rate=1.0,
        slow_rate=0.2,
        particle_density=2500.0,
        sediment=2.5,
        guard_layer=0.01,
    )


@pytest.mark.parametrize(
    ("content", "lime_value"),
    [
        # Neutralising value of pure substances against CaCO3, by molar mass (liming handbooks: oxide of calcium
        # 179 %, of magnesium 248 %, slaked lime 135 %, potash 72 %; from memory, and checked by molar masses).
        pytest.param({"calcium": 400.4}, 1.00, id="calcium carbonate"),
        pytest.param({"calcium": 714.7}, 1.785, id="burnt lime"),
        pytest.param({"calcium": 540.9}, 1.351, id="slaked lime"),
        pytest.param({"magnesium": 603.0}, 2.483, id="magnesium oxide"),
        pytest.param({"potassium": 565.8}, 0.724, id="potassium carbonate"),
        pytest.param({"potassium": 448.7, "sulfur": 184.0}, 0.0, id="potassium sulfate"),
        pytest.param({"potassium": 524.4, "chloride": 475.6}, 0.0, id="potassium chloride"),
    ],
)
def test_the_lime_value_of_a_pure_substance_agrees_with_handbooks(content, lime_value):
    assert pure(**content).lime_value() == pytest.approx(lime_value, abs=0.002)


def test_potash_has_one_carbonate_for_two_potassium():
    # K2CO3: 138.2 g/mol.
    mol = pure(potassium=565.8).reachable_mol_per_kilogram()
    assert mol["potassium"] == pytest.approx(2 * 1000 / 138.2, rel=1e-3)
    assert mol["carbon"] == pytest.approx(1000 / 138.2, rel=1e-3)


def test_potassium_sulfate_and_chloride_have_no_carbonate():
    assert pure(potassium=448.7, sulfur=184.0).reachable_mol_per_kilogram()["carbon"] == pytest.approx(0.0, abs=0.01)
    assert pure(potassium=524.4, chloride=475.6).reachable_mol_per_kilogram()["carbon"] == pytest.approx(0.0, abs=0.01)


def test_free_lime_has_no_carbonate_and_other_calcium_has_one_each():
    half_burnt = pure(free_lime=0.5, calcium=400.8).reachable_mol_per_kilogram()
    assert half_burnt["calcium"] == pytest.approx(10.0, rel=1e-3)
    assert half_burnt["carbon"] == pytest.approx(5.0, rel=1e-3)


def test_calcium_phosphate_has_neither_carbonate_nor_acid():
    # Hydroxyapatite, Ca5(PO4)3OH, 502.3 g/mol: 10 Ca to 6 P, and not a trace of CO2.
    apatite = pure(calcium=399.0, phosphorus=185.0).reachable_mol_per_kilogram()
    assert apatite["calcium"] / apatite["phosphorus"] == pytest.approx(5 / 3, rel=2e-3)
    assert apatite["carbon"] == pytest.approx(0.0, abs=0.02)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("state", ["unknown", "fresh", "aged", "leached"])
def test_no_ash_of_the_tables_has_negative_amounts(kind, state):
    ash = ash_of(kind, state)
    for share in (0.0, 0.05, 0.5, 0.95, 1.0):
        sample = ash.sample_at(dict.fromkeys(ash.unknowns, share))
        assert all(amount >= 0 for amount in sample.reachable_mol_per_kilogram().values())
        assert 0 <= sample.lime_value() <= 1.785
        for element in ELEMENTS:
            assert 0 <= sample.reachable[element] <= 1


@pytest.mark.parametrize("kind", KINDS)
def test_the_typical_lime_value_lies_in_the_measured_range(kind):
    # Wood ash: 22 to 92 % of calcium carbonate, mean 43 (Risse and Harris, from memory); 8 to 90 (UGA, seen).
    assert 0.22 <= ash_of(kind, "fresh").typical().lime_value() <= 0.92


def test_aged_ash_has_less_free_lime_and_nothing_else_changes():
    fresh, aged = ash_of("mixed", "fresh"), ash_of("mixed", "aged")
    assert aged.unknowns["free_lime"].typical < fresh.unknowns["free_lime"].typical
    assert {name for name in fresh.unknowns if fresh.unknowns[name] != aged.unknowns[name]} == {"free_lime"}


def test_leached_ash_has_less_of_every_salt_and_the_free_lime_of_aged_ash():
    aged, leached = ash_of("mixed", "aged"), ash_of("mixed", "leached")
    assert leached.unknowns["free_lime"] == aged.unknowns["free_lime"]
    changed = {name for name in aged.unknowns if leached.unknowns[name] != aged.unknowns[name]}
    assert changed == {f"reachable.{salt}" for salt in ("potassium", "sodium", "sulfur", "chloride")}
    for name in changed:
        assert leached.unknowns[name].high < aged.unknowns[name].high


def test_ash_of_unknown_state_lies_between_aged_and_fresh():
    aged, unknown, fresh = (ash_of("mixed", state).unknowns["free_lime"] for state in ("aged", "unknown", "fresh"))
    assert aged.typical < unknown.typical < fresh.typical
    assert aged.low <= unknown.low
    assert aged.high < unknown.high <= fresh.high


def test_typical_liquors_of_the_four_states_come_in_the_order_of_their_lime_and_potash():
    states = ("leached", "aged", "unknown", "fresh")
    liquors = [
        steep(ash_of("mixed", state).typical(), 20, water_of_kind("rain"), 293.15, 24).liquor for state in states
    ]
    ph = [liquor.ph_25 for liquor in liquors]
    assert ph == sorted(ph)
    ec = [liquor.equilibrium.conductivity for liquor in liquors]
    assert ec == sorted(ec)
    leached, *others = (liquor.milligrams_per_litre("potassium") for liquor in liquors)
    assert leached < 0.6 * min(others)
    assert max(others) < 1.02 * min(others)


def test_an_analysis_replaces_the_range_of_the_kind():
    ash = ash_of("mixed", "fresh", {"potassium": 61.0})
    assert ash.unknowns["content.potassium"] == Estimate.exactly(61.0)
    assert ash.unknowns["content.calcium"].low < ash.unknowns["content.calcium"].high
    assert ash.analysed == ("potassium",)


def test_an_analysis_of_zero_counts_as_zero():
    assert ash_of("mixed", "fresh", {"chloride": 0.0}).typical().grams_per_kilogram["chloride"] == 0.0


def test_a_weighed_measure_replaces_the_range_of_density():
    assert ash_of("mixed", "fresh", density=0.6).unknowns["density"] == Estimate.exactly(0.6)


@pytest.mark.parametrize(("kind", "state"), [("straw", "fresh"), ("mixed", "molten")])
def test_an_unknown_ash_raises_a_key_error(kind, state):
    with pytest.raises(KeyError):
        ash_of(kind, state)


def test_molar_masses_are_those_of_the_standard_atomic_weights():
    # IUPAC 2021, abridged.
    standard = {
        "potassium": 39.098,
        "calcium": 40.078,
        "magnesium": 24.305,
        "sodium": 22.990,
        "phosphorus": 30.974,
        "sulfur": 32.06,
        "chloride": 35.45,
        "carbon": 12.011,
        "oxygen": 15.999,
    }
    for element, mass in standard.items():
        assert molar_masses()[element] == pytest.approx(mass, abs=0.006), element
    assert calcium_carbonate_grams_per_mol() == pytest.approx(100.09, abs=0.01)


@pytest.mark.parametrize(
    ("analysis", "words"),
    [
        ({"calcium": 600.0, "potassium": 500.0}, "more than the ash itself"),
        ({"phosphorus": 450.0}, "more than the ash itself"),
        ({"chloride": 400.0, "calcium": 60.0}, "would be an acid"),
        ({"sulfur": 300.0, "calcium": 100.0}, "would be an acid"),
    ],
    ids=["heavier than itself", "all phosphate", "salt", "sulfate"],
)
def test_an_impossible_analysis_is_detected(analysis, words):
    assert words in ash_of("mixed", "fresh", analysis).contradiction()


@pytest.mark.parametrize("kind", KINDS)
def test_no_ash_of_the_tables_is_impossible(kind):
    assert ash_of(kind, "fresh").contradiction() == ""


def test_the_highest_measured_sulfur_content_is_possible():
    # Prunings of fruit trees ashed cool (phyllis_308, see ash_analyses.csv): 79 g/kg sulfur.
    analysis = {
        "potassium": 105.0,
        "calcium": 142.0,
        "magnesium": 50.0,
        "sodium": 11.0,
        "sulfur": 79.0,
        "phosphorus": 21.6,
    }
    assert ash_of("hardwood", "fresh", analysis).contradiction() == ""
