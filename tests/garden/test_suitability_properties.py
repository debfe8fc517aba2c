"""Properties of the verdict for any plant, soil and text."""

from hypothesis import given
from hypothesis import strategies as st

from feedcalc.garden.liming import expected_shift, lime_requirement
from feedcalc.garden.plants import plants, plants_named
from feedcalc.garden.suitability import DIRECTIONS, Circumstances, verdict_for
from feedcalc.uncertainty.estimates import Estimate

PLANTS = st.sampled_from(plants())
PH = st.floats(3.0, 9.5)
TEXTURE = st.sampled_from(("sand", "loam", "clay", "peat", ""))
TESTED = st.sampled_from(("laboratory", "meter", "kit", "strip", ""))


def rank(**told) -> int:
    return DIRECTIONS.index(verdict_for(Circumstances(**told)).word)


@given(st.text(max_size=60))
def test_any_text_can_be_searched_and_outer_spaces_do_not_matter(text):
    found = plants_named(text)
    assert found == plants_named(f"  {text}  ")
    assert verdict_for(Circumstances(soil_ph=6.0, plant=text)).word in DIRECTIONS


@given(PLANTS, PH, PH, TESTED)
def test_the_verdict_never_relaxes_on_less_acid_soil(plant, one, other, tested_with):
    low, high = sorted((one, other))
    told = {"plant": plant.names[0], "tested_with": tested_with}
    assert rank(soil_ph=low, **told) <= rank(soil_ph=high, **told)


@given(PLANTS, PH)
def test_an_excluded_plant_is_held_back_on_any_soil(plant, ph):
    if plant.is_barred:
        assert rank(soil_ph=ph, plant=plant.names[0], tested_with="laboratory") == 2


@given(PLANTS, PH, TESTED)
def test_missing_information_never_relaxes_the_verdict(plant, ph, tested_with):
    told = {"plant": plant.names[0], "tested_with": tested_with}
    assert rank(soil_ph=None, **told) >= rank(soil_ph=min(ph, 6.0), **told)
    assert rank(soil_ph=ph, plant=told["plant"]) >= rank(soil_ph=ph, **told | {"tested_with": "laboratory"})


@given(st.floats(4.5, 7.0), st.floats(4.5, 7.0), TEXTURE, st.floats(1, 40))
def test_the_lime_requirement_brings_the_soil_to_its_target(ph, target, texture, depth):
    need = lime_requirement(Estimate.exactly(ph), target, texture, depth)
    shift = expected_shift(need, texture, depth)
    step = max(target - ph, 0.0)
    assert abs(shift.typical - step) < 1e-9
    assert shift.low <= step + 1e-9
    assert shift.high >= step - 1e-9
