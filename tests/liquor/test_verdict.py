"""The verdict as the door gives it: on ground, plants and the feed the plan makes."""

import pytest

from feedcalc.garden.suitability import half_strength
from tests.asking import WEIGHED, reply_to, values_of

ACID_BED = {"soil": {"ph": 6.0, "tested_with": "meter", "texture": "loam"}, "plant": "tomato", "season": "growing"}
WORDS = ("go", "go weaker", "hold back")


def test_every_batch_has_a_verdict_with_sourced_reasons():
    values = values_of()
    assert values["verdict"] in WORDS
    for reason in values["reasons"]:
        assert set(reason) == {"id", "text", "towards", "source", "status"}
        assert reason["towards"] in WORDS
        assert reason["text"].strip()
    sources = {source["id"] for source in reply_to()["sources"]}
    assert {reason["source"] for reason in values["reasons"]} <= sources


def test_the_verdict_on_an_untested_bed_is_to_test_first():
    values = values_of(WEIGHED, ACID_BED | {"soil": {"ph": ""}})
    assert values["verdict"] == "hold back"
    assert "test" in values["reasons"][0]["text"].casefold()


def test_an_aged_ash_on_an_acid_bed_may_go_ahead():
    assert values_of(WEIGHED, ACID_BED)["verdict"] == "go"


@pytest.mark.parametrize(
    "worse",
    [
        {"plant": "blueberry"},
        {"soil": {"ph": 7.2}},
        {"season": "sowing"},
        {"use": "foliar"},
        {"place": "near pond or drain"},
    ],
)
def test_each_danger_makes_the_verdict_hold_back(worse):
    assert values_of(WEIGHED, ACID_BED, worse)["verdict"] == "hold back"


def test_a_stronger_feed_never_gets_a_freer_verdict():
    words = [values_of(WEIGHED, ACID_BED, dilution=f"1:{parts}")["verdict"] for parts in (1, 3, 10, 30)]
    ranks = [WORDS.index(word) for word in words]
    assert ranks == sorted(ranks, reverse=True)


def test_seedling_limits_count_for_a_plug_tray():
    tray = values_of(WEIGHED, ACID_BED, {"place": "plug tray"})
    assert tray["verdict"] == "go weaker"
    assert any("seedlings" in reason["text"] for reason in tray["reasons"])


def test_an_unknown_plant_is_no_error():
    values = values_of(WEIGHED, ACID_BED, {"plant": "brocolli"})
    assert any(reason["id"] == "plant_not_listed" and "broccoli" in reason["text"] for reason in values["reasons"])


def test_a_plant_is_only_ever_text_on_the_sheet():
    html = reply_to(WEIGHED, ACID_BED, {"plant": "<img src=x onerror=alert(1)>"})["html"]["bench"]
    assert "<img" not in html.casefold()
    assert "&lt;img" in html.casefold()


def test_the_first_screen_shows_the_verdict_and_why_in_a_few_words():
    html = reply_to(WEIGHED, ACID_BED)["html"]["bench"]
    assert '<strong data-verdict="go">Go</strong> Soil and plants can take it.' in html
    untested = reply_to(WEIGHED, {"soil": {}})["html"]["bench"]
    assert '<strong data-verdict="hold back">Hold back</strong> The soil pH is not known.' in untested


def test_numbers_in_reasons_follow_the_locale():
    told = values_of(WEIGHED, ACID_BED, locale="de-DE")["reasons"]
    assert any("6,0" in reason["text"] for reason in told)


def test_the_reply_gives_the_area_that_the_sludge_is_enough_for():
    # 107 g of ash; at pH 6.0 the cap is 73 g per square metre: 107 / 73 = 1.466 m2.
    assert values_of(WEIGHED, ACID_BED)["sludge"]["area_at_cap"]["value"] == pytest.approx(1.466, abs=0.001)
    assert "area_at_cap" not in values_of(WEIGHED, ACID_BED, {"soil": {"ph": 7.2}})["sludge"]


def test_an_old_soil_test_allows_half_the_strength():
    recent, old = ({"soil": {"tested_on": day}} for day in ("2025-03-01", "2020-03-01"))
    now = {"now": "2026-05-01T09:00"}
    feed = values_of(WEIGHED, ACID_BED, now, recent, dilution="")
    assert feed["verdict"] == "go"
    chosen = f"1:{feed['batch']['parts_water']['value']:g}"
    assert values_of(WEIGHED, ACID_BED, now, old, dilution=chosen)["verdict"] == "go weaker"
    planned = values_of(WEIGHED, ACID_BED, now, old, dilution="")
    assert planned["batch"]["parts_water"]["value"] == half_strength(
        feed["recommended"]["established"]["parts_water"]["value"]
    )
    assert planned["verdict"] == "go"


@pytest.mark.parametrize("field", ["place", "season"])
def test_a_misspelt_choice_is_refused_with_the_choices(field):
    reply = reply_to(WEIGHED, **{field: "elsewhere"})
    assert [error["field"] for error in reply["errors"]] == [field]
