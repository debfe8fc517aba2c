"""An ash kept under a name: what earlier batches taught narrows the next, and nothing false is kept."""

from __future__ import annotations

import json

import pytest

from feedcalc.engine import calculate

ASH = {"kind": "hardwood", "state": "fresh", "amount": "100 g"}
BATCH = {"schema": 1, "ash": ASH, "water": {"amount": "5 L"}, "dilution": "1:10"}
READ = BATCH | {"measured": {"ec": "7 mS/cm", "ph": "12.4"}}


def reply_to(request):
    return json.loads(calculate(json.dumps(request)))


def learned(request, **more):
    return reply_to(request | {"ask": "learn", "name": "stove", "date": "2026-05-01"} | more)


def evidence(request, **more):
    reply = learned(request, **more)
    assert reply["ok"], reply["errors"]
    return json.loads(reply["values"]["ash"]["evidence"])


def next_batch(earlier, now="2026-05-02", **more):
    reply = reply_to({**BATCH, "ash": {**ASH, "earlier": earlier}, "now": now} | more)
    assert reply["ok"], reply["errors"]
    return reply


def width(figure):
    return figure["high"] / figure["low"]


@pytest.fixture(scope="module")
def once():
    return evidence(READ)


def test_a_kept_ash_starts_the_next_batch_with_narrower_ranges_near_the_reading(once):
    without = reply_to(BATCH)["values"]["liquor"]
    reply = next_batch(once)
    liquor = reply["values"]["liquor"]
    assert reply["values"]["evidence"]["earlier_batches"]["value"] == 1
    assert width(liquor["ec"]) < 0.5 * width(without["ec"])
    assert width(liquor["alkalinity"]) < 0.75 * width(without["alkalinity"])
    assert liquor["ec"]["low"] < 7.0 < liquor["ec"]["high"]
    assert "earlier" in reply["html"]["trust"]


def test_a_second_batch_narrows_the_ranges_further_but_never_to_nothing(once):
    one = next_batch(once)["values"]["liquor"]["ec"]
    many = next_batch(once * 6)["values"]["liquor"]["ec"]
    assert width(many) < width(one)
    # What the chemistry leaves out is the same in each of them and doesn't average away.
    assert width(many) > 1.05


def test_evidence_from_another_strength_and_water_counts_through_the_chemistry(once):
    liquor = next_batch(once, ash={**ASH, "amount": "50 g", "earlier": once})["values"]["liquor"]
    assert 3.2 < liquor["ec"]["value"] < 4.6
    assert liquor["ec"]["high"] < 5.0


def test_old_evidence_says_less_about_free_lime(once):
    def from_usual(now):
        usual, ph = (reply["values"]["liquor"]["ph"] for reply in (reply_to(BATCH), next_batch(once, now=now)))
        return abs(usual["low"] - ph["low"]) + abs(usual["high"] - ph["high"])

    assert from_usual("2026-05-02") > 1.3 * from_usual("2027-11-01")


def test_readings_of_the_present_batch_count_together_with_the_kept_ones(once):
    reply = next_batch(once, measured={"ec": "7.2 mS/cm"})
    assert reply["values"]["evidence"]["readings"] == ["measured.ec"]
    assert reply["values"]["evidence"]["earlier_batches"]["value"] == 1


def test_weighings_and_analyses_of_earlier_batches_are_kept_too():
    kept = evidence(BATCH | {"ash": {**ASH, "weighings": "98 g; 104 g", "analysis": {"potassium": "90 g/kg"}}})
    reply = next_batch(kept, ash={"kind": "hardwood", "amount": "1 us_cup", "earlier": kept})
    assert reply["values"]["batch"]["ash_mass"]["value"] == pytest.approx(101 * 236.588 / 284.131, rel=0.01)
    assert reply["values"]["batch"]["ash_mass"]["high"] < 1.25 * reply["values"]["batch"]["ash_mass"]["value"]


