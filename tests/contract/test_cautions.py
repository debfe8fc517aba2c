"""No warning is lost as a liquid gets more dangerous, and every caution has a source."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feedcalc import published
from feedcalc.contract.cautions import alkali_percent, cautions_for, hazard_at
from tests.asking import WEIGHED, reply_to

SEVERITY = ("mild", "irritant", "corrosive")
STEPS = {
    "burning",
    "sieving",
    "steeping",
    "stirring",
    "pouring",
    "diluting",
    "applying",
    "storing",
    "mixing",
    "liquor",
    "keeping",
    "spreading",
}
# A stronger statement stands for the weaker: burns of skin and eyes for irritation and eye damage.
COVERED_BY = {"H315": "H314", "H318": "H314", "liquor_irritant": "liquor_corrosive"}


@given(st.floats(7, 15), st.floats(7, 15))
def test_a_higher_ph_never_has_a_milder_class(one, other):
    low, high = hazard_at(min(one, other)), hazard_at(max(one, other))
    assert SEVERITY.index(low.name) <= SEVERITY.index(high.name)


@pytest.mark.parametrize(
    ("ph", "name"),
    [(7.0, "mild"), (9.99, "mild"), (10.0, "irritant"), (11.49, "irritant"), (11.5, "corrosive"), (14.4, "corrosive")],
)
def test_corrosive_starts_at_the_legal_ph(ph, name):
    # CLP Regulation (EC) 1272/2008, Annex I, 3.2.2: pH 11.5 and above is taken as corrosive without a test.
    assert hazard_at(ph).name == name


@pytest.mark.parametrize("ph", [-0.5, 14.5, 15.2])
def test_beyond_the_table_the_worst_class_is_assumed(ph):
    assert hazard_at(ph).name == "corrosive"


def test_a_corrosive_liquor_has_its_statement_and_signal_word():
    hazard = hazard_at(12.5)
    assert hazard.signal_word == "Danger"
    assert dict(hazard.hazards)["H314"] == "Causes severe skin burns and eye damage."
    assert {"P102", "P280", "P301+P330+P331", "P363"} <= dict(hazard.precautions).keys()


@given(st.floats(7, 14.4), st.floats(7, 14.4))
def test_no_statement_disappears_at_a_higher_ph(one, other):
    low, high = hazard_at(min(one, other)), hazard_at(max(one, other))
    told = dict(high.hazards)
    for code, _ in low.hazards:
        assert code in told or COVERED_BY[code] in told


@pytest.mark.parametrize("more", [set(), {"foliar"}, {"fresh"}, {"hard_water", "acid"}])
def test_no_caution_disappears_for_a_more_dangerous_liquor(more):
    said = [{caution.id for caution in cautions_for({name} | more)} for name in SEVERITY]
    for milder, worse in pairwise(said):
        assert all(name in worse or COVERED_BY.get(name) in worse for name in milder)


def test_every_caution_has_words_a_step_and_a_source():
    everything = cautions_for({"corrosive", "irritant", "foliar", "fresh", "acid", "hard_water", "dry"})
    assert len(everything) == len(published.table("cautions"))
    for caution in everything:
        assert caution.text.endswith(".")
        assert caution.where in STEPS
        assert 0 < caution.weight <= 100
        assert published.sources()[caution.source].citation
        assert caution.status in published.STATUSES


@pytest.mark.parametrize("words", ["oggles", "loves", "aluminium", "embers", "mask", "ash into water", "Local rules"])
def test_every_reply_warns_of_the_dangers_of_the_job(words):
    assert any(words in caution["text"] for caution in reply_to(WEIGHED)["cautions"])


def test_the_class_follows_the_upper_end_of_the_ph_range():
    # Aged ash: typically below 11.5, but the range reaches past it, and whoever is hurt did not have a typical ash.
    reply = reply_to(WEIGHED, ash={"kind": "hardwood", "state": "fresh"}, ranges="on")
    assert reply["values"]["liquor"]["ph_25"]["high"] > 11.5
    assert "liquor_corrosive" in {caution["id"] for caution in reply["cautions"]}


@pytest.mark.parametrize(
    ("asked", "caution"),
    [
        ({"use": "foliar"}, "leaf_trial"),
        ({"dilution_water": {"kind": "hard"}}, "haze"),
        ({"ash": {"state": "fresh"}}, "slaking"),
        ({"acid": {"kind": "vinegar", "strength": "5 %", "target_ph": 7}}, "acid_foam"),
    ],
    ids=["foliar", "hard water", "fresh ash", "acid"],
)
def test_each_option_adds_its_own_caution(asked, caution):
    plain = {found["id"] for found in reply_to(WEIGHED)["cautions"]}
    told = {found["id"] for found in reply_to(WEIGHED, asked)["cautions"]}
    assert caution in told - plain
    assert plain - told <= {"liquor_irritant"}


# -- at 25 degC, by pH and by strength ------------------------------------------------------------------------------


@pytest.mark.parametrize("shed", ["4 degC", "12 degC", "30 degC"])
def test_a_cold_or_warm_shed_does_not_change_the_class(shed):
    # At 12 degC this liquor reads 11.7 although it is 11.2 at 25 degC: a rule for 12 degC would call it corrosive.
    asked = {
        "ash": {"kind": "mixed", "state": "aged", "amount": "40 g"},
        "water": {"amount": "20 L", "temperature": shed},
    }
    reply = reply_to(WEIGHED, asked, ranges="on")
    assert reply["values"]["liquor"]["ph_25"]["high"] < 11.5
    assert "liquor_irritant" in {caution["id"] for caution in reply["cautions"]}


def test_a_reading_counts_for_the_class_at_25_degrees():
    def corrosive(reading: str, celsius: str) -> bool:
        reply = reply_to(WEIGHED, {"ash": {"amount": "5 g"}}, measured={"ph": reading, "temperature": celsius})
        return "liquor_corrosive" in {caution["id"] for caution in reply["cautions"]}

    assert corrosive("11.7", "25 degC")
    assert not corrosive("11.6", "5 degC"), "11.6 at 5 degC is about 10.9 at 25 degC"
    assert corrosive("12.4", "5 degC")


@pytest.mark.parametrize(
    ("ph", "percent", "name", "signal_word", "by"),
    [
        # Potassium hydroxide: corrosive from 2 %, irritating from 0.5 to 2 % (registration dossier at ECHA).
        (11.0, 2.0, "corrosive", "Danger", "strength"),
        (11.0, 1.99, "irritant", "Danger", "strength"),
        (11.0, 0.5, "irritant", "Danger", "strength"),
        (11.0, 0.1, "irritant", "Warning", "pH"),
        (11.5, 0.01, "corrosive", "Danger", "pH"),
        (9.0, 3.0, "mild", "", "pH"),
    ],
)
def test_between_ph_10_and_11_5_strength_counts_too(ph, percent, name, signal_word, by):
    hazard = hazard_at(ph, percent)
    assert (hazard.name, hazard.signal_word, hazard.by) == (name, signal_word, by)
    assert {"pH": "pH is", "strength": "% of alkali"}[by] in hazard.rule


@given(st.floats(10, 11.49), st.floats(0, 5), st.floats(0, 5))
def test_eyes_are_protected_at_any_strength(ph, one, other):
    weak, strong = hazard_at(ph, min(one, other)), hazard_at(ph, max(one, other))
    assert SEVERITY.index(weak.name) <= SEVERITY.index(strong.name)
    for hazard in (weak, strong):
        assert {"H314", "H318", "H319"} & dict(hazard.hazards).keys()
        assert "P280" in dict(hazard.precautions)


def test_alkali_is_counted_as_potassium_hydroxide():
    # 1 % KOH is 10 g/L, 178.2 mmol/L (56.106 g/mol), which a titration finds as 50.04 mg CaCO3 each: 8919 mg/L.
    assert alkali_percent(8919.0) == pytest.approx(1.0, rel=1e-3)


# -- one time for first aid, weight, dry ash ------------------------------------------------------------------------


def test_no_label_says_two_times_for_rinsing_eyes():
    for row in published.table("hazard_classes"):
        assert "P305" not in row["p_codes"]
    rinsing = [caution for caution in cautions_for({"corrosive"}) if caution.id.startswith("first_aid_")]
    assert {words for caution in rinsing for words in re.findall(r"\d+ minutes", caution.text)} == {"20 minutes"}


def test_where_people_were_burnt_comes_first():
    found = {caution.id: caution.weight for caution in cautions_for({"fresh", "corrosive"})}
    assert found["wet_ash"] > found["pour_slowly"] > found["sludge"] > found["skim"]
    assert found["food_bottle"] > found["label_strength"]


def test_dry_ash_has_its_own_cautions():
    reply = reply_to({"schema": 1, "ask": "spread", "soil": {"ph": "5.8"}})
    ids = [caution["id"] for caution in reply["cautions"]]
    assert {"embers", "dust", "dry_wet_ash", "dry_wind", "dry_skin", "dry_eyes"} <= set(ids)
    assert not {"moist_soil", "wash_crop", "leaf_trial", "pour_slowly", "strip_check"} & set(ids)
    assert not {caution["id"] for caution in reply_to(WEIGHED)["cautions"]} & {"dry_wet_ash", "dry_wind"}


def test_cold_wet_ash_is_spoken_of_with_its_source():
    caution = next(caution for caution in cautions_for(set()) if caution.id == "wet_ash")
    assert published.sources()[caution.source].doi == "10.1111/pde.14645"
    assert "bare hands" in caution.text
    assert "kneel" in caution.text
