"""Metals of an analysis as loads to the hectare, beside limits, by hand."""

from __future__ import annotations

import pytest

from feedcalc.garden.metals import compared, limits_of, load_per_hectare, metal_figures, years_to_limit
from feedcalc.uncertainty.estimates import Estimate

EXACTLY = Estimate.exactly


def limit(country: str, kind: str, metal: str):
    return next(found for found in limits_of(country) if found.kind == kind and found.metal == metal)


def test_the_cap_rate_of_an_ash_with_three_milligrams_of_cadmium():
    # By hand: 98 g/m2 is 980 kg to the hectare; at 3 mg/kg that is 2940 mg = 2.94 g of cadmium to the hectare.
    assert load_per_hectare(EXACTLY(98.0), 3.0).typical == pytest.approx(2.94)


def test_the_danish_load_allows_that_ash_only_27_grams_to_the_square_metre():
    # By hand: 0.8 g/ha / (3 mg/kg x 0.01) = 26.7 g/m2 a year.
    danish = limit("DK", "load", "cadmium")
    assert compared(danish, load_per_hectare(EXACTLY(26.6), 3.0)).verdict == "within"
    assert compared(danish, load_per_hectare(EXACTLY(26.8), 3.0)).verdict == "above"


def test_a_span_is_passed_only_above_its_upper_end():
    soil = limit("EU", "soil", "cadmium")  # 1 to 3 mg/kg
    assert compared(soil, EXACTLY(0.9)).verdict == "within"
    assert compared(soil, EXACTLY(2.0)).verdict == "may be above"
    assert compared(soil, EXACTLY(3.1)).verdict == "above"


def test_a_load_that_may_be_heavier_may_pass():
    assert compared(limit("FI", "load", "cadmium"), Estimate(0.5, 1.0, 2.0)).verdict == "may be above"


def test_years_until_the_soil_stands_at_its_limit():
    # By hand: 15 cm at 1.3 kg/L is 0.15 x 1300 = 195 kg per square metre, 1,950 t to the hectare. From 200 to
    # 300 mg/kg of zinc there is room for 100 mg/kg x 1,950,000 kg = 195,000 g; at 500 g/ha a year 390 years.
    zinc = limit("EU", "soil", "zinc")
    years = years_to_limit(200.0, zinc, EXACTLY(500.0), 15, EXACTLY(1.3))
    assert years is not None
    assert years.high == pytest.approx(390.0)
    assert years.low == 0.0, "at the lower end of the span, 150, it stands already"


def test_no_years_where_nothing_is_added():
    assert years_to_limit(200.0, limit("EU", "soil", "zinc"), EXACTLY(0.0), 15, EXACTLY(1.3)) is None


def test_a_limit_for_all_years_together_is_spent_in_whole_years():
    # By hand: 40 CFR 503 Table 2 lets 39 kg of cadmium come to a hectare in all; at 10 g/ha a year 3900 years.
    (cadmium,) = metal_figures({"cadmium": 10.0}, {}, EXACTLY(100.0), EXACTLY(100.0), "US", 15, EXACTLY(1.3))
    assert cadmium.per_year == EXACTLY(10.0)
    assert cadmium.years_to_limit is not None
    assert cadmium.years_to_limit.typical == pytest.approx(3900.0)


def test_what_was_not_analysed_is_not_said():
    figures = metal_figures({"lead": 20.0}, {}, EXACTLY(50.0), EXACTLY(50.0), "EU", 15, EXACTLY(1.3))
    assert [figure.metal for figure in figures] == ["lead"]


def test_without_an_area_there_is_no_load_but_the_ash_is_still_compared():
    (lead,) = metal_figures({"lead": 200.0}, {}, None, None, "DE", 15, EXACTLY(1.3))
    assert (lead.per_application, lead.per_year, lead.years_to_limit) == (None, None, None)
    assert [each.verdict for each in lead.compared] == ["above"]  # 150 mg/kg for what is sold
