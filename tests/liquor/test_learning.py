"""What instruments show of a solution, and what weighings and a clear line say."""

from __future__ import annotations

import json
import math

import pytest

from feedcalc import published
from feedcalc.chemistry import equilibrate
from feedcalc.contract.request import read_request
from feedcalc.garden.ash import ash_of
from feedcalc.garden.water import water_of_report
from feedcalc.liquor.acid import acid_dose, acids
from feedcalc.liquor.ash_evidence import weighed_density
from feedcalc.liquor.instruments import Titration, clear_line_seen, clouding_diameter, pen_shows, ph_shows, readings_in
from feedcalc.liquor.learning import influences_of
from feedcalc.liquor.steeping import Liquor, steep
from feedcalc.liquor.vessel import Vessel, batch_of, settle_hours
from feedcalc.words.errors import InputErrors

KELVIN = 288.15


def asked(**groups):
    return read_request(json.dumps({"schema": 1, **groups}))


def liquor_of(state: str, grams_per_kilogram: float = 21.0):
    return steep(ash_of("mixed", state).typical(), grams_per_kilogram, water_of_report("rain", {}), KELVIN, 24).liquor


def test_a_compensating_pen_in_potassium_chloride_shows_the_conductivity_at_25_degrees():
    """0.01 mol/kg KCl: 1.408 mS/cm at 25 degC, 1.141 at 15 (CRC Handbook, after Wu, Koch and Pratt 1991)."""
    chloride = equilibrate({"potassium": 0.01, "chloride": 0.01}, 298.15)
    assert pen_shows(chloride, 15.0, is_compensated=False) == pytest.approx(1.141, rel=0.01)
    assert pen_shows(chloride, 25.0, is_compensated=True) == pytest.approx(1.408, rel=0.01)
    assert pen_shows(chloride, 15.0, is_compensated=True) == pytest.approx(1.408, rel=0.025)


def test_a_pen_that_does_not_compensate_shows_less_in_the_cold():
    chemistry = liquor_of("fresh").equilibrium
    assert pen_shows(chemistry, 5.0, False) < 0.75 * pen_shows(chemistry, 25.0, False)


def test_the_ph_of_a_caustic_liquor_is_higher_in_the_cold_as_the_ion_product_of_water_says():
    """pKw 14.53 at 10 degC and 13.99 at 25 (CRC Handbook): a lye's pH falls by the difference, 0.54."""
    lye = equilibrate({"potassium": 0.01}, 283.15)
    assert ph_shows(lye, 10.0) - ph_shows(lye, 25.0) == pytest.approx(0.54, abs=0.02)


@pytest.mark.parametrize("state", ["fresh", "aged"])
@pytest.mark.parametrize("end_ph", [5.0, 6.0, 8.3])
@pytest.mark.parametrize("grams_per_kilogram", [8.0, 45.0])
def test_a_titration_model_fitted_to_one_liquor_holds_for_weaker_and_stronger_ones(state, end_ph, grams_per_kilogram):
    """The short way must agree with the full equilibrium, drop by drop, on a liquor it has not seen."""
    titration = Titration.of(liquor_of(state), end_ph, 0.05, KELVIN)
    other = liquor_of(state, grams_per_kilogram)
    full = acid_dose(other, acids()["vinegar"], 0.05, end_ph, KELVIN)
    assert titration.millilitres(other) == pytest.approx(full / 10, rel=0.04)


def test_the_vinegar_that_pure_lye_takes_follows_by_arithmetic():
    """0.05 mol/L KOH against acetic acid of 5 % (0.833 mol/L): 6.0 mL for 100 mL."""
    lye = Liquor(equilibrate({"potassium": 0.05}, 298.15))
    assert Titration.of(lye, 8.3, 0.05, 298.15).millilitres(lye) == pytest.approx(5 / (50 / 60.05), rel=0.02)


