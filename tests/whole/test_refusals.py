"""Refusals of the door: all faults at once, each with what is accepted."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feedcalc import published
from feedcalc.contract.fields import REQUEST_FIELDS
from tests.asking import WEIGHED, faults, listed_in, reply_to, reply_to_text
from tests.examples import examples

NO_SUCH_FIELD = "There is no such field."


def test_all_faults_are_reported_at_once():
    found = faults(
        ash={"kind": "coal", "amount": "5 stones"},
        water={"amount": "five", "temperature": "warm"},
        steep={"time": "-3 h"},
        cans=[{"size": "9 L", "count": 1.5}, {"size": "9 lb"}],
        dilution="three",
        soil={"ph": 99},
        bucket="blue",
        locale="tlh",
    )
    assert set(found) == {
        "ash.kind",
        "ash.amount",
        "water.amount",
        "water.temperature",
        "steep.time",
        "cans.0.count",
        "cans.1.size",
        "dilution",
        "soil.ph",
        "bucket",
        "locale",
    }


def test_a_refusal_has_four_parts_per_fault_and_no_figures():
    reply = reply_to(water={"amount": "five"}, ash={"kind": "plywood"}, plants=3)
    assert set(reply) == {"schema", "ok", "errors"}
    assert reply["schema"] == 1
    for error in reply["errors"]:
        assert set(error) == {"field", "given", "problem", "accepted"}
        assert all(isinstance(part, str) for part in error.values())
        assert error["problem"]
        assert error["accepted"]


@pytest.mark.parametrize(
    ("request_parts", "error"),
    [
        (
            {"ash": {"amount": "5"}},
            {
                "field": "ash.amount",
                "given": "5",
                "problem": "The unit is missing.",
                "accepted": "a weight or a volume such as 250 g, 1/2 cup or 2 L",
            },
        ),
        (
            {"ash": {"amount": "-5 g"}},
            {
                "field": "ash.amount",
                "given": "-5 g",
                "problem": "This is below zero.",
                "accepted": "a weight or a volume such as 250 g, 1/2 cup or 2 L",
            },
        ),
        (
            {"stage": "baby"},
            {
                "field": "stage",
                "given": "baby",
                "problem": "This is not one of the choices.",
                "accepted": "one of seedling, young or established",
            },
        ),
        (
            {"cans": [{"size": "9 L", "count": 0}]},
            {"field": "cans.0.count", "given": "0", "problem": "This is less than 1.", "accepted": "1 to 1000"},
        ),
        (
            {"dilution": "3"},
            {
                "field": "dilution",
                "given": "3",
                "problem": "Say how much is liquor and how much is water.",
                "accepted": "liquor to water, such as 1:3 for one part of liquor and three parts of water",
            },
        ),
        (
            {"now": "yesterday"},
            {
                "field": "now",
                "given": "yesterday",
                "problem": "This is not a date and time.",
                "accepted": "one such as 2026-05-01T09:00",
            },
        ),
        (
            {"schema": 2},
            {"field": "schema", "given": "2", "problem": "This version of the request is not known.", "accepted": "1"},
        ),
        (
            {"acid": {"kind": "vinegar"}},
            {
                "field": "acid.target_ph",
                "given": "",
                "problem": "For the acid, fill this in as well.",
                "accepted": "a pH such as 7",
            },
        ),
        (
            {"solution": {"carbon_dioxide": "420"}},
            {
                "field": "solution.carbon_dioxide",
                "given": "420",
                "problem": "This is not a share of the air.",
                "accepted": "null for closed, or the share of CO2 in the air such as 420 ppm",
            },
        ),
    ],
    ids=lambda part: next(iter(part)) if isinstance(part, dict) else str(part),
)
def test_the_words_of_a_refusal(request_parts, error):
    assert reply_to(request_parts)["errors"] == [error]


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "This is not JSON (line 1, column 1)."),
        ("{'schema': 1}", "This is not JSON (line 1, column 2)."),
        ("[1]", "This is JSON, but not an object."),
        ("null", "This is JSON, but not an object."),
        ('{"schema": 1, "dilution": "1:3", "dilution": "1:9"}', "The key 'dilution' is there twice."),
        ("[" * 100_000, "This is nested deeper than 64 levels."),
        ('{"schema": 1, "plant": "' + "x" * 250_000 + '"}', "This is longer than 200000 characters."),
    ],
    ids=["empty", "single quotes", "list", "null", "repeated key", "deep", "long"],
)
def test_text_that_is_not_a_request_is_refused_as_a_whole(text, problem):
    reply = reply_to_text(text)
    assert [(error["field"], error["problem"]) for error in reply["errors"]] == [("request", problem)]


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
@pytest.mark.parametrize("place", ['"soil": {"ph": %s}', '"solution": {"totals": {"potassium": %s}}', '"seed": %s'])
def test_values_that_are_not_numbers_are_refused(number, place):
    assert not reply_to_text('{"schema": 1, "ranges": "off", ' + place % number + "}")["ok"]


@pytest.mark.parametrize(
    ("path", "neighbour"),
    [("watr", "water"), ("water.amout", "amount"), ("ash.analysis.potasium", "potassium"), ("soil.pH", "ph")],
)
def test_a_misspelt_field_is_refused_with_its_neighbours(path, neighbour):
    nested: Any = "1 L"
    for name in reversed(path.split(".")):
        nested = {name: nested}
    found = faults(nested)
    assert found[path]["problem"] == NO_SUCH_FIELD
    assert neighbour in listed_in(found[path]["accepted"].removeprefix("one of "))


@pytest.mark.parametrize("wrong", [7, True, [], [1], "words", {"x": 1}, {"amount": {"amount": "1 L"}}], ids=repr)
@pytest.mark.parametrize("group", ["ash", "water", "steep", "vessel", "soil", "acid", "measured", "dilution_water"])
def test_a_wrong_type_is_reported_at_its_group(group, wrong):
    for field in faults({group: wrong}):
        assert field == group or field.startswith(group + ".")


@pytest.mark.parametrize(
    "field", [field.path for field in REQUEST_FIELDS if field.kind not in ("text", "passage", "choice")]
)
@pytest.mark.parametrize("wrong", [True, [], {}, "lots", "5 furlongs", "1e400", "--1 g", "1,2,3", "🌿"], ids=repr)
def test_a_wrong_value_is_reported_at_its_field(field, wrong):
    nested: Any = wrong
    for name in reversed(field.split(".")):
        nested = {name: nested}
    assert {name for name in faults(nested) if not name.startswith("acid.")} <= {field}
    assert field in faults(nested)


@pytest.mark.parametrize("field", [field.path for field in REQUEST_FIELDS if field.kind == "passage"])
@pytest.mark.parametrize("wrong", [True, 7, [], {}, "x" * 1001], ids=["true", "number", "list", "object", "too long"])
def test_a_passage_that_is_not_text_or_too_long_is_reported_at_its_field(field, wrong):
    found = faults({field: wrong})
    assert set(found) == {field}
    assert found[field]["problem"] == "This is not text of at most 1000 characters."


# -- two things that cannot both be -----------------------------------------------------------------------------


def test_ash_and_water_that_cannot_fill_the_cans_fill_what_they_can_and_the_reply_says_what_is_needed():
    reply = reply_to(WEIGHED, cans=[{"size": "2 L", "count": 20}], dilution="1:1")
    assert reply["ok"]
    batch = reply["values"]["batch"]
    whole, part = batch["cans"]
    assert 1 <= whole["count"]["value"] < 20
    assert 0 < part["size"]["value"] < whole["size"]["value"]
    poured = whole["count"]["value"] * whole["liquor"]["value"] + part["liquor"]["value"]
    assert poured <= batch["liquor_volume"]["value"]
    told = [warning.replace("\u00a0", " ") for warning in reply["warnings"]]
    assert any("of the 20 cans" in warning and "20.0 L" in warning for warning in told)


def test_ash_and_water_that_fill_the_cans_are_used_as_given():
    reply = reply_to(WEIGHED, cans=[{"size": "9 L", "count": 2}], dilution="1:10")
    assert reply["ok"]
    assert reply["values"]["batch"]["water_volume"]["value"] == 5
    assert reply["values"]["batch"]["ash_mass"]["value"] == 107


def test_so_much_ash_that_nothing_pours_off_is_refused():
    found = faults(ash={"amount": "5 kg"}, water={"amount": "5 L"})
    assert set(found) == {"ash.amount"}
    assert "too much ash for the water" in found["ash.amount"]["problem"]
    assert "g of ash in a litre of water" in found["ash.amount"]["accepted"]


def test_an_impossible_analysis_is_refused():
    found = faults(WEIGHED, ash={"analysis": {"potassium": "60 %", "calcium": "55 %"}})
    assert set(found) == {"ash.analysis"}
    assert "more than the ash itself" in found["ash.analysis"]["problem"]
    assert "g of the element in a kg" in found["ash.analysis"]["accepted"]


@pytest.mark.parametrize("amount", ["0 g", "0 cups", "0 kg"])
def test_a_batch_without_ash_is_refused(amount):
    assert set(faults(ash={"amount": amount}, water={"amount": "5 L"})) == {"ash.amount"}


# -- what must never be burnt -----------------------------------------------------------------------------------

REFUSED_WORDINGS = [
    ("coal", "arsenic"),
    ("Coal ash", "arsenic"),
    ("anthracite from the stove", "arsenic"),
    ("BBQ charcoal briquettes", "borax"),
    ("painted pine", "lead"),
    ("old PAINTED window frames", "lead"),
    ("varnished oak", "lead"),
    ("pressure-treated pine", "arsenic"),
    ("pressure treated decking", "arsenic"),
    ("CCA timber", "arsenic"),
    ("railway sleepers", "Tar"),
    ("plywood offcuts", "Glues"),
    ("mdf", "Glues"),
    ("OSB/chipboard", "Glues"),
    ("pallets", "gassed or sprayed"),
    ("a pallet", "gassed or sprayed"),
    ("cardboard boxes", "boron"),
    ("magazines and twigs", "boron"),
    ("household rubbish", "dioxins"),
    ("driftwood", "dioxins"),
    ("Driftwood, dried", "dioxins"),
    ("house fire", "Asbestos"),
    ("fly ash", "cadmium"),
]


@pytest.mark.parametrize(("wording", "reason"), REFUSED_WORDINGS)
def test_ash_of_a_forbidden_fuel_is_refused_with_the_reason(wording, reason):
    found = faults(ash={"kind": wording})["ash.kind"]
    assert found["given"] == wording
    assert "never use this ash" in found["problem"]
    assert reason.casefold() in found["problem"].casefold()
    assert "clean, untreated wood" in found["accepted"]


@pytest.mark.parametrize("wording", ["peat", "turf", "straw", "hay", "cow dung", "bones", "newspaper and twigs"])
def test_ash_outside_the_data_is_called_not_covered_rather_than_dangerous(wording):
    found = faults(ash={"kind": wording})["ash.kind"]
    assert "not covered" in found["problem"]
    assert "never use" not in found["problem"]


@pytest.mark.parametrize("row", published.table("ash_refusals"), ids=lambda row: row["id"])
def test_every_word_in_the_table_of_refusals_is_refused(row):
    for word in row["words"].split("|"):
        assert "ash.kind" in faults(ash={"kind": word}), word
        assert "ash.kind" in faults(ash={"kind": f"Some {word.upper()} ash"}), word


@pytest.mark.parametrize("wording", ["  Hardwood ", "MIXED", "softwood", "Bark"])
def test_a_known_ash_is_read_in_any_case(wording):
    assert reply_to(WEIGHED, ash={"kind": wording})["ok"]


def test_an_unknown_ash_is_refused_with_the_known_ones():
    found = faults(ash={"kind": "moon dust"})["ash.kind"]
    assert found["accepted"] == "one of mixed, hardwood, softwood or bark"


# -- anything at all ---------------------------------------------------------------------------------------------

json_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**20), 10**20)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=20)
    | st.sampled_from(["5 L", "100 g", "1:3", "½ cup", "7", "24 h", "coal", "2026-05-01T09:00", "420 ppm", "calcite"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(min_size=1, max_size=8), inner, max_size=3),
    max_leaves=6,
)
known_names = st.sampled_from(
    sorted(
        {name for field in REQUEST_FIELDS for name in field.path.split(".")} | {"size", "count", "totals", "minerals"}
    )
)
top_names = st.sampled_from(
    sorted(
        {field.path.split(".")[0] for field in REQUEST_FIELDS} | {"cans", "dilution", "locale", "customs", "solution"}
    )
)
nearly_requests = st.dictionaries(
    top_names, json_values | st.dictionaries(known_names, json_values, max_size=4), max_size=4
)


def is_in_good_order(reply: dict[str, Any]) -> None:
    assert isinstance(reply["ok"], bool)
    if reply["ok"]:
        assert reply["values"]
        return
    assert reply["errors"]
    for error in reply["errors"]:
        assert set(error) == {"field", "given", "problem", "accepted"}
        assert error["field"] != "feedcalc", error
        assert error["field"]


@examples(300)
@given(nearly_requests)
def test_any_values_in_the_fields_are_answered_or_refused_by_field(request_parts):
    is_in_good_order(reply_to_text(json.dumps({"schema": 1, **request_parts, "ranges": "off"})))


@examples(200)
@given(json_values)
def test_any_json_is_answered_or_refused_by_field(document):
    is_in_good_order(reply_to_text(json.dumps(document)))


@examples(200)
@given(st.text(max_size=60))
def test_any_other_text_is_refused(text):
    is_in_good_order(reply_to_text(text))


def test_both_faults_of_a_can_are_reported():
    assert set(faults({"cans": [{"size": "x", "count": "none"}]})) == {"cans.0.size", "cans.0.count"}


def test_a_table_too_long_to_read_is_refused_with_what_helps():
    (error,) = reply_to(ask="book", do="read csv", text="a,b\n" * 4_000_001)["errors"]
    assert error["problem"] == "This is longer than 16000000 characters."
    assert error["accepted"].startswith("a smaller file: cut a long table")
