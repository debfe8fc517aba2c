"""The solver against PHREEQC on the same constants, over ash-like waters.

Tolerances: pH 0.01; calcium and magnesium 1 % or 0.05 mg/L; potassium, sodium and alkalinity 0.5 %;
conductivity at 25 degC 5 %, 8 % where caustic (pH 11.5 and above), because there the two methods differ and
published hydroxides side with ours.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence
from dataclasses import dataclass

import pytest

from feedcalc.chemistry import equilibrate
from tests.chemistry.reference import reference_equilibrium

MINERALS = ("calcite", "portlandite", "brucite", "gypsum")
ALL_MINERALS = (*MINERALS, "syngenite", "hydroxyapatite")
SOFT = {"calcium": 0.1e-3, "carbon": 0.25e-3}
HARD = {"calcium": 3e-3, "magnesium": 0.6e-3, "carbon": 6.5e-3, "sodium": 1e-3, "chloride": 1e-3, "sulfur": 0.4e-3}


@dataclass(frozen=True)
class Case:
    name: str
    totals: dict[str, float]
    celsius: float
    minerals: Sequence[str]
    carbon_dioxide_atm: float | None
    constants: str


def ash_grid() -> list[Case]:
    """Potassium from seedling feed to strong liquor, lime carbonated or burnt, soft or hard water, cool to
    warm, covered or open.
    """
    cases = []
    for millimol, form, (water_name, water), celsius, pressure, constants in itertools.product(
        (0.2, 1.0, 6.0, 25.0, 70.0, 150.0),
        ("carbonate", "oxide"),
        (("soft", SOFT), ("hard", HARD)),
        (5.0, 20.0, 35.0),
        (None, 4.2e-4),
        ("database", "chosen"),
    ):
        potassium = millimol * 1e-3
        calcium = 2.5 * potassium
        ash = {
            "potassium": potassium,
            "sodium": 0.06 * potassium,
            "calcium": calcium,
            "magnesium": 0.2 * calcium,
            "carbon": (calcium if form == "carbonate" else 0.3 * calcium) + 0.5 * potassium,
            "sulfur": 0.06 * potassium,
            "chloride": 0.05 * potassium,
        }
        totals = {name: ash.get(name, 0.0) + water.get(name, 0.0) for name in ash}
        minerals = tuple(name for name in MINERALS if pressure is None or name != "portlandite")
        air = "closed" if pressure is None else "open"
        cases.append(
            Case(
                f"K {millimol} mmol, Ca as {form}, {water_name} water, {celsius:g} degC, {air}, {constants}",
                totals,
                celsius,
                minerals,
                pressure,
                constants,
            )
        )
    return cases


def drawn_cases(count: int = 320, seed: int = 20240) -> list[Case]:
    """Ash-like mixtures at random, with phosphate and all minerals in half of them."""
    draw = random.Random(seed)
    cases = []
    for number in range(count):
        potassium = 10.0 ** draw.uniform(-3.7, -0.82)
        calcium = 10.0 ** draw.uniform(-3.5, 0.3)
        free_lime = draw.choice((0.0, 0.0, draw.random()))
        phosphorus = draw.choice((0.0, potassium * draw.uniform(0.0, 0.1)))
        pressure = draw.choice((None, 4.2e-4, 4.2e-4 * draw.uniform(0.3, 10.0)))
        minerals = tuple(
            name for name in (ALL_MINERALS if phosphorus else MINERALS) if pressure is None or name != "portlandite"
        )
        cases.append(
            Case(
                f"draw {number}",
                {
                    "potassium": potassium,
                    "sodium": potassium * draw.uniform(0.0, 0.3),
                    "calcium": calcium,
                    "magnesium": calcium * draw.uniform(0.0, 0.15),
                    "carbon": calcium * (1.0 - free_lime) + 0.5 * potassium * draw.uniform(0.6, 1.5),
                    "sulfur": potassium * draw.uniform(0.0, 0.15),
                    "chloride": potassium * draw.uniform(0.0, 0.3),
                    "phosphorus": phosphorus,
                },
                draw.uniform(5.0, 35.0),
                minerals,
                pressure,
                draw.choice(("database", "chosen")),
            )
        )
    return cases


def wider_cases() -> list[Case]:
    """What neutralising and mixing bring in: organic acids, ammonia, silica, and the minerals that go with
    them.
    """
    mixtures = {
        "ammonium carbonate": ({"ammonia": 0.1, "carbon": 0.05}, ()),
        "half-neutralised vinegar": ({"acetate": 0.1, "potassium": 0.05}, ()),
        "liquor with vinegar": ({"potassium": 0.05, "carbon": 0.03, "acetate": 0.03, "calcium": 0.001}, ("calcite",)),
        "liquor with citric acid": (
            {"citrate": 0.02, "potassium": 0.08, "calcium": 0.01, "magnesium": 0.005, "carbon": 0.03, "sodium": 0.01},
            ("calcite",),
        ),
        "magnesium carbonate": ({"potassium": 0.05, "magnesium": 0.05, "carbon": 0.06}, ("nesquehonite", "brucite")),
        "magnesium carbonates": (
            {"potassium": 0.05, "magnesium": 0.05, "carbon": 0.06},
            ("nesquehonite", "brucite", "artinite", "hydromagnesite"),
        ),
        "young phosphate": (
            {"potassium": 0.05, "calcium": 0.05, "carbon": 0.03, "phosphorus": 0.01},
            ("calcite", "amorphous_calcium_phosphate", "portlandite"),
        ),
        "struvite": (
            {"ammonia": 0.05, "magnesium": 0.03, "phosphorus": 0.03, "potassium": 0.02, "silicon": 0.01},
            ("struvite", "brucite", "amorphous_silica"),
        ),
        "brushite": ({"calcium": 0.02, "phosphorus": 0.03, "acetate": 0.01}, ("brushite",)),
        "syngenite": ({"potassium": 0.6, "calcium": 0.1, "sulfur": 0.4}, ("syngenite", "gypsum")),
    }
    return [
        Case(f"{name}, {celsius:g} degC", totals, celsius, minerals, None, "chosen")
        for name, (totals, minerals) in mixtures.items()
        for celsius in (8.0, 25.0)
    ]


@pytest.mark.parametrize("case", [*ash_grid(), *drawn_cases(), *wider_cases()], ids=lambda case: case.name)
def test_agrees_with_phreeqc(case, deviations):
    kelvin = case.celsius + 273.15
    ours = equilibrate(case.totals, kelvin, case.minerals, case.carbon_dioxide_atm, constants=case.constants)
    reference = reference_equilibrium(case.totals, kelvin, case.minerals, case.carbon_dioxide_atm, case.constants)
    caustic = reference.ph >= 11.5

    def check(quantity: str, mine: float, theirs: float, relative: float, absolute: float = 0.0) -> None:
        gap = abs(mine - theirs)
        if gap > absolute:
            deviations.record("PHREEQC", quantity, gap / abs(theirs), relative, case.name)
        assert gap <= max(relative * abs(theirs), absolute), f"{quantity}: {mine} for {theirs}"

    deviations.record("PHREEQC", "pH (absolute)", abs(ours.ph - reference.ph), 0.01, case.name)
    assert ours.ph == pytest.approx(reference.ph, abs=0.01)
    check("alkalinity", ours.alkalinity, reference.alkalinity, 0.005, 1e-6)
    organic = "acetate" in case.totals or "citrate" in case.totals or "ammonia" in case.totals
    if not organic:  # whose ions the database gives neither conductivity nor volume
        check("volume", ours.litres, reference.litres, 0.0005)
    if ours.within_range and not organic:
        check(
            "conductivity, caustic" if caustic else "conductivity",
            ours.conductivity,
            reference.conductivity,
            0.08 if caustic else 0.05,
        )
    check("water left", ours.water_kg, reference.water_kg, 0.0001)
    for element, absolute in (
        ("ammonia", 0.0),
        ("acetate", 0.0),
        ("citrate", 0.0),
        ("potassium", 0.0),
        ("sodium", 0.0),
        ("calcium", 0.05e-3 / 40.08),
        ("magnesium", 0.05e-3 / 24.3),
        ("sulfur", 1e-9),
        ("phosphorus", 1e-9),
    ):
        allowed = 0.005 if element in ("potassium", "sodium") else 0.01
        check(element, ours.dissolved[element], reference.dissolved[element], allowed, absolute)
    for mineral in case.minerals:
        check(f"{mineral} formed", ours.formed[mineral], reference.formed[mineral], 0.01, 1e-6)
