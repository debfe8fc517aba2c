"""The generated arithmetic against the general solver, bit by bit."""

from __future__ import annotations

import copy
import itertools
import random
from dataclasses import replace

import pytest

from feedcalc.chemistry import Equilibrium, equilibrate
from feedcalc.chemistry import equilibrium as equilibrium_module
from feedcalc.chemistry.generate import TARGET, generated_source
from feedcalc.chemistry.generated_systems import SYSTEMS
from feedcalc.chemistry.solver import conditions_at, system_of
from feedcalc.words.errors import NoSolution
from tests.chemistry.test_reference import ALL_MINERALS, Case, ash_grid, drawn_cases, wider_cases

LIQUOR = ("potassium", "sodium", "calcium", "magnesium", "carbon", "sulfur", "chloride", "phosphorus")
YOUNG = ("calcite", "portlandite", "brucite", "gypsum", "nesquehonite", "amorphous_calcium_phosphate")
ATTEMPT = Equilibrium | str


@pytest.fixture
def general(monkeypatch):
    """Return a function that solves a case as if nothing had been generated."""

    def conditions(*arguments):
        found = conditions_at(*arguments)
        system = copy.copy(found.system)
        system.generated = None
        return replace(found, system=system)

    def solve_generally(case: Case, nearby: Equilibrium | None = None) -> ATTEMPT:
        with monkeypatch.context() as patch:
            patch.setattr(equilibrium_module, "conditions_at", conditions)
            return solve(case, nearby)

    return solve_generally


def solve(case: Case, nearby: Equilibrium | None = None) -> ATTEMPT:
    """Return the solution, or the words of the refusal."""
    kelvin = case.celsius + 273.15
    try:
        return equilibrate(
            totals=case.totals,
            temperature_kelvin=kelvin,
            minerals=case.minerals,
            carbon_dioxide_atm=case.carbon_dioxide_atm,
            nearby=nearby,
            constants=case.constants,
        )
    except NoSolution as refusal:
        return str(refusal)


def wild_cases(count: int = 120, seed: int = 7) -> list[Case]:
    """Liquors of every strength up to brines without a solution, some with acid."""
    draw = random.Random(seed)
    cases = []
    for number in range(count):
        acid = draw.choice(((), (), ("acetate",), ("citrate",)))
        totals = {name: 10.0 ** draw.uniform(-6.0, 1.2) for name in (*LIQUOR, *acid)}
        cases.append(
            Case(
                name=f"wild {number}",
                totals=totals,
                celsius=draw.uniform(0.0, 60.0),
                minerals=draw.choice(((), ("calcite", "brucite"), ALL_MINERALS, YOUNG)),
                carbon_dioxide_atm=draw.choice((None, None, 4.2e-4)),
                constants=draw.choice(("chosen", "chosen", "database")),
            )
        )
    return cases


def test_generated_systems_are_those_of_the_tables():
    assert TARGET.read_text(encoding="utf-8") == generated_source(), "run: python -m feedcalc.chemistry.generate"


@pytest.mark.parametrize(
    "cases", [ash_grid(), drawn_cases(), wider_cases(), wild_cases()], ids=["ash grid", "drawn", "wider", "wild"]
)
def test_generated_arithmetic_gives_the_result_of_the_general_solver_to_the_last_bit(cases, general):
    for case in cases:
        assert solve(case) == general(case), case.name


def test_generated_arithmetic_starts_nearby_like_the_general_solver(general):
    previous = None
    for case in itertools.chain(drawn_cases(), wild_cases(20)):
        scaled = replace(case, totals={name: 1.3 * amount for name, amount in case.totals.items()})
        for nearby in (solve(scaled), previous):
            if isinstance(nearby, Equilibrium):
                assert solve(case, nearby) == general(case, nearby), case.name
        previous = solve(case)


def test_refusals_are_among_the_wild_cases():
    outcomes = [isinstance(solve(case), str) for case in wild_cases()]
    assert 5 < sum(outcomes) < len(outcomes) - 50


def test_liquor_is_generated_and_an_uncommon_solution_is_not():
    assert system_of("chosen", frozenset(LIQUOR), frozenset(), False).generated in SYSTEMS.values()
    assert system_of("chosen", frozenset({"potassium", "silicon"}), frozenset(), False).generated is None
