"""Names and units of contract version 1, which other programs read."""

from __future__ import annotations

import json
import math

import pytest

from feedcalc.engine import calculate, demo_request
from tests.asking import WEIGHED, every_figure, reply_to, reply_to_text, rung, values_of

SOLUTION_NAMES = {
    "ph": "1",
    "ec": "mS/cm",
    "potassium": "mg/L",
    "calcium": "mg/L",
    "magnesium": "mg/L",
    "sodium": "mg/L",
    "sulfur": "mg/L",
    "chloride": "mg/L",
    "phosphorus": "mg/L",
    "alkalinity": "mg/L CaCO3",
    "ionic_strength": "mol/kg",
}
BATCH_NAMES = {
    "ash_mass": "g",
    "ash_volume": "mL",
    "water_volume": "L",
    "liquor_volume": "L",
    "sludge_volume": "L",
    "settle_time": "h",
    "liquor_per_can": "L",
    "water_per_can": "L",
}
DELIVERED_NAMES = {"potassium": "mg", "calcium": "mg", "magnesium": "mg", "lime_value": "g CaCO3"}
# Every key a request may have, filled as a careful grower would.
FULL_REQUEST = {
    "schema": 1,
    "ash": {
        "kind": "hardwood",
        "state": "fresh",
        "amount": "1 us_cup",
        "analysis": {"potassium": "50 g/kg", "calcium": "22 %", "phosphorus": "7000 mg/kg"},
    },
    "water": {
        "kind": "medium",
        "amount": "5 L",
        "temperature": "15 degC",
        "analysis": {
            "hardness": "200 mg/L",
            "alkalinity": "150 mg/L",
            "calcium": "64 mg/L",
            "sodium": "12 mg/L",
            "chloride": "30 mg/L",
            "sulfate": "30 mg/L",
            "ph": 7.4,
        },
    },
    "steep": {"time": "24 h", "air": "covered"},
    "vessel": {"depth": "30 cm", "capacity": "12 L"},
    "cans": [{"size": "9 L", "count": 1}],
    "dilution": "1:3",
    "use": "drench",
    "stage": "seedling",
    "plant": "tomato",
    "soil": {"ph": 6.2, "texture": "loam", "area": "4 m^2"},
    "acid": {"kind": "vinegar", "strength": "5 %", "target_ph": 7.0},
    "measured": {"ec": "4.2 mS/cm", "ph": 11.6, "temperature": "18 degC"},
    "locale": "en-GB",
    "now": "2026-05-01T09:00",
}


def units(figures: dict) -> dict[str, str]:
    return {name: figure["unit"] for name, figure in figures.items() if isinstance(figure, dict) and "unit" in figure}


@pytest.fixture(scope="module")
def demo() -> dict:
    return reply_to_text(demo_request())


def test_liquor_has_every_fixed_name_in_its_unit(demo):
    assert SOLUTION_NAMES.items() <= units(demo["values"]["liquor"]).items()


def test_each_row_of_the_dilution_table_has_the_names_of_the_liquor_and_its_parts(demo):
    assert len(demo["values"]["ladder"]) >= 7
    for row in demo["values"]["ladder"]:
        assert (SOLUTION_NAMES | {"parts_liquor": "1", "parts_water": "1"}).items() <= units(row).items()


def test_the_dilution_table_has_the_usual_rows_and_the_requested_one():
    rungs = [row["parts_water"]["value"] for row in values_of(WEIGHED, dilution="1:12")["ladder"]]
    assert {1, 3, 5, 7, 10, 15, 20, 12} == set(rungs)
    assert rungs == sorted(rungs)


def test_batch_has_every_fixed_name_in_its_unit(demo):
    assert BATCH_NAMES.items() <= units(demo["values"]["batch"]).items()


@pytest.mark.parametrize("where", ["per_can", "per_plant", "per_square_metre"])
def test_delivery_has_every_fixed_name_in_its_unit(demo, where):
    assert DELIVERED_NAMES.items() <= units(demo["values"]["delivered"][where]).items()


def test_the_reply_has_every_part_of_the_contract(demo):
    assert demo["schema"] == 1
    assert demo["ok"] is True
    assert {"values", "assumed", "cautions", "warnings", "sources", "html"} <= demo.keys()


def test_every_figure_is_finite_and_within_its_range(demo):
    figures = list(every_figure(demo["values"]))
    assert len(figures) > 100
    for path, figure in figures:
        assert set(figure) == {"value", "unit", "low", "high"}, path
        assert all(math.isfinite(figure[part]) for part in ("low", "value", "high")), path
        assert figure["low"] <= figure["value"] <= figure["high"], path
        assert figure["low"] >= 0 or path.endswith("ph"), path


