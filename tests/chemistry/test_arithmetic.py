"""The written-out arithmetic against the general methods of the solver, bit by bit."""

from __future__ import annotations

import itertools
import math
import random
from dataclasses import replace

import pytest

from feedcalc.chemistry import Equilibrium, equilibrate
from feedcalc.chemistry import arithmetic as arithmetic_module
from feedcalc.chemistry import solver as solver_module
from feedcalc.chemistry.arithmetic import STEPS_BEFORE_COMPILING, Arithmetic
from feedcalc.chemistry.constants import constant_set
from feedcalc.chemistry.system import system_of
from feedcalc.words.errors import NoSolution
from tests.chemistry.test_reference import ALL_MINERALS, Case, ash_grid, drawn_cases, wider_cases

LIQUOR = ("potassium", "sodium", "calcium", "magnesium", "carbon", "sulfur", "chloride", "phosphorus")
YOUNG = ("calcite", "portlandite", "brucite", "gypsum", "nesquehonite", "amorphous_calcium_phosphate")
ATTEMPT = Equilibrium | str


@pytest.fixture(autouse=True)
def at_once(monkeypatch):
    """Write everything out at its first use."""
    monkeypatch.setattr(arithmetic_module, "STEPS_BEFORE_COMPILING", 0)


@pytest.fixture
def general(monkeypatch):
    """Return a function that solves a case without compiled functions."""

    def solve_generally(case: Case, nearby: Equilibrium | None = None) -> ATTEMPT:
        with monkeypatch.context() as patch:
            patch.setattr(arithmetic_module, "STEPS_BEFORE_COMPILING", math.inf)
            patch.setattr(solver_module, "arithmetic_of", Arithmetic)
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


def plain_cases() -> list[Case]:
    """Pure water, and water with one or two elements, covered and open."""
    elements = sorted(constant_set().elements)
    chosen = [names for count in (0, 1, 2) for names in itertools.combinations(elements, count)]
    return [
        Case(
            name=f"{names or 'pure water'}, {'open' if pressure else 'covered'}",
            totals=dict.fromkeys(names, 0.002),
            celsius=15.0,
            minerals=() if pressure else ALL_MINERALS,
            carbon_dioxide_atm=pressure,
            constants="chosen",
        )
        for names in chosen
        for pressure in (None, 4.2e-4)
        if not (pressure and "carbon" in names)
    ]


@pytest.mark.parametrize(
    "cases",
    [ash_grid(), drawn_cases(), wider_cases(), wild_cases(), plain_cases()],
    ids=["ash grid", "drawn", "wider", "wild", "plain"],
)
def test_written_out_arithmetic_gives_the_result_of_the_general_solver_to_the_last_bit(cases, general):
    for case in cases:
        assert solve(case) == general(case), case.name


def test_written_out_arithmetic_starts_nearby_like_the_general_solver(general):
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


def test_what_is_solved_often_is_written_out_and_what_is_not_is_not(monkeypatch):
    monkeypatch.setattr(arithmetic_module, "STEPS_BEFORE_COMPILING", STEPS_BEFORE_COMPILING)
    arithmetic = Arithmetic(system_of("chosen", frozenset(LIQUOR), frozenset({"calcite", "brucite"}), False))
    for _ in range(STEPS_BEFORE_COMPILING):
        assert arithmetic.newton((0,)) is None
    assert arithmetic.amounts is None
    assert arithmetic.newton((0,)) is not None
    assert arithmetic.amounts is not None
    assert arithmetic.newton((0, 1)) is None


def test_dependent_minerals_are_left_to_the_general_methods():
    phosphates = frozenset({"hydroxyapatite", "amorphous_calcium_phosphate", "brushite", "portlandite"})
    system = system_of("chosen", frozenset(LIQUOR), phosphates, False)
    assert len(system.minerals) == 4  # of three components: Ca++, PO4--- and H+
    assert Arithmetic(system).newton((0, 1, 2, 3)) is None
    assert Arithmetic(system).newton((0, 1, 2)) is not None
