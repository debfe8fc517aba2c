"""Lime arithmetic: what must hold whatever the tables say."""

import pytest

from feedcalc.chemistry import equilibrate
from feedcalc.garden.liming import (
    ash_that_meets,
    expected_shift,
    lime_requirement,
    limed_ph,
    notes,
    soil_buffer,
    soil_ph_ceiling,
)
from feedcalc.uncertainty.estimates import Estimate

EXACTLY = Estimate.exactly


def test_a_soil_at_its_target_needs_nothing():
    assert lime_requirement(EXACTLY(6.5), 6.5, "loam", 15) == EXACTLY(0.0)
    assert lime_requirement(EXACTLY(7.2), 6.5, "clay", 15) == EXACTLY(0.0)


def test_heavier_ground_and_deeper_digging_take_more():
    needs = [lime_requirement(EXACTLY(5.5), 6.5, texture, 15).typical for texture in ("sand", "loam", "clay", "peat")]
    assert needs == sorted(needs)
    assert len(set(needs)) == 4
    assert lime_requirement(EXACTLY(5.5), 6.5, "loam", 30).typical == pytest.approx(2 * needs[1])


def test_an_unsaid_texture_is_as_unsure_as_sand_and_clay_together():
    unsaid = soil_buffer("", 15)
    assert unsaid.low == soil_buffer("sand", 15).low
    assert unsaid.high == soil_buffer("clay", 15).high


def test_what_a_soil_needs_moves_it_to_its_target():
    need = lime_requirement(EXACTLY(5.8), 6.5, "clay", 20)
    shift = expected_shift(EXACTLY(need.typical), "clay", 20)
    assert shift.typical == pytest.approx(0.7)
    assert shift.low < 0.7 < shift.high


def test_an_unsure_reading_widens_the_need():
    sure, unsure = (lime_requirement(ph, 6.5, "loam", 15) for ph in (EXACTLY(6.0), Estimate(5.5, 6.0, 6.5)))
    assert unsure.low == 0.0
    assert unsure.high == pytest.approx(2 * sure.high)


def test_ash_of_half_the_strength_of_lime_takes_twice_as_much():
    # Vermont: ash is about half as strong as lime, use twice as much.
    assert ash_that_meets(EXACTLY(100.0), EXACTLY(0.5)).typical == 200.0


@pytest.mark.parametrize(("texture", "depth"), [("mud", 15), ("loam", 0), ("loam", -3)])
def test_no_such_soil_is_refused(texture, depth):
    with pytest.raises(ValueError, match=r"texture|depth"):
        soil_buffer(texture, depth)


def test_an_ash_without_lime_meets_nothing():
    with pytest.raises(ValueError, match="lime"):
        ash_that_meets(EXACTLY(100.0), Estimate(0.0, 0.5, 1.0))


def test_the_way_back_shows_both_sulfur_rates_where_sources_differ():
    text = " ".join(note.text for note in notes("undo_notes"))
    assert "135\u00a0g/m²" in text  # Britain
    assert "34\u00a0g/m²" in text  # Kansas: 7 lb/1000 ft2 = 7 x 4.882 = 34.2
    assert "54\u00a0g/m²" in text  # 11 x 4.882 = 53.7
    assert "83\u00a0g/m²" in text  # 17 x 4.882 = 83.0


def test_carbonate_ends_what_lime_does_to_a_soil():
    shift = expected_shift(EXACTLY(5000.0), "sand", 15, soil_ph=6.0)
    now = limed_ph(6.0, 0.5, shift)
    assert 8.2 <= now.typical <= 8.5
    assert now.high <= 8.5
    assert limed_ph(9.1, 0.1, expected_shift(EXACTLY(500.0), "sand", 15, soil_ph=9.1)).typical == 9.1  # sodium


def test_the_ceiling_is_that_of_calcite_in_water_open_to_air():
    # Air of 300 ppm, when the textbooks were written, and of 420 ppm.
    for ppm in (300e-6, 420e-6):
        solved = equilibrate({"calcium": 5.0, "carbon": 5.0}, 298.15, ("calcite",), ppm)
        assert soil_ph_ceiling().low - 0.05 <= solved.ph <= soil_ph_ceiling().high