def test_the_verdict_is_one_of_three_words_with_its_reasons(demo):
    assert demo["values"]["verdict"] in ("go", "go weaker", "hold back")
    assert demo["values"]["reasons"]
    for reason in demo["values"]["reasons"]:
        assert {"text", "source", "status", "towards"} <= reason.keys()


def test_the_full_request_of_the_contract_is_answered():
    reply = reply_to_text(json.dumps(FULL_REQUEST | {"ranges": "off"}))
    assert reply["ok"], reply["errors"]
    assert reply["values"]["batch"]["water_volume"]["value"] == 5
    assert rung(reply["values"], 3)["chosen"]
    assert not {path for path in reply["assumed"] if path.startswith(("ash.a", "water.", "cans", "dilution", "vessel"))}


def test_soil_plant_and_acid_are_used_or_a_note_says_they_are_not():
    told = " ".join(reply_to_text(json.dumps(FULL_REQUEST | {"ranges": "off"}))["warnings"]).casefold()
    values = reply_to_text(json.dumps(FULL_REQUEST | {"ranges": "off"}))["values"]
    assert "conductivity" in told or "measured.ec" in values["evidence"]["readings"]
    assert "soil" in told or "verdict" in values
    assert "acid" in told or "acid_volume" in values["batch"]


@pytest.mark.parametrize("key", ["ash", "water", "steep", "vessel", "cans", "dilution", "soil", "measured", "now"])
def test_every_key_of_a_request_is_optional(key):
    request = {name: value for name, value in FULL_REQUEST.items() if name != key} | {"ranges": "off"}
    reply = reply_to_text(json.dumps(request))
    assert reply["ok"], reply["errors"]


def test_an_empty_request_is_answered_and_says_what_was_assumed():
    reply = reply_to()
    assert reply["ok"]
    assumed = reply["assumed"]
    for path in ("ash.kind", "ash.state", "ash.amount", "water.kind", "water.amount", "steep.time", "cans", "dilution"):
        assert assumed[path], path


def test_a_typed_value_is_not_listed_as_assumed():
    assumed = reply_to(WEIGHED, {"steep": {"time": "12 h"}})["assumed"]
    assert not {"ash.amount", "ash.kind", "water.amount", "water.temperature", "steep.time", "dilution"} & set(assumed)


def test_an_empty_field_is_the_same_as_none():
    asked = {"ash": {"amount": ""}, "water": {"kind": None}, "plant": "  "}
    assert reply_to(asked)["values"] == reply_to()["values"]


def test_the_reading_of_an_ambiguous_measure_is_echoed():
    assert "250" in reply_to(ash={"amount": "1 cup"}, customs="metric")["read_as"]["ash.amount"]
    assert "284" in reply_to(ash={"amount": "1 cup"}, customs="uk")["read_as"]["ash.amount"]


def test_without_ranges_low_and_high_equal_the_value():
    for path, figure in every_figure(values_of(WEIGHED)):
        assert figure["low"] == figure["value"] == figure["high"], path


def test_with_ranges_uncertain_figures_have_a_spread_and_weighed_ones_have_none():
    values = values_of(WEIGHED, ranges="on")
    for name in ("ph", "ec", "potassium", "alkalinity"):
        assert values["liquor"][name]["low"] < values["liquor"][name]["high"]
    for name in ("ash_mass", "water_volume"):
        assert values["batch"][name]["low"] == values["batch"][name]["high"]


def test_weighing_the_ash_narrows_the_potassium():
    by_cup = values_of(WEIGHED, {"ash": {"amount": "237 mL"}}, ranges="on")["liquor"]["potassium"]
    weighed = values_of(WEIGHED, ranges="on")["liquor"]["potassium"]
    assert weighed["high"] / weighed["low"] < by_cup["high"] / by_cup["low"]


def test_a_laboratory_analysis_narrows_the_potassium():
    analysed = values_of(WEIGHED, {"ash": {"analysis": {"potassium": "50 g/kg"}}}, ranges="on")["liquor"]["potassium"]
    guessed = values_of(WEIGHED, ranges="on")["liquor"]["potassium"]
    assert analysed["high"] / analysed["low"] < guessed["high"] / guessed["low"]


def test_the_same_request_has_the_same_reply_to_the_last_digit():
    text = json.dumps({"schema": 1, **WEIGHED})
    assert calculate(text) == calculate(text)


