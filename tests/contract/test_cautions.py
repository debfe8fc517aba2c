"""No warning is lost as a liquid gets more dangerous, and every caution has a source."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feedcalc import published
from feedcalc.contract.cautions import cautions_for, hazard_at
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
    assert {"P102", "P280", "P301+P330+P331", "P305+P351+P338"} <= dict(hazard.precautions).keys()


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
    everything = cautions_for({"corrosive", "irritant", "foliar", "fresh", "acid", "hard_water"})
    assert len(everything) == len(published.table("cautions"))
    for caution in everything:
        assert caution.text.endswith(".")
        assert caution.where in STEPS
        assert published.sources()[caution.source].citation
        assert caution.status in published.STATUSES


@pytest.mark.parametrize("words", ["oggles", "loves", "aluminium", "embers", "mask", "ash into water", "Local rules"])
def test_every_reply_warns_of_the_dangers_of_the_job(words):
    assert any(words in caution["text"] for caution in reply_to(WEIGHED)["cautions"])


def test_the_class_follows_the_upper_end_of_the_ph_range():
    # Aged ash: typically below 11.5, but the range reaches past it, and whoever is hurt did not have a typical ash.
    reply = reply_to(WEIGHED, ash={"kind": "hardwood", "state": "fresh"}, ranges="on")
    assert reply["values"]["liquor"]["ph"]["high"] > 11.5
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
