"""Acid into alkali against published buffers and against an independent solver."""

from __future__ import annotations

import csv
from itertools import pairwise
from pathlib import Path

import pytest

from feedcalc.chemistry import equilibrate
from feedcalc.liquor.acid import acid_for, acids, titration_curve
from feedcalc.liquor.steeping import Liquor
from tests.chemistry.reference import reference_equilibrium

TABLE = Path(__file__).parent / "neutralising_standards.csv"
ROWS = list(csv.DictReader(line for line in TABLE.read_text(encoding="utf-8").splitlines() if line[0] != "#"))
LIQUORS = {
    "carbonate liquor": {"potassium": 0.022, "carbon": 0.011},
    "caustic liquor": {"potassium": 0.022, "carbon": 0.002, "sulfur": 0.001},
    "feed with hard water": {"potassium": 0.003, "carbon": 0.004, "calcium": 0.0003, "magnesium": 0.0004},
}


def grams_of(acid: str, mol: float) -> float:
    return mol * acids()[acid].grams_per_mol


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['citation'][:45]} {row['base_mol']}")
def test_a_base_titrated_to_a_published_buffer_has_its_ph(row):
    kelvin = float(row["celsius"]) + 273.15
    acid = acids()[row["acid"]]
    base = Liquor(equilibrate({row["base"]: float(row["base_mol"])}, kelvin))
    answer = acid_for(base, acid, 1.0, float(row["ph"]), kelvin)
    # Pure acid brings no water: grams per litre of base turn to mol per kg of water by the litres of a kg.
    grams = answer.dose if not acid.is_liquid else answer.dose * 1.0
    mol_per_kg = grams / acid.grams_per_mol * base.equilibrium.litres
    slope = 2.303 * float(row["base_mol"]) * 0.5  # buffer value near half neutralised, mol per pH
    assert mol_per_kg == pytest.approx(float(row["acid_mol"]), abs=2 * slope * float(row["tolerance"]) + 1e-4)


@pytest.mark.parametrize("acid", ["vinegar", "citric acid"])
@pytest.mark.parametrize("name", LIQUORS)
@pytest.mark.parametrize("kelvin", [278.15, 298.15])
@pytest.mark.parametrize("target", [9.0, 7.0, 5.5])
def test_the_dose_reaches_the_target_in_the_independent_solver_too(name, acid, kelvin, target):
    liquor = Liquor(equilibrate(LIQUORS[name], kelvin))
    chosen = acids()[acid]
    strength = chosen.strengths[1]
    answer = acid_for(liquor, chosen, strength, target, kelvin)
    if answer.dose == 0.0:
        assert liquor.equilibrium.ph <= target + 0.01
        return
    water = 1.0 / liquor.equilibrium.litres
    brought = answer.dose * (1.005 - strength) / 1000 if chosen.is_liquid else 0.0
    totals = {element: amount * water / (water + brought) for element, amount in LIQUORS[name].items()}
    totals[chosen.element] = answer.dose * strength / chosen.grams_per_mol / (water + brought)
    closed = reference_equilibrium(totals, kelvin, constants="chosen")
    gone = reference_equilibrium(totals, kelvin, ("calcite", "brucite"), 420e-6, constants="chosen")
    # Where the curve is steepest a thousandth of the dose is a tenth of a pH.
    steep = abs(answer.dose_half_ph_past - answer.dose) / answer.dose
    assert closed.ph == pytest.approx(target, abs=0.01 + 0.001 / max(steep, 0.001))
    assert answer.ph_gas_gone == pytest.approx(gone.ph, abs=0.02)


def test_the_jump_of_the_carbonate_titration_lies_at_one_equivalent():
    """Carbonate takes one acid to hydrogencarbonate near pH 8.3, the next to carbonic acid.

    Skoog and West, Fundamentals of Analytical Chemistry, from memory. Vinegar is too weak to show the second jump.
    """
    liquor = Liquor(equilibrate({"potassium": 0.1, "carbon": 0.05}, 298.15))
    vinegar = acids()["vinegar"]
    to_first = acid_for(liquor, vinegar, 0.05, 8.3, 298.15).dose
    per_equivalent = 0.05 / liquor.equilibrium.litres * vinegar.grams_per_mol / 0.05
    assert to_first == pytest.approx(per_equivalent, rel=0.02)
    curve = titration_curve(liquor, vinegar, 0.05, 298.15)
    jumps = [(left[1] - right[1]) / (right[0] - left[0]) for left, right in pairwise(curve)]
    assert curve[jumps.index(max(jumps[1:]))][0] == pytest.approx(per_equivalent, rel=0.05)