def test_another_seed_moves_the_ranges_but_not_the_typical_figures():
    first, second = values_of(WEIGHED, ranges="on", seed=1), values_of(WEIGHED, ranges="on", seed=2)
    assert first["liquor"]["potassium"]["value"] == second["liquor"]["potassium"]["value"]
    assert first["liquor"]["potassium"]["low"] == pytest.approx(second["liquor"]["potassium"]["low"], rel=0.25)


@pytest.mark.parametrize(
    ("path", "low", "high"),
    [("liquor.ph", 0.1, 0.9), ("liquor.ec", 0.1, 0.9), ("liquor.potassium", 0.1, 0.9), ("liquor.alkalinity", 0.1, 0.9)],
)
@pytest.mark.parametrize("state", ["fresh", "aged"])
def test_the_value_lies_well_inside_its_range(path, low, high, state):
    group, name = path.split(".")
    figure = values_of(WEIGHED, {"ash": {"state": state}}, ranges="on")[group][name]
    share = (figure["value"] - figure["low"]) / (figure["high"] - figure["low"])
    assert low <= share <= high


# -- chemistry alone ----------------------------------------------------------------------------------------------


def solution(**asked) -> dict:
    return values_of(solution=asked)["solution"]


def test_a_solution_has_the_names_of_the_liquor_and_its_minerals():
    asked = solution(
        totals={
            "potassium": 12.3,
            "sodium": 0.4,
            "calcium": 150,
            "magnesium": 20,
            "carbon": 160,
            "sulfur": 4.5,
            "chloride": 1.3,
            "phosphorus": 0,
        },
        minerals=["calcite", "portlandite", "brucite", "gypsum"],
        temperature="25 degC",
        carbon_dioxide=None,
    )
    assert SOLUTION_NAMES.items() <= units(asked).items()
    assert set(asked["minerals"]) == {"calcite", "portlandite", "brucite", "gypsum"}
    assert {figure["unit"] for figure in asked["minerals"].values()} == {"mmol/kg"}
    # 12.3 mmol of potassium in a kilogram of water stay dissolved: 39.098 g/mol (IUPAC 2021).
    assert asked["potassium"]["value"] == pytest.approx(12.3 * 39.098, rel=0.01)
    # The carbonate not bound to the alkalis binds calcium: 160 - (12.7 - 10.3) / 2.
    assert asked["minerals"]["calcite"]["value"] > 140


def test_pure_water_is_neutral():
    assert solution()["ph"]["value"] == pytest.approx(7.0, abs=0.01)


def test_only_the_named_minerals_form():
    totals = {"calcium": 30, "carbon": 30}
    assert solution(totals=totals)["minerals"] == {}
    assert solution(totals=totals)["calcium"]["value"] > 1000
    assert solution(totals=totals, minerals=["calcite"])["calcium"]["value"] < 20


def test_calcite_open_to_air_agrees_with_the_textbook():
    # Calcite with 10^-3.5 atm CO2 at 25 degC: pH 8.28 (reference library with its public database, and
    # textbooks of aqueous geochemistry give 8.3); 316 ppm is that pressure.
    asked = solution(totals={"calcium": 10, "carbon": 10}, minerals=["calcite"], carbon_dioxide="316.2 ppm")
    assert asked["ph"]["value"] == pytest.approx(8.28, abs=0.03)


def test_carbon_dioxide_is_read_as_ppm_or_percent():
    totals = {"potassium": 10}
    by_ppm = solution(totals=totals, carbon_dioxide="420 ppm")
    assert by_ppm == solution(totals=totals, carbon_dioxide="0.042 %")
    assert by_ppm["ph"]["value"] < solution(totals=totals)["ph"]["value"] - 2


def test_without_carbon_dioxide_the_water_is_closed():
    totals = {"potassium": 10, "carbon": 5}
    assert solution(totals=totals) == solution(totals=totals, carbon_dioxide=None)


def test_a_solution_takes_its_temperature_in_any_unit():
    totals = {"calcium": 30}
    cold = solution(totals=totals, minerals=["portlandite"], temperature="59 °F")
    assert cold == solution(totals=totals, minerals=["portlandite"], temperature="15 degC")
    # Lime is more soluble in the cold (handbook tables, from memory: about 10 % between 25 and 15 degC).
    warm = solution(totals=totals, minerals=["portlandite"], temperature="25 degC")
    assert cold["calcium"]["value"] > warm["calcium"]["value"]


def test_a_solution_outside_the_activity_model_has_a_warning():
    reply = reply_to(solution={"totals": {"potassium": 1500, "chloride": 1500}})
    assert not reply["ok"] or any("chemistry model" in warning for warning in reply["warnings"])
