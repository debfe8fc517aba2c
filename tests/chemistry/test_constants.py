"""Sources and consistency of the tables of constants."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import feedcalc.chemistry
from feedcalc import published
from feedcalc.chemistry.constants import CONSTANT_SETS, constant_set

TABLES = (
    "chem_species",
    "chem_minerals",
    "chem_gases",
    "chem_elements",
    "chem_water",
    "chem_conductivity",
    "chem_volume",
)
MODULES = sorted(Path(feedcalc.chemistry.__file__).parent.glob("*.py"))
EXACT_BY_DEFINITION = {298.15, 8.314462618e-3, 1.01325, 41.84, 1000.0, 2600.0}


@pytest.mark.parametrize("name", TABLES)
def test_every_row_has_a_known_source(name):
    rows = published.table(name)
    assert rows
    for row in rows:
        assert published.sources()[row["source"]].citation
        assert row["status"] in published.STATUSES


def test_every_departure_from_the_database_says_why():
    for row in published.table("chem_species"):
        if row["used_by"] != "all":
            assert row["note"], row["species"]


def test_every_reaction_over_temperature_has_a_constant_at_25_degrees_that_agrees():
    species = {row["species"]: row for row in published.table("chem_species") if row["used_by"] != "database"}
    by_name = {one.name: one for one in constant_set().species}
    for name, row in species.items():
        # Rows formed from another pair than the components carry that pair's constant too.
        if row["log_k"] and name in by_name and name not in ("CaHSO4+",) and "HPO4" not in row["formed_from"]:
            if "H2PO4" in row["formed_from"] or "HCO3" in row["formed_from"]:
                continue
            assert by_name[name].formation.log_k(298.15) == pytest.approx(float(row["log_k"]), abs=0.02), name


@pytest.mark.parametrize("module", MODULES, ids=lambda path: path.name)
def test_the_code_contains_no_measured_constants(module):
    """Three or more figures mean a measured constant: it belongs in a table beside its source."""
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Constant) and isinstance(node.value, float):
            figures = f"{abs(node.value):.15e}".split("e")[0].replace(".", "").rstrip("0")
            assert len(figures) <= 2 or node.value in EXACT_BY_DEFINITION, f"line {node.lineno}: {node.value}"


@pytest.mark.parametrize("name", CONSTANT_SETS)
def test_every_formation_reaction_conserves_charge(name):
    charges = {one.name: one.charge for one in constant_set(name).species}
    for one in constant_set(name).species:
        parts = {key: share for key, share in one.formation.components.items() if key != "H2O"}
        assert sum(charges[key] * share for key, share in parts.items()) == one.charge, one.name


@pytest.mark.parametrize("name", CONSTANT_SETS)
def test_minerals_and_gases_are_neutral(name):
    chosen = constant_set(name)
    charges = {one.name: one.charge for one in chosen.species}
    for key, reaction in {**chosen.minerals, **chosen.gases}.items():
        total = sum(charges[part] * share for part, share in reaction.components.items() if part != "H2O")
        assert total == 0.0, key
    for element in chosen.elements.values():
        assert charges[element.component] + element.hydrogen == 0.0, element.name


def test_an_unknown_set_is_refused():
    with pytest.raises(ValueError, match="no such set"):
        constant_set("other")
