"""Figures in words: the printed number is the value rounded to what is known of it."""

from __future__ import annotations

import json
import re
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feedcalc.contract.figures import flat_figures, shown
from feedcalc.contract.numbers import read_number
from feedcalc.sheets.batch import Sheet
from tests.asking import sheet_of_text, values_of

UNITS = st.sampled_from(["mg/L", "mg", "g", "L", "mL", "h", "mS/cm", "mg/L CaCO3", "g CaCO3"])


def sheet(**asked) -> Sheet:
    return sheet_of_text(json.dumps({"schema": 1, "ranges": "off", **asked}))


def number_in(text: str, locale: str = "en-GB") -> float:
    return read_number(re.split("\u00a0", text)[0], "", locale)


@given(st.floats(1e-3, 1e6), UNITS, st.sampled_from(["en-GB", "de-DE", "fr-FR", "en-IN"]))
def test_an_uncertain_figure_has_two_significant_digits(value, unit, locale):
    figure = {"value": value, "unit": unit, "low": value * 0.5, "high": value * 2}
    said = shown("liquor.potassium", figure, locale)
    assert said.value == value
    if said.text.startswith("under"):
        assert value < 1.0
        return
    scale = 1000 if said.unit.startswith("g") and unit.startswith("mg") else 1
    assert number_in(said.text, locale) * scale == pytest.approx(value, rel=0.051)
    digits = re.sub(r"[^\d]", "", re.split("\u00a0", said.text)[0]).strip("0")
    assert len(digits) <= 2


@given(st.floats(0, 14), st.floats(0, 1), st.floats(0, 1))
def test_a_ph_has_one_decimal(value, below, above):
    said = shown("liquor.ph", {"value": value, "unit": "1", "low": value - below, "high": value + above}, "en-GB")
    assert number_in(said.text) == pytest.approx(value, abs=0.0501)
    assert len(said.text.partition(".")[2]) <= 1 or value < 1


@given(st.floats(0.01, 900), st.floats(0.5, 1), st.floats(1, 2))
def test_a_rounded_range_contains_the_rounded_value(value, below, above):
    figure = {"value": value, "unit": "mg/L", "low": value * below, "high": value * above}
    said = shown("liquor.potassium", figure, "en-GB")
    if not said.range or "under" in said.range:
        return
    low, high = said.range.split(" to ")
    assert read_number(low, "") <= number_in(said.text) <= read_number(high, "")


def test_an_exact_figure_has_no_range():
    assert shown("batch.water_volume", {"value": 5.0, "unit": "L", "low": 5.0, "high": 5.0}, "en-GB").full == "5\u00a0L"


def test_a_tiny_figure_is_written_as_under_a_bound():
    said = shown("liquor.phosphorus", {"value": 4.2e-5, "unit": "mg/L", "low": 1e-6, "high": 3e-4}, "en-GB")
    assert said.text == "under 0.1\u00a0mg/L"
    assert said.range == ""


def test_a_number_is_written_as_its_locale_writes_it():
    said = shown("liquor.ec", {"value": 8.34, "unit": "mS/cm", "low": 5.13, "high": 15.2}, "de-DE")
    assert said.full == "8,3\u00a0mS/cm (likely 5,1 to 15)"


def test_every_figure_of_the_reply_has_a_text():
    values, figures = values_of(), sheet().figures
    assert set(figures) == set(flat_figures(values))
    for path, figure in flat_figures(values).items():
        assert figures[path].value == figure["value"]


@pytest.mark.parametrize(
    ("cans", "customs", "words"),
    [
        ([{"size": "9 L", "count": 2}], "metric", r"level (cup|tablespoon)"),
        ([{"size": "1 L", "count": 1}], "us", r"level (tea|table)spoon"),
        ([{"size": "200 L", "count": 1}], "uk", r"level cups"),
    ],
    ids=["two cans", "a bottle", "a barrel"],
)
def test_ash_is_measured_in_level_cups_or_spoons(cans, customs, words):
    said = sheet(cans=cans, customs=customs, dilution="1:10").ash_words
    assert re.search(words, said)
    assert re.match(r"[\d½¼¾]", said)


def test_with_scales_ash_is_weighed():
    said = sheet(cans=[{"size": "9 L", "count": 2}], ash={"measure": "scales"}, dilution="1:10").ash_words
    assert re.fullmatch(r"\d+\u00a0g", said)


def test_a_typed_amount_of_ash_is_repeated_as_it_was_typed():
    assert sheet(ash={"amount": " 1 1/2 cups "}, water={"amount": "5 L"}).ash_words == "1 1/2 cups"


def test_times_follow_the_start():
    asked = sheet(now="2026-05-01T09:00", steep={"time": "36 h"})
    assert asked.time(asked.starts) == "Fri 1 May, 09:00"
    # The wait ends at 21:00, when nobody pours any more.
    assert asked.time(asked.settled) == "Sun 3 May, 08:00"
    assert asked.use_by > asked.settled > asked.starts


def test_without_a_start_there_are_no_clock_times():
    asked = sheet()
    assert asked.starts is asked.settled is asked.use_by is None
    assert asked.time(None) == ""


def test_a_wait_that_is_too_short_to_clear_is_recognised():
    assert not sheet(steep={"time": "30 min"}).steep_long_enough
    assert sheet(steep={"time": "3 days"}).steep_long_enough


def test_heights_in_the_bucket_are_in_order():
    heights = sheet(ash={"amount": "300 g"}, water={"amount": "8 L"}).heights
    assert 0 < heights["sludge_top"] < heights["pour_line"] < heights["surface"] < heights["rim"]


