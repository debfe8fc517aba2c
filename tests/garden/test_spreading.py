"""Replies about dry ash: advice, common practice against yearly limits, and the command line."""

import json

import pytest
from click.testing import CliRunner

from feedcalc.command_line.main import main
from tests.asking import every_figure, reply_to, values_of

BED = {
    "ask": "spread",
    "ash": {"kind": "hardwood", "state": "aged"},
    "soil": {"ph": 5.8, "tested_with": "meter", "texture": "loam", "area": "4 m2"},
    "plant": "cabbage",
    "customs": "us",
}


def test_an_acid_bed_gets_the_yearly_limit():
    values = values_of(BED)
    advice = values["spread"]["advice"]
    assert advice["ash"]["value"] == 98
    assert advice["limited_by"] == "cap"
    assert advice["ash_for_area"]["value"] == pytest.approx(4 * 98)
    assert values["verdict"] == "go"


@pytest.mark.parametrize(
    "held",
    [{"soil": {"ph": ""}}, {"soil": {"ph": 7.1}}, {"plant": "potato"}, {"season": "sowing"}, {"soil": {"ph": 6.9}}],
)
def test_a_verdict_of_hold_back_advises_no_ash(held):
    values = values_of(BED, held)
    assert values["verdict"] == "hold back"
    assert values["spread"]["advice"]["ash"]["value"] == 0


def test_practices_above_the_yearly_limit_are_marked():
    uses = {use["id"]: use for use in values_of(BED)["spread"]["uses"]}
    assert set(uses) == {"spread", "raised_bed", "top_dress", "compost", "ring"}
    assert uses["raised_bed"]["is_above_cap"]
    assert uses["raised_bed"]["times_the_cap"]["value"] > 2.5
    assert not uses["compost"]["is_above_cap"]
    html = reply_to(BED)["html"]["spread"]
    assert "Above:" in html
    assert "These amounts are habit; we found no source." in html


def test_every_practice_is_above_a_yearly_limit_of_zero():
    assert all(use["is_above_cap"] for use in values_of(BED, {"soil": {"ph": 7.4}})["spread"]["uses"])


def test_every_figure_is_inside_its_range_and_shown_with_its_number():
    reply = reply_to(BED)
    figures = dict(every_figure(reply["values"]))
    assert len(figures) > 40
    for path, figure in figures.items():
        assert figure["low"] <= figure["value"] <= figure["high"], path
    assert f'data-value="{figures["spread.advice.ash"]["value"]}"' in reply["html"]["spread"]


def test_every_source_in_the_values_is_cited():
    reply = reply_to(BED)
    cited = {source["id"] for source in reply["sources"]}
    spread = reply["values"]["spread"]
    named = {row["source"] for part in ("uses", "published", "undo") for row in spread[part]}
    assert named | {spread["cap"]["source"]} <= cited


def test_the_covered_area_follows_from_the_amount_of_ash():
    covers = values_of(BED, {"ash": {"amount": "196 g"}})["spread"]["advice"]["covers"]
    assert covers["value"] == pytest.approx(2.0)


def test_a_total_needs_an_area():
    reply = reply_to(BED, {"soil": {"area": ""}})
    assert reply["values"]["spread"]["advice"]["ash_for_area"] is None
    assert "For your area" not in reply["html"]["spread"]


@pytest.mark.parametrize("ph", [None, 2.5, 5.8, 6.4, 6.6, 7.5, 11])
@pytest.mark.parametrize("texture", [None, "sand", "peat"])
@pytest.mark.parametrize("place", [None, "pot", "near pond or drain"])
def test_any_soil_gets_an_answer(ph, texture, place):
    reply = reply_to({"ask": "spread", "soil": {"ph": ph, "texture": texture}, "place": place, "plant": "{0} %s"})
    assert reply["ok"], reply["errors"]
    assert (reply["values"]["spread"]["advice"]["ash"]["value"] > 0) <= (reply["values"]["verdict"] != "hold back")


def test_an_ash_without_lime_gets_an_answer():
    analysis = dict.fromkeys(("potassium", "calcium", "magnesium", "sodium"), "0 g/kg")
    assert reply_to(BED, {"ash": {"analysis": analysis}})["ok"]
    assert reply_to(BED, {"ask": "batch", "ash": {"analysis": analysis}})["ok"]


def test_a_given_target_ph_is_used_and_an_assumed_one_is_reported():
    assert values_of(BED, {"soil": {"target_ph": 6.2}})["spread"]["need"]["target_ph"]["value"] == 6.2
    assert reply_to(BED)["assumed"]["soil.target_ph"] == "6.5"
    assert reply_to(BED, {"soil": {"texture": "peat"}})["assumed"]["soil.target_ph"] == "5.8"


def test_deeper_digging_changes_the_ph_less():
    shallow, deep = (
        values_of(BED, {"soil": {"dug_depth": depth}})["spread"]["uses"][0]["shift"]["value"]
        for depth in ("5 cm", "20 cm")
    )
    assert shallow == pytest.approx(4 * deep, rel=1e-4)


def test_the_command_line_gives_the_same_values():
    asked = ["spread", "--soil-ph", "5.8", "--tested-with", "meter", "--texture", "loam", "--plant", "cabbage"]
    asked += ["--area", "4 m2", "--kind", "hardwood", "--state", "aged", "--customs", "us"]
    told = json.loads(CliRunner().invoke(main, [*asked, "--json"]).output)
    assert told["values"] == values_of(BED)
    words = CliRunner().invoke(main, asked).output
    assert "98" in words
    assert "How do I undo too much?" in words


def test_a_refused_request_ends_with_code_one_and_names_its_field():
    done = CliRunner().invoke(main, ["spread", "--soil-ph", "lovely"])
    assert done.exit_code == 1
    assert "--soil-ph" in done.output + done.stderr


def test_plants_are_found_from_the_command_line_by_either_name():
    by_common = json.loads(CliRunner().invoke(main, ["plants", "highbush", "blueberries", "--json"]).output)
    by_botanical = json.loads(CliRunner().invoke(main, ["plants", "Vaccinium corymbosum", "--json"]).output)
    assert by_common == by_botanical
    assert by_common[0]["kind"] == "acid-loving"
    assert len(json.loads(CliRunner().invoke(main, ["plants", "--json"]).output)) >= 100


def test_conflicting_lists_of_a_plant_are_shown_side_by_side():
    words = CliRunner().invoke(main, ["plants", "juniper"]).output
    assert "5.0 to 6.0" in words
    assert "5.0 to 8.0" in words
    assert "These lists do not agree. We follow the more careful one." in words


def test_plants_are_listed_by_their_names_in_a_language():
    words = CliRunner().invoke(main, ["plants", "leek", "--language", "de"]).output
    assert words.startswith("**Lauch, Porree** (Allium porrum)")
    assert "leek" not in words
    assert CliRunner().invoke(main, ["plants", "poireaux", "--json"]).output.count('"id": "leek"') == 1


def test_a_plant_that_is_not_listed_is_answered_with_near_names():
    done = CliRunner().invoke(main, ["plants", "brocolli"])
    assert done.exit_code == 1
    assert "broccoli" in done.output + done.stderr
