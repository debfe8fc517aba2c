"""Acid, air and second things on any liquor that ash can make: answers in order, or a plain refusal."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from feedcalc.chemistry import equilibrate
from feedcalc.liquor.acid import acid_for, acids
from feedcalc.liquor.air import exposure_to_air
from feedcalc.liquor.mixing import VERDICTS, mixing_check, second_things
from feedcalc.liquor.steeping import STEEP_MINERALS, Liquor
from tests.examples import examples

amounts = st.floats(1e-7, 1.0).map(lambda share: share**3)
kelvins = st.floats(273.5, 313.15)


@st.composite
def liquors(draw: st.DrawFn) -> Liquor:
    """From rainwater to 0.4 mol/L of potassium, from all hydroxide to all carbonate, with or without lime."""
    potassium = 0.4 * draw(amounts)
    totals = {
        "potassium": potassium,
        "sodium": 0.1 * potassium,
        "carbon": potassium * draw(st.floats(0.0, 1.2)),
        "sulfur": 0.2 * potassium * draw(st.floats(0.0, 1.0)),
        "calcium": 0.02 * draw(amounts),
        "magnesium": 0.005 * draw(amounts),
        "phosphorus": 1e-4 * draw(amounts),
    }
    return Liquor(equilibrate(totals, draw(kelvins), STEEP_MINERALS))


@examples(60)
@given(liquors(), st.sampled_from(sorted(acids())), st.floats(4.0, 11.0), st.floats(0.3, 1.0))
def test_a_dose_reaches_its_target_or_says_why_not(liquor, name, target, of_strongest):
    acid = acids()[name]
    kelvin = liquor.equilibrium.temperature_kelvin
    found = acid_for(liquor, acid, acid.strengths[2] * of_strongest, target, kelvin)
    if found.dose is None:
        assert found.reason
    elif found.dose == 0.0:
        assert found.ph_before <= target + 0.003
    else:
        assert abs(found.ph_reached - target) <= 0.0021
        assert 0.0 < found.dose <= acid.most_per_litre
        assert found.dose_half_ph_past is None or found.dose_half_ph_past > found.dose
    assert found.carbon_dioxide_millilitres_per_litre >= 0.0


@examples(40)
@given(liquors(), st.floats(0.01, 0.5), st.floats(1.0, 50.0), st.booleans())
def test_an_exposed_liquor_moves_one_way_towards_equilibrium_with_air(liquor, surface, litres, covered):
    kelvin = liquor.equilibrium.temperature_kelvin
    found = exposure_to_air(liquor, surface, litres, kelvin, (0, 1, 10, 100, 1000), covered)
    up = found.ph_in_the_end > found.ph_at_first
    for before, after in pairwise(found.rows):
        moved = after.ph.typical - before.ph.typical
        assert (moved if up else -moved) >= -1e-3
    ends = sorted((found.ph_at_first, found.ph_in_the_end))
    assert all(ends[0] - 0.05 <= row.ph.typical <= ends[1] + 0.05 for row in found.rows)


@examples(40)
@given(liquors(), st.sampled_from(sorted(second_things())), st.floats(0.0, 20.0))
def test_a_check_always_gives_a_verdict_no_milder_than_the_table(liquor, name, dose):
    thing = second_things()[name]
    found = mixing_check(liquor, thing, liquor.equilibrium.temperature_kelvin, dose)
    assert VERDICTS.index(found.verdict) >= VERDICTS.index(thing.verdict)
    assert all(amount > 0.0 for amount in found.fallen_out.values())
    assert 0.0 <= found.ammonia_share <= 1.0 + 1e-9
