"""Lime and ash against worked examples that others printed, each sum done by hand beside it.

Pound 453.592 g, short ton 2000 lb, acre 4046.86 m2, foot 0.3048 m, inch 2.54 cm (NIST Handbook 44), so
1 lb/100 ft2 = 453.592 / 9.2903 = 48.824 g/m2 and 1 lb/acre = 453.592 / 4046.86 = 0.11209 g/m2.
"""

from __future__ import annotations

import pytest

from feedcalc.command_line.plots.plan import plan_of
from feedcalc.contract.request import read_request
from feedcalc.contract.units import converted
from feedcalc.garden.dry_ash import AshContent, advised_ash
from feedcalc.garden.liming import ash_that_meets, expected_shift, lime_requirement, soil_buffer
from feedcalc.garden.spreading import Received, ground_answer
from feedcalc.uncertainty.estimates import Estimate

POUNDS_TO_100_SQUARE_FEET = 48.824
POUNDS_TO_THE_ACRE = 0.11209


def test_a_weaker_lime_takes_more_of_it_penn_state_garden():
    # Printed: 5 lb of lime to 100 square feet with a material of 70 % takes 5 x 100 / 70 = 7 lb.
    need = Estimate.exactly(5 * POUNDS_TO_100_SQUARE_FEET)
    pounds = ash_that_meets(need, Estimate.exactly(0.70)).typical / POUNDS_TO_100_SQUARE_FEET
    assert pounds == pytest.approx(7, abs=0.5)


def test_two_to_four_times_as_much_ash_as_limestone_orchard_fruits_book():
    # Printed: ash of 25 to 60 % takes two to four times as much as limestone: 1 / 0.60 = 1.7, 1 / 0.25 = 4.
    times = ash_that_meets(Estimate.exactly(1.0), Estimate(0.25, 0.45, 0.60))
    assert (round(times.low), round(times.high)) == (2, 4)


@pytest.mark.parametrize(("share", "printed"), [(0.25, 220), (0.60, 520)])
def test_what_the_yearly_cap_brings_on_an_acre_orchard_fruits_book(share, printed):
    # Printed: 20 lb of ash to 1000 square feet a year is 220 to 520 lb of CaCO3 to the acre, to two figures.
    # By hand: 20 lb/1000 ft2 = 97.65 g/m2; x 0.25 = 24.4 g/m2 = 217.8 lb/acre; x 0.60 = 58.6 g/m2 = 522.7 lb/acre.
    # The cap of acid soil is that rate, told as 98 g/m2.
    plan = plan_of({"soil_ph": "5.2", "tested_with": "laboratory", "texture": "clay", "use": "dry ash"}, "2026-05-01")
    assert plan["dry_ash_g_per_m2"] == 98
    assert 98 * share / POUNDS_TO_THE_ACRE == pytest.approx(printed, abs=5)
    # Our mixed ash spans at least the middle of what the book says of ashes.
    assert plan["dry_ash_lime_value_g_per_m2_low"] <= 98 * 0.45 <= plan["dry_ash_lime_value_g_per_m2_high"]


def test_ash_first_and_lime_for_the_rest_community_science_1982():
    # Printed (the mini-farming book): ash counts as half its weight of lime and must not pass 5 lb to 100 square feet;
    # where 5.5 lb of lime are called for, 5 lb of ash stand for 2.5 and 3 lb of lime are left to give.
    request = read_request('{"schema": 1, "soil": {"ph": 5.5, "tested_with": "laboratory", "texture": "loam"}}')
    half = AshContent(Estimate.exactly(0.5), Estimate.exactly(0.05))
    whole = ground_answer(request, half, 0.45)
    ash = 5 * POUNDS_TO_100_SQUARE_FEET
    after = ground_answer(request, half, 0.45, Received(ash=ash))
    assert whole.need is not None
    assert after.need is not None
    met = whole.need["lime"]["value"] - after.need["lime"]["value"]
    assert met / POUNDS_TO_100_SQUARE_FEET == pytest.approx(2.5, rel=0.001)
    # And it is well past any yearly cap: no more this year.
    assert after.advice["ash"]["value"] == 0
    # Lime for the rest takes the need to nothing: by hand 370 g for the unit from 5.5 to 6.5, less 122.06.
    rest = Received(ash=ash, lime=370 - 2.5 * POUNDS_TO_100_SQUARE_FEET)
    finished = ground_answer(request, half, 0.45, rest)
    assert finished.need is not None
    assert finished.need["lime"]["value"] == pytest.approx(0, abs=0.1)