@pytest.mark.parametrize("row", published.table("student_t"), ids=lambda row: f"{row['degrees_of_freedom']} degrees")
def test_95_percent_of_students_t_lies_below_the_value_of_the_table(row):
    """The density of Student's t integrated by Simpson's rule (NIST/SEMATECH e-Handbook 1.3.6.6.4)."""
    freedom, bound = float(row["degrees_of_freedom"]), float(row["t95"])
    front = math.exp(math.lgamma((freedom + 1) / 2) - math.lgamma(freedom / 2)) / math.sqrt(freedom * math.pi)

    def density(t):
        return front * (1 + t * t / freedom) ** (-(freedom + 1) / 2)

    steps = 400
    inner = sum((4 if i % 2 else 2) * density(bound * i / steps) for i in range(1, steps))
    below = 0.5 + bound / steps / 3 * (density(0) + inner + density(bound))
    assert below == pytest.approx(0.95, abs=2e-4)


def test_weighings_give_their_mean_and_narrow_with_their_number():
    few = weighed_density(asked(ash={"weighings": ["100 g", "104 g"], "weighed_measure": "250 mL"}))
    many = weighed_density(asked(ash={"weighings": ["100 g", "104 g"] * 6, "weighed_measure": "250 mL"}))
    assert few.typical == pytest.approx(102 / 250)
    assert many.typical == pytest.approx(102 / 250)
    assert few.low < many.low < many.typical < many.high < few.high
    loose = published.estimate(published.table("ash_density")[0])
    assert few.high - few.low < 0.5 * (loose.high - loose.low)


def test_scattered_weighings_give_a_wider_range_than_even_ones():
    even = weighed_density(asked(ash={"weighings": "100 g; 101 g; 102 g; 101 g", "weighed_measure": "250 mL"}))
    scattered = weighed_density(asked(ash={"weighings": "70 g; 131 g; 90 g; 113 g", "weighed_measure": "250 mL"}))
    assert scattered.high - scattered.low > 2 * (even.high - even.low)


def test_a_cup_that_weighs_like_lead_is_refused():
    with pytest.raises(InputErrors, match="it is not sifted ash"):
        weighed_density(asked(ash={"weighings": "2 kg", "weighed_measure": "250 mL"}))


@pytest.mark.parametrize(("depth", "hours"), [("5 cm", "1 h"), ("15 cm", "12 h")])
def test_the_settling_time_extrapolates_the_clear_line(depth, hours):
    """Equal grains sink evenly: time to clear the whole depth is the time so far times the ratio of the depths."""
    request = asked(measured={"clear_depth": depth, "clear_after": hours})
    sample = ash_of("mixed", "aged").typical()
    batch = batch_of(100.0, 5.0, Vessel(0.3, 12.0), sample)
    seen = clouding_diameter(clear_line_seen(request), batch, sample, KELVIN)
    so_far = request.number("measured.clear_after") / request.number("measured.clear_depth")
    assert settle_hours(batch, sample, KELVIN, seen) == pytest.approx(so_far * batch.clear_depth, rel=0.01)


def test_a_strip_has_a_larger_error_than_a_meter_and_a_given_error_replaces_both():
    meter, strip, own = (
        readings_in(asked(measured={"ph": 11.5, **more}))[0].standard_deviation
        for more in ({}, {"ph_by": "strip"}, {"ph_by": "strip", "ph_width": 0.1})
    )
    assert own < meter < strip


def test_a_compensating_pen_has_a_larger_error_in_the_cold():
    warm, cold, own = (
        readings_in(asked(measured={"ec": "4 mS/cm", **more}))[0].standard_deviation
        for more in ({"temperature": "25 °C"}, {"temperature": "5 °C"}, {"temperature": "5 °C", "compensated": "no"})
    )
    assert warm == own < cold


def test_unknowns_are_ranked_by_their_largest_share_of_spread():
    shares = [{"density": place / 99, "free_lime": (place * 37 % 100) / 99} for place in range(100)]
    figures = [
        (sample["density"], sample["free_lime"], 3 * sample["density"] + sample["free_lime"]) for sample in shares
    ]
    ranked = influences_of(shares, figures)
    assert {matter.unknown for matter in ranked} == {"density", "free_lime"}
    assert ranked[0].most >= ranked[1].most > 0.9
    assert next(matter for matter in ranked if matter.unknown == "density").lime_value > 0.8


def test_every_unknown_of_an_ash_has_words_and_a_remedy():
    assert set(ash_of("mixed", "fresh").unknowns) == {row["unknown"] for row in published.table("unknown_words")}