def test_the_clear_depth_grows_with_time_and_faster_for_coarse_grains():
    traces = sheet().traces
    for trace in traces:
        depths = [depth for _, depth in trace.points]
        assert depths == sorted(depths)
    coarse_first = sorted(traces, key=lambda trace: -trace.micrometres)
    for coarse, fine in pairwise(coarse_first):
        assert all(deep >= shallow for (_, deep), (_, shallow) in zip(coarse.points, fine.points, strict=True))


def test_every_limit_used_has_a_citation():
    for source, citation, status in sheet().limit_sources:
        assert source
        assert len(citation) > 20
        assert status


@pytest.mark.parametrize("low", [0.0, 200.0])
@pytest.mark.parametrize(
    ("value", "high", "unit"), [(900.0, 1700.0, "g/L"), (900.0, 999.0, "mg/L"), (3.0, 9.0, "mg/L")]
)
def test_a_strong_liquor_is_written_in_grams_per_litre_with_one_unit_on_the_line(low, value, high, unit):
    said = shown("liquor.potassium", {"value": value, "unit": "mg/L", "low": min(low, value), "high": high}, "en-GB")
    assert said.unit == unit
    assert said.headline("potassium").startswith(f"about {said.text} potassium, likely ")
    last = number_in(said.headline("potassium").rsplit(" ", 1)[1], "en-GB")
    assert last * (1000 if unit == "g/L" else 1) == pytest.approx(high, rel=0.051)
    assert (said.value, said.high) == (value, high)


def test_the_ladder_keeps_the_unit_of_its_column_heading():
    figure = {"value": 1400.0, "unit": "mg/L", "low": 700.0, "high": 2400.0}
    assert shown("ladder.0.potassium", figure, "en-GB").unit == "mg/L"


def test_a_share_is_written_in_per_cent_up_to_a_hundred():
    share = shown("caustic.hydroxide_share", {"value": 0.983, "unit": "1", "low": 0.6, "high": 1.0}, "en-GB")
    assert share.full.replace("\u00a0", " ") == "98 % (likely 60 to 100)"


DATED = {"now": "2026-05-01T18:00", "ash": {"kind": "hardwood", "state": "fresh", "amount": "100 g"}}


def test_a_step_shows_two_cautions_the_heaviest_and_loses_none():
    asked = sheet(**DATED, use="foliar", acid={"kind": "vinegar", "target_ph": "7"})
    steps = ["burning", "sieving", "steeping", "stirring", "pouring", "diluting", "mixing", "applying", "storing"]
    for step in steps:
        first, behind = asked.first(step), asked.behind(step)
        assert len(first) <= 2
        assert {caution.id for caution in (*first, *behind)} == {c.id for c in asked.cautions if c.where == step}
        weights = [caution.weight for caution in (*first, *behind)]
        assert weights == sorted(weights, reverse=True)
    assert "wet_ash" in {caution.id for caution in asked.first("pouring")}
    assert "food_bottle" in {caution.id for caution in asked.first("storing")}


def test_settling_ends_in_waking_hours_after_the_wait_and_the_slow_end_of_settling():
    for start in ("2026-05-01T05:10", "2026-05-01T13:30", "2026-05-01T23:59"):
        for wait in ("1 h", "15 h", "30 h"):
            asked = sheet(**{**DATED, "now": start}, steep={"time": wait})
            assert 8 <= asked.settled.hour <= 20
            waited = (asked.settled - asked.starts).total_seconds() / 3600
            assert waited >= max(float(wait.split()[0]), asked.settle_hours)


@pytest.mark.parametrize("wait", ["1 h", "24 h"])
def test_the_wait_that_is_told_is_the_one_that_counts(wait):
    slow = {"water": {"amount": "60 L", "temperature": "3 °C"}, "vessel": {"depth": "60 cm", "capacity": "90 L"}}
    undated, dated = sheet(**slow, steep={"time": wait}), sheet(**DATED, **slow, steep={"time": wait})
    assert undated.hours_to_wait >= undated.settle_hours
    assert dated.hours_to_wait == (dated.settled - dated.starts).total_seconds() / 3600 >= undated.hours_to_wait


def test_times_do_not_depend_on_whether_ranges_were_asked_for():
    with_ranges = sheet_of_text(json.dumps({"schema": 1, "ranges": "on", **DATED, "steep": {"time": "1 h"}}))
    without = sheet(**DATED, steep={"time": "1 h"})
    assert with_ranges.settled == without.settled
    assert with_ranges.use_by == without.use_by


def test_what_the_feed_is_called_follows_its_typical_figure():
    certain = sheet_of_text(json.dumps({"schema": 1, **DATED, "dilution": "1:1"}))
    assert certain.figures[f"{certain.own_path}.ph_25"].value >= 11.5
    assert "Even diluted it is corrosive" in certain.danger_of_feed
    possible = sheet_of_text(json.dumps({"schema": 1, **DATED, "dilution": "1:12"}))
    figure = possible.figures[f"{possible.own_path}.ph_25"]
    assert figure.value < 11.5 <= figure.high
    assert "Even diluted it may be corrosive" in possible.danger_of_feed


def test_a_meter_in_a_cold_shed_is_spoken_of_apart_from_the_danger():
    cold = sheet_of_text(
        json.dumps({"schema": 1, **DATED, "samples": "10", "water": {"amount": "5 L", "temperature": "8 degC"}})
    )
    assert cold.figures["liquor.ph"].value > cold.figures["liquor.ph_25"].value + 0.3
    ph = cold.figures["liquor.ph"]
    assert ph.range
    assert cold.meter_shows("liquor") == f"A meter will show about {ph.text} (likely {ph.range}) at 8\u00a0°C."
    assert sheet(**DATED, water={"amount": "5 L", "temperature": "25 degC"}).meter_shows("liquor") == ""