def test_half_the_way_takes_half_the_lime_north_carolina_lime():
    # Printed: from pH 5.0 the lime for 6.0 is (6.0 - 5.0) / (6.6 - 5.0) = 0.625 of that for 6.6: 0.625 x 1.2 = 0.75 t
    # to the acre (their sheet rounds to 0.76).
    start = Estimate.exactly(5.0)
    part, whole = (lime_requirement(start, target, "loam", 20).typical for target in (6.0, 6.6))
    assert part / whole == pytest.approx(0.625, abs=1e-9)
    assert 1.2 * part / whole == pytest.approx(0.76, abs=0.015)


@pytest.mark.parametrize(
    ("soil_ph", "target", "tonnes", "depth"),
    [(6.4, 6.7, 1.8, 20), (6.0, 6.7, 4.2, 20), (5.5, 6.7, 7.2, 20), (6.0, 6.5, 3.0, 15), (5.5, 6.5, 6.0, 15)],
    ids=lambda value: str(value),
)
def test_farm_lime_of_a_soil_of_unsaid_texture_rb209_arable(soil_ph, target, tonnes, depth):
    # 1 t/ha = 100 g/m2; ground limestone of neutralising value 54 (CaO): 54 / 56.08 = 0.963 of CaCO3 (memory).
    printed = tonnes * 100 * 0.54 * 100.087 / 56.077
    need = lime_requirement(Estimate.exactly(soil_ph), target, "", depth)
    assert need.low <= printed <= need.high
    assert need.typical / 2 <= printed <= need.typical * 2


def test_the_weight_of_soil_behind_the_buffers_uc_davis_lime():
    # Printed: 8 inches of soil weigh 2.4 million pounds to the acre. By hand: 2.4e6 x 0.11209 = 269 000 g/m2 in
    # 20.32 cm, so 198.6 kg/m2 in 15 cm. A loam of 3 cmol of charge to the kg and pH unit (memory, soil science texts)
    # takes 3 x 0.50044 g CaCO3 to the kg: 298 g/m2.
    kilograms = 2.4e6 * POUNDS_TO_THE_ACRE / 1000 * 15 / 20.32
    assert kilograms == pytest.approx(198.6, abs=0.1)
    assert soil_buffer("loam", 15).low <= kilograms * 3 * 0.50044 <= soil_buffer("loam", 15).high


def test_three_tons_of_lime_in_ash_scs_maine_1990():
    # Printed: a short ton of ash has 746 lb of CaCO3, and 7 short tons stand for 3 of lime on an acre of hay.
    # By hand: 3 x 2000 / 746 = 8.0 t for lime that is pure; the study's 7 t would do for a lime of 87 %, which it
    # does not say. We count pure CaCO3.
    tons = ash_that_meets(Estimate.exactly(3.0), Estimate.exactly(746 / 2000)).typical
    assert tons == pytest.approx(8.04, abs=0.01)
    # What no garden should get at once: 7 short tons to the acre are 7 x 2000 x 0.11209 = 1569 g/m2, 16 times the cap.
    advice = advised_ash(Estimate.exactly(5.5), 6.5, 7.0, "clay", 15, Estimate.exactly(0.373), 98.0, False)
    assert advice.ash == 98
    assert 7 * 2000 * POUNDS_TO_THE_ACRE / advice.ash == pytest.approx(16, abs=0.1)


@pytest.mark.parametrize(("lime", "printed"), [(4.32, 7.23), (7.94, 13.24)])
def test_ash_weighed_out_for_lime_in_a_pot_trial_gilan_lime_ash(lime, printed):
    # Printed for two soils: 4.32 and 7.94 g of CaCO3, 7.23 and 13.24 g of ash. The first pair gives the ash's worth,
    # 4.32 / 7.23 = 0.5975, the second 0.5997: 0.60, and 4.32 / 0.60 = 7.20, 7.94 / 0.60 = 13.23.
    assert ash_that_meets(Estimate.exactly(lime), Estimate.exactly(0.60)).typical == pytest.approx(printed, rel=0.005)


def test_the_conversions_used_here_are_those_of_the_reader():
    assert converted(1.0, "lb", "g") / converted(100.0, "ft^2", "m^2") == pytest.approx(
        POUNDS_TO_100_SQUARE_FEET, rel=1e-4
    )
    assert converted(1.0, "lb", "g") / converted(1.0, "acre", "m^2") == pytest.approx(POUNDS_TO_THE_ACRE, rel=1e-4)


def test_a_square_metre_of_ash_by_hand_from_cup_to_ph():
    # One level US cup (236.588 mL) of an ash of 0.45 g/mL weighs 106.5 g; on one square yard (0.836127 m2) 127.3 g/m2.
    # At half the strength of lime 63.7 g CaCO3/m2; dug 15 cm into a loam of 370 g for each unit: 63.7 / 370 = 0.172.
    grams = 236.588 * 0.45 / 0.836127
    assert grams == pytest.approx(127.3, abs=0.1)
    assert expected_shift(Estimate.exactly(grams * 0.5), "loam", 15).typical == pytest.approx(0.172, abs=0.001)