def test_the_summary_gives_each_property_with_its_range_and_its_evidence():
    ash = learned(READ)["values"]["ash"]
    assert ash["name"] == "stove"
    assert ash["date"] == "2026-05-01"
    for name in ("density", "potassium", "alkalinity", "caustic_share"):
        assert ash[name]["low"] < ash[name]["value"] < ash[name]["high"]
    assert ash["effective_samples"]["value"] > 20
    words = " ".join(ash["words"])
    assert "Learned from 1 batch." in words
    assert "potassium, likely" in words
    # What it was learned from, and when.
    assert f"2026-05-01: conductivity (EC), as read with a meter {READ['measured']['ec']}" in words


def test_a_kept_ash_can_be_summarised_without_a_new_batch(once):
    again = reply_to({"schema": 1, "ask": "learn", "ash": {"kind": "hardwood", "earlier": once}, "now": "2026-05-01"})
    assert again["values"]["ash"]["batches"]["value"] == 1
    assert json.loads(again["values"]["ash"]["evidence"]) == once


def test_planned_amounts_are_kept_with_the_reading_in_the_grower_s_own_numbers():
    request = {"schema": 1, "locale": "de-DE", "cans": [{"size": "9 L", "count": 1}], "measured": {"ec": "7 mS/cm"}}
    [kept] = evidence(request)
    assert kept["ash"]["amount"].endswith("mL")
    assert kept["water"]["amount"].endswith(" L")
    assert next_batch([kept], ash={"kind": "mixed", "amount": "100 g", "earlier": [kept]})["ok"]


def test_a_reading_in_the_wrong_unit_is_kept_in_the_unit_that_fits():
    read, swapped = (learned(BATCH | {"measured": {"ec": ec}}) for ec in ("7 mS/cm", "7 µS/cm"))
    assert json.loads(swapped["values"]["ash"]["evidence"])[0]["measured"]["ec"] == "7\u00a0mS/cm"
    assert swapped["values"]["ash"]["potassium"] == read["values"]["ash"]["potassium"]
    assert "easily mixed up" in " ".join(swapped["warnings"])


def test_an_ash_is_kept_in_the_state_that_its_readings_fit():
    kept = learned(BATCH | {"measured": {"ec": "1.2 mS/cm"}})["values"]["ash"]
    assert kept["state"] == json.loads(kept["evidence"])[0]["ash"]["state"] == "leached"


@pytest.mark.parametrize("measured", [{"ec": "80 mS/cm"}, {"ec": "200 µS/cm"}, {"ph": "4"}])
def test_readings_that_no_plausible_ash_explains_are_not_kept(measured):
    reply = learned(BATCH | {"measured": measured})
    assert not reply["ok"]
    assert reply["errors"][0]["field"] == f"measured.{next(iter(measured))}"
    assert "No likely ash gives this reading" in reply["errors"][0]["problem"]


def test_a_request_without_evidence_is_refused():
    assert learned(BATCH)["errors"][0]["field"] == "measured"


@pytest.mark.parametrize(
    ("earlier", "field"),
    [
        ("stove", "ash.earlier"),
        ([READ] * 21, "ash.earlier"),
        (["stove"], "ash.earlier.0"),
        ([READ | {"water": {"amount": "five"}}], "ash.earlier.0.water.amount"),
        ([READ | {"ash": {**ASH, "kind": "softwood"}}], "ash.earlier.0.ash.kind"),
        ([{"ash": {"kind": "hardwood"}, "measured": {"ec": "7 mS/cm"}}], "ash.earlier.0.ash.amount"),
        ([READ | {"ash": {**ASH, "earlier": []}}], "ash.earlier.0"),
    ],
)
def test_a_damaged_record_is_refused_with_its_field(earlier, field):
    reply = reply_to({**BATCH, "ash": {**ASH, "earlier": earlier}})
    assert field in [error["field"] for error in reply["errors"]]


def test_earlier_readings_that_contradict_the_rest_are_named_and_left_out(once):
    strange = [row | {"measured": {"ec": "0.9 mS/cm", "ph": "9"}} for row in once]
    reply = next_batch(strange + once)
    assert any("do not fit with the others for any likely ash" in warning for warning in reply["warnings"])
    assert reply["values"]["liquor"]["ec"] == reply_to(BATCH)["values"]["liquor"]["ec"]
