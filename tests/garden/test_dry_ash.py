"""Application rates of dry ash, compared with calculations by hand."""

import pytest

from feedcalc.garden.ash import ash_of
from feedcalc.garden.dry_ash import advised_ash, ash_content, cap_for, dry_uses, loosest_cap
from feedcalc.uncertainty.estimates import Estimate

# A cup weighed: 107 g in 236.588 mL.
ASH = ash_of("mixed", "aged", {"potassium": 50.0}, 107 / 236.5882365)
USES = {use.id: use for use in dry_uses(ASH, "us")}
EXACTLY = Estimate.exactly


def test_a_cup_to_the_square_yard_by_hand():
    # 107 g / 0.836127 m2 = 128.0 g/m2; 5 % potassium: 6.40 g/m2; once or twice a year: 128 to 256, 192 in the middle.
    use = USES["spread"]
    assert use.ash.typical == pytest.approx(128.0, abs=0.1)
    assert use.ash.low == pytest.approx(use.ash.high), "cup and square are known, nothing is left to guess"
    assert use.potassium.typical == pytest.approx(6.40, abs=0.01)
    assert use.ash_per_year.low == pytest.approx(128.0, abs=0.1)
    assert use.ash_per_year.typical == pytest.approx(191.9, abs=0.2)
    assert use.ash_per_year.high == pytest.approx(255.9, abs=0.2)


def test_a_quarter_cup_to_the_square_foot_by_hand():
    # 26.75 g / 0.092903 m2 = 287.9 g/m2.
    assert USES["raised_bed"].ash.typical == pytest.approx(287.9, abs=0.2)


def test_the_raised_bed_rate_is_about_three_times_the_yearly_limit_or_more():
    # Vermont allows 15 to 20 lb/1000 ft2, 73 to 98 g/m2; Oregon 10 to 15 lb on lawns, 49 to 73.
    assert USES["raised_bed"].ash.typical / cap_for(6.2).high > 3.5
    assert USES["raised_bed"].ash.typical / cap_for(5.5).high == pytest.approx(2.9, abs=0.05)
    assert USES["raised_bed"].ash.typical / cap_for(5.5).low > 3


def test_the_compost_rate_by_hand():
    # 107 g in the six inches of a heap one metre square; spread over 5 to 10 m2: 107 / 7.5 = 14.3 g/m2.
    assert USES["compost"].ash.typical == pytest.approx(14.3, abs=0.1)
    assert USES["compost"].ash_per_year.high < cap_for(6.2).high


def test_a_ring_by_hand():
    # One and a half tablespoons: 1.5 x 14.787 mL x 0.4523 g/mL = 10.03 g on 0.13 m2 = 77.2 g/m2.
    assert USES["ring"].ash.typical == pytest.approx(77.2, abs=0.3)


@pytest.mark.parametrize("customs", ["us", "metric", "uk"])
def test_a_bigger_cup_is_more_ash(customs):
    millilitres = {"us": 236.6, "metric": 250.0, "uk": 284.1}[customs]
    spread = next(use for use in dry_uses(ASH, customs) if use.id == "spread")
    assert spread.ash.typical == pytest.approx(millilitres * 107 / 236.588 / 0.836127, rel=1e-3)


def test_every_practice_is_marked_as_common_practice():
    assert {use.status for use in USES.values()} == {"practice"}


@pytest.mark.parametrize(
    ("soil_ph", "most"),
    [(None, 0), (5.0, 98), (5.99, 98), (6.0, 73), (6.49, 73), (6.5, 0), (7.0, 0), (8.2, 0), (11, 0)],
)
def test_yearly_limits_fall_with_rising_soil_ph(soil_ph, most):
    assert cap_for(soil_ph).high == most
    assert cap_for(soil_ph).high <= loosest_cap().high


def test_the_lime_value_agrees_with_published_values():
    # Household ash counts for 25 to 45 % of lime (Vermont), kitchen ash 45 to 52 % (Neina 2020); all of it 8 to 90 %.
    lime = ash_content(ash_of("mixed", "aged")).lime
    assert 0.08 < lime.low < 0.48 < lime.high < 0.95


def advised(soil_ph=6.0, error=0.0, cap=98.0, held=False, texture="loam", lime=0.5, target=6.5):
    known = Estimate(soil_ph - error, soil_ph, soil_ph + error)
    return advised_ash(
        soil_ph=known,
        target_ph=target,
        stop_ph=7.0,
        texture=texture,
        depth_cm=15,
        lime_value=EXACTLY(lime),
        cap=cap,
        is_held_back=held,
    )


def test_the_ash_that_meets_the_need_by_hand():
    # Loam, 6.0 to 6.5: half of 370 = 185 g CaCO3; at half strength 370 g of ash. The cap of 98 decides.
    advice = advised()
    assert advice.need.typical == pytest.approx(185)
    assert advice.need_in_ash.typical == pytest.approx(370)
    assert (advice.ash, advice.limited_by) == (98.0, "cap")


def test_a_small_requirement_is_met_exactly():
    # Sand, 6.4 to 6.5: 22 g CaCO3, 44 g of ash.
    advice = advised(soil_ph=6.4, texture="sand")
    assert advice.ash == pytest.approx(44.0)
    assert advice.limited_by == "need"


def test_the_worst_case_stays_below_the_stop_ph():
    # Sand read 6.3 by a kit that may be off by 0.5: at 6.8 a weak sand takes 110 x 0.2 = 22 g CaCO3,
    # and an ash worth 0.8 of lime holds that in 27.5 g.
    advice = advised(soil_ph=6.3, error=0.5, texture="sand", lime=0.8)
    assert advice.ash == pytest.approx(27.5)
    assert advice.limited_by == "stop"


def test_an_ash_without_lime_is_limited_by_the_yearly_limit():
    assert (advised(lime=0.0).ash, advised(lime=0.0).limited_by) == (98.0, "cap")


def test_held_back_advises_no_ash_and_gives_the_cause():
    assert (advised(held=True).ash, advised(held=True).limited_by) == (0.0, "held back")


@pytest.mark.parametrize("texture", ["sand", "loam", "clay", "peat", ""])
def test_the_advice_never_exceeds_limit_or_requirement(texture):
    for tenths in range(45, 80):
        for error in (0.0, 0.3, 0.5):
            advice = advised(soil_ph=tenths / 10, error=error, texture=texture)
            assert 0 <= advice.ash <= min(98.0, advice.need_in_ash.typical)
