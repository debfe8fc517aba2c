"""What happened: the soil now, the causes in order, and what to do."""

from __future__ import annotations

import pytest

from tests.asking import faults, reply_to, values_of


def happened(text: str, *parts) -> dict:
    return values_of({"ask": "happened", "happened": text}, *parts)["happened"]


def test_a_bed_with_far_too_much_ash_is_at_the_ceiling_of_carbonate():
    soil = happened("5 kg of ash on 1 m2, soil was pH 6", {"soil": {"texture": "sand"}})["soil"]
    assert soil["ash"]["value"] == pytest.approx(5000, rel=0.01)
    assert 8.0 <= soil["ph_now"]["value"] <= 8.5
    assert soil["ph_now"]["high"] <= 8.6
    assert {"iron", "manganese", "boron", "zinc"} <= set(soil["locks"])
    assert soil["years"]["value"] > 10


def test_a_little_ash_on_acid_soil_is_not_blamed_on_lime():
    answer = happened("50 g of ash on 1 m2, pH 5.2, leaves are pale", {"soil": {"tested_with": "laboratory"}})
    assert answer["soil"]["ph_now"]["high"] < 6.9
    assert answer["causes"][-1]["id"] == "lime"


@pytest.mark.parametrize(
    ("text", "first"),
    [
        ("sprayed my tomatoes, leaves scorched", "caustic"),
        ("watered seedlings with ash water, all dead", "salt"),
        ("young leaves are pale with green veins", "lime"),
        ("fed ash tea all summer, nothing happened", "no_need"),
        ("spilled a lot of ash on the bed", "lime"),
    ],
)
def test_each_sign_has_its_likeliest_cause_first_with_a_test_and_what_to_do(text, first):
    causes = happened(text)["causes"]
    assert causes[0]["id"] == first
    assert len(causes) >= 2
    assert all(cause["tell"] and cause["today"] and cause["again"] for cause in causes)


def test_what_would_narrow_the_answer_is_asked_for():
    assert len(happened("leaves scorched")["asked"]) == 4
    assert happened("100 g of ash on 2 m2, soil pH 6", {"soil": {"texture": "loam"}})["asked"] == []


def test_a_pot_is_leached_with_twice_its_volume_and_then_by_the_leaching_requirement():
    leach = happened("a handful of ash in a 5 litre pot, brown tips")["leach"]
    assert leach["is_pot"]
    assert leach["pot_water"]["value"] == 10
    # FAO 29: LR = ECw / (5 ECe - ECw) with 0.4 mS/cm of water and 1.5 of soil.
    assert leach["runoff_share"]["value"] == pytest.approx(0.4 / (7.5 - 0.4), rel=1e-3)


@pytest.mark.parametrize(
    ("language", "text"),
    [
        ("en", "I spilled lye on my hand"),
        ("de", "mein Hund hat Asche gefressen"),
        ("fr", "de la lessive dans les yeux"),
        ("es", "el niño tragó lejía"),
        ("pt", "caiu barrela na pele"),
        ("hi", "बच्चे ने राख का पानी पी लिया"),
    ],
)
def test_first_aid_comes_first_for_who_is_hurt(language, text):
    reply = reply_to(ask="happened", happened=text, language=language)
    assert reply["values"]["happened"]["causes"][0]["id"] == "person"
    assert {"first_aid_eyes", "first_aid_skin", "first_aid_swallowed"} <= {row["id"] for row in reply["cautions"]}


def test_a_text_that_is_too_long_is_told_so_without_speaking_of_a_recipe():
    assert faults(ask="happened", happened="ash " * 300)["happened"]["accepted"] == "a few sentences"


def test_a_text_that_says_nothing_is_asked_again():
    assert "happened" in faults(ask="happened", happened="hello there")
