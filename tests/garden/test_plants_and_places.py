"""Groups of plants, houseplants, places with an answer of their own, and what trials found of ash against pests."""

import pytest

from feedcalc.garden.plants import plants_named
from tests.asking import WEIGHED, reply_to, values_of

ACID = {"soil": {"ph": "5.8", "texture": "loam"}}


@pytest.mark.parametrize(
    ("named", "some"),
    [
        ("fruit trees", {"apple", "plum"}),
        ("Obstbäume", {"apple", "plum"}),
        ("berries", {"blueberry", "raspberry"}),
        ("bulbs", {"tulip"}),
        ("herbs", {"basil", "thyme"}),
        ("brassicas", {"cabbage", "kale"}),
        ("houseplants", {"peace_lily", "orchid"}),
        ("plantas de interior", {"peace_lily", "orchid"}),
    ],
)
def test_a_group_of_plants_is_its_members(named, some):
    assert some <= {plant.id for plant in plants_named(named)}


def test_the_most_sensitive_of_a_group_decides():
    assert values_of(WEIGHED, ACID, plant="berries")["verdict"] == "hold back"
    assert values_of(WEIGHED, ACID, plant="brassicas")["verdict"] == "go"


def test_geranium_is_the_cranesbill_and_the_pelargonium():
    assert {plant.id for plant in plants_named("geranium")} == {"geranium", "pelargonium"}
    assert {plant.id for plant in plants_named("pelargonium")} == {"pelargonium"}
    assert {plant.id for plant in plants_named("cranesbill")} == {"geranium"}


@pytest.mark.parametrize("name", ["snake plant", "peace lily", "monstera", "cactus", "Efeutute", "violette africaine"])
def test_houseplants_are_known(name):
    assert plants_named(name)


@pytest.mark.parametrize(
    ("place", "verdict", "reason"),
    [
        ("greenhouse", "go", "greenhouse"),  # half as strong already, so the reason is met
        ("hydroponics", "hold back", "hydroponics"),
        ("Wurmkiste", "hold back", "worm_bin"),
    ],
)
def test_a_place_has_its_own_honest_line(place, verdict, reason):
    values = values_of(WEIGHED, ACID, plant="tomato", place=place, dilution="1:20")
    assert reason in {each["id"] for each in values["reasons"]}
    assert values["verdict"] == verdict


def test_a_tree_gets_its_ash_by_the_ground_under_its_crown():
    spread = values_of(ACID, ask="spread", plant="apple")["spread"]
    # By hand: a crown 3 m across covers 3.14 / 4 x 9 = 7.07 m2.
    assert spread["advice"]["tree"]["value"] == pytest.approx(7.069 * spread["advice"]["ash"]["value"], rel=1e-3)


def test_ash_without_a_laboratory_is_told_the_years_to_a_limit_of_its_country():
    metals = values_of(ACID, ask="spread", country="DE")["spread"]["metals"]
    assert metals["country"] == "DE"
    assert metals["rows"]
    assert all(row["years"]["low"] < row["years"]["high"] for row in metals["rows"])


def test_pests_are_told_with_what_trials_found():
    html = reply_to(ACID, ask="spread")["html"]["spread"]
    assert "no trial of a ring of ash was found" in html
    assert "108 lettuces" in html


def test_beans_are_told_that_boron_harms_them_first():
    assert "boron harms it" in reply_to(WEIGHED, plant="bean")["html"]["delivery"]
    assert "boron harms it" not in reply_to(WEIGHED, plant="tomato")["html"]["delivery"]
