"""Ash in water: how fast it dissolves, what never leaves the ash, what air does to it."""

from __future__ import annotations

import pytest

from feedcalc.chemistry.formulas import molar_masses
from feedcalc.garden.ash import ash_of
from feedcalc.garden.water import water_of_kind
from feedcalc.liquor.air import liquor_in_equilibrium_with_air
from feedcalc.liquor.steeping import dissolved_share, steep

KELVIN = 288.15
AIR = 4.2e-4
RAIN, HARD = water_of_kind("rain"), water_of_kind("hard")
FRESH, AGED = ash_of("mixed", "fresh").typical(), ash_of("mixed", "aged").typical()


def test_nothing_has_dissolved_at_the_start_and_everything_soluble_in_the_end():
    assert dissolved_share(0.0, FRESH) == 0.0
    assert dissolved_share(1000.0, FRESH) == pytest.approx(1.0, abs=1e-6)


def test_most_potassium_dissolves_within_the_hour():
    # Potassium salts leave ash fast: within minutes (Ohno 1992), 8 h of leaching gives what 48 h does (Upper Austria).
    assert dissolved_share(1.0, FRESH) > 0.85
    assert dissolved_share(24.0, FRESH) - dissolved_share(8.0, FRESH) < 0.05


def test_longer_never_dissolves_less():
    shares = [dissolved_share(hours / 10, FRESH) for hours in range(480)]
    assert shares == sorted(shares)


def test_a_short_steep_leaves_potassium_behind():
    short = steep(FRESH, 21.0, RAIN, KELVIN, 0.02)
    long = steep(FRESH, 21.0, RAIN, KELVIN, 24.0)
    assert short.liquor.milligrams_per_litre("potassium") < long.liquor.milligrams_per_litre("potassium")
    assert short.sludge.grams_per_gram["potassium"] > long.sludge.grams_per_gram["potassium"]


@pytest.mark.parametrize("sample", [FRESH, AGED], ids=["fresh", "aged"])
@pytest.mark.parametrize("water", [RAIN, HARD], ids=["rain", "hard"])
def test_liquor_never_holds_more_of_an_element_than_ash_and_water_brought(sample, water):
    result = steep(sample, 40.0, water, KELVIN, 24.0)
    for element, dissolved in result.liquor.equilibrium.dissolved.items():
        if element in sample.grams_per_kilogram:
            brought = sample.grams_per_kilogram[element] / molar_masses()[element] * 0.040
            assert dissolved <= (brought + water.totals.get(element, 0.0)) * (1 + 1e-9)


def test_without_ash_the_liquor_is_the_water():
    result = steep(FRESH, 0.0, HARD, 298.15, 24.0)
    assert result.liquor.milligrams_per_litre("chloride") == pytest.approx(
        HARD.totals["chloride"] * molar_masses()["chloride"] * 1000, rel=0.005
    )
    assert result.sludge.lime_value == 0.0
    assert set(result.sludge.grams_per_gram.values()) == {0.0}


def test_the_lime_of_hard_water_ends_up_in_the_sludge():
    in_rain, in_hard = steep(AGED, 21.0, RAIN, KELVIN, 24.0), steep(AGED, 21.0, HARD, KELVIN, 24.0)
    assert in_hard.sludge.grams_per_gram["calcium"] > in_rain.sludge.grams_per_gram["calcium"]
    assert in_hard.liquor.milligrams_per_litre("calcium") < 5


def test_stronger_steeps_hold_potassium_in_proportion_but_not_calcium():
    one, two = (steep(AGED, strength, RAIN, KELVIN, 24.0).liquor for strength in (20.0, 40.0))
    assert two.milligrams_per_litre("potassium") / one.milligrams_per_litre("potassium") == pytest.approx(2, rel=0.02)
    assert two.milligrams_per_litre("calcium") < 1.5 * one.milligrams_per_litre("calcium")


@pytest.mark.parametrize("sample", [FRESH, AGED], ids=["fresh", "aged"])
def test_air_lowers_the_ph_and_leaves_the_potassium(sample):
    liquor = steep(sample, 21.0, RAIN, KELVIN, 24.0).liquor
    aired = liquor_in_equilibrium_with_air(liquor, KELVIN, AIR)
    assert aired.equilibrium.ph < min(liquor.equilibrium.ph, 10.2)
    assert aired.milligrams_per_litre("potassium") == pytest.approx(liquor.milligrams_per_litre("potassium"), rel=0.01)
    assert aired.milligrams_per_litre("calcium") <= liquor.milligrams_per_litre("calcium") + 1


def test_alkalinity_is_what_a_titration_finds():
    # Chloride and sulfate carry none: it is what is left of K + Na + 2 Ca + 2 Mg over Cl + 2 S, in equivalents.
    liquor = steep(FRESH, 21.0, RAIN, KELVIN, 24.0).liquor
    mol = liquor.mol_per_litre()
    bases = mol["potassium"] + mol["sodium"] + 2 * mol["calcium"] + 2 * mol["magnesium"]
    left = bases - mol["chloride"] - 2 * mol["sulfur"]
    assert liquor.alkalinity == pytest.approx(left * 50.04 * 1000, rel=2e-3)
