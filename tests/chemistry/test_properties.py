"""Properties of every equilibrium, for arbitrary totals.

The examples are the same in every run, so a failure points to a change of the code. When the tests were written, every
property also held for 3000 examples.
"""

from __future__ import annotations

import math
import warnings

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feedcalc.chemistry import ELEMENTS, MINERALS, Equilibrium, equilibrate
from feedcalc.chemistry.constants import HYDROGEN_ION, constant_set
from feedcalc.words.errors import NoSolution
from tests.chemistry.reference import ELEMENTS as REFERENCE_ELEMENTS
from tests.chemistry.reference import reference_equilibrium
from tests.examples import examples

amounts = st.one_of(st.just(0.0), st.floats(-12.0, 0.0).map(lambda power: 10.0**power))
any_totals = st.fixed_dictionaries(dict.fromkeys(ELEMENTS, amounts))
any_minerals = st.sets(st.sampled_from(MINERALS))
any_air = st.one_of(st.none(), st.floats(-6.0, -1.0).map(lambda power: 10.0**power))
any_kelvin = st.floats(273.15, 323.15)


def solved(*arguments: object, **named: object) -> Equilibrium | None:
    """Return the equilibrium, or None for a refusal; any warning is an error."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            return equilibrate(*arguments, **named)
        except NoSolution:
            return None


def composition(name: str) -> dict[str, float]:
    for species in constant_set().species:
        if species.name == name:
            return dict(species.formation.components)
    raise KeyError(name)


@given(any_totals, any_kelvin, any_minerals, any_air)
@examples(250, derandomize=True)
def test_every_answer_satisfies_its_balances(totals, kelvin, minerals, pressure):
    result = solved(totals, kelvin, minerals, pressure)
    if result is None:
        return
    assert result.balance_error <= 1e-9
    held = dict.fromkeys((element.component for element in constant_set().elements.values()), 0.0)
    charge, gross_charge = 0.0, 0.0
    charges = {species.name: species.charge for species in constant_set().species}
    for name, molality in result.molality.items():
        assert molality >= 0.0
        charge += charges[name] * molality
        gross_charge += abs(charges[name]) * molality
        for component, share in composition(name).items():
            if component in held:
                held[component] += share * molality * result.water_kg
    for name, amount in result.formed.items():
        assert amount >= 0.0
        for component, share in constant_set().minerals[name].components.items():
            if component in held:
                held[component] += share * amount
    for name, element in constant_set().elements.items():
        if name == "carbon" and pressure is not None:
            continue
        given_amount = totals[name] if totals[name] > 1e-15 else 0.0
        assert math.isclose(held[element.component], given_amount, rel_tol=1e-9, abs_tol=1e-18)
    # Charge is not balanced on its own but follows from the others, so it gathers their rounding.
    assert abs(charge) <= 1e-9 * (gross_charge + sum(totals.values()))


@given(any_totals, any_kelvin, any_minerals, any_air)
@examples(150, derandomize=True)
def test_no_allowed_mineral_is_supersaturated(totals, kelvin, minerals, pressure):
    result = solved(totals, kelvin, minerals, pressure)
    if result is None:
        return
    for name in minerals:
        if name in result.saturation and not (pressure is not None and name == "portlandite"):
            assert result.saturation[name] < 1e-6
            if result.formed[name] > 0.0:
                assert result.saturation[name] == pytest.approx(0.0, abs=1e-6)


@given(any_totals, any_totals, any_kelvin, any_minerals, any_air)
@examples(100, derandomize=True)
def test_the_starting_point_does_not_change_the_answer(totals, others, kelvin, minerals, pressure):
    cold = solved(totals, kelvin, minerals, pressure)
    neighbour = solved(others, kelvin, minerals, pressure)
    if cold is None or neighbour is None:
        return
    warm = solved(totals, kelvin, minerals, pressure, nearby=neighbour)
    assert warm is not None
    assert warm.ph == pytest.approx(cold.ph, abs=1e-6)
    for name, amount in cold.formed.items():
        assert warm.formed[name] == pytest.approx(amount, rel=1e-6, abs=1e-9)


@given(st.sampled_from(ELEMENTS), st.floats(-12.0, 0.0), any_kelvin, any_air)
@examples(80, derandomize=True)
def test_one_element_alone_is_solved(element, power, kelvin, pressure):
    result = solved({element: 10.0**power}, kelvin, (), pressure)
    assert result is not None or (pressure is not None and power > -1.0)


@given(
    st.fixed_dictionaries({name: st.floats(-7.0, -1.0).map(lambda power: 10.0**power) for name in REFERENCE_ELEMENTS}),
    st.floats(278.15, 308.15),
    st.sets(st.sampled_from(tuple(name for name in MINERALS if name != "portlandite"))),
    st.one_of(st.none(), st.just(4.2e-4)),
    st.sampled_from(("chosen", "database")),
)
@examples(150, derandomize=True)
def test_random_waters_agree_with_phreeqc(totals, kelvin, minerals, pressure, constants):
    result = solved(totals, kelvin, sorted(minerals), pressure, constants=constants)
    if result is None or not result.within_range:
        return
    reference = reference_equilibrium(totals, kelvin, sorted(minerals), pressure, constants)
    assert result.ph == pytest.approx(reference.ph, abs=0.01)
    for element in ("potassium", "calcium", "magnesium", "carbon", "sulfur", "phosphorus", "ammonia"):
        assert result.dissolved[element] == pytest.approx(reference.dissolved[element], rel=0.01, abs=1e-7)
    assert HYDROGEN_ION in result.log_activity
