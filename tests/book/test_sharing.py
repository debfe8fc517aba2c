"""A winter's ash shared out: the best share beside another solver, its limits, and the reply of the door."""

from __future__ import annotations

import json
import random
from typing import Any

import pytest
from scipy.optimize import linprog

from feedcalc.book import sharing
from feedcalc.book.amounts import NutrientAmounts
from feedcalc.book.entries import Bed
from feedcalc.book.sharing import BedRoom, Materials, gain_of, share_out
from feedcalc.engine import calculate_markdown
from feedcalc.uncertainty.estimates import Estimate
from tests.asking import faults, reply_to, values_of


def unit(potassium: float, lime: float, ash: float) -> NutrientAmounts:
    spread = Estimate(0.5, 1.0, 2.0)
    return NutrientAmounts(
        potassium=spread.scaled(potassium), lime_value=spread.scaled(lime), ash=Estimate.exactly(ash)
    )


# A gram of ash with 5 % of potassium and half the lime of limestone; 3.5 g of it make a litre of feed.
MATERIALS = Materials(dry=unit(0.05, 0.5, 1.0), sludge=unit(0.015, 0.46, 1.0), feed=unit(0.12, 0.14, 0.28), steeped=3.5)


def room(area: float = 10.0, **limits: float) -> BedRoom:
    return BedRoom(bed=Bed("bed", "Bed", area=area), takes_solids=True, **limits)


def random_rooms(chance: random.Random) -> list[BedRoom]:
    return [
        BedRoom(
            bed=Bed(str(place), "Bed", area=chance.uniform(1, 50)),
            takes_solids=chance.random() < 0.7,
            ash=chance.choice([0.0, chance.uniform(0, 3000)]),
            lime=chance.choice([0.0, chance.uniform(0, 2000)]),
            lime_to_stop=chance.uniform(0, 3000),
            potassium=chance.uniform(0, 200),
            metals=chance.choice([None, chance.uniform(0, 1000)]),
            feed=chance.choice([0.0, chance.uniform(1, 300)]),
        )
        for place in range(chance.randint(1, 8))
    ]


@pytest.mark.parametrize("seed", range(20))
def test_no_other_share_gains_more(seed):
    chance = random.Random(seed)
    rooms, ash = random_rooms(chance), chance.uniform(10, 20_000)
    shares = share_out(ash, rooms, MATERIALS)
    programme = sharing._programme(ash, rooms, MATERIALS)
    rows = [[row.get(column, 0.0) for column in range(len(programme.gains))] for row in programme.rows]
    best = linprog([-gain for gain in programme.gains], A_ub=rows, b_ub=programme.limits)
    assert gain_of(shares, rooms, MATERIALS) == pytest.approx(-best.fun, rel=1e-6, abs=1e-4)


def test_a_bed_ends_at_the_limit_that_comes_first():
    # By hand: 500 g of ash by its yearly limit; the need, 400 g of CaCO3, would take 800 g.
    (share,) = share_out(9000.0, [room(ash=500.0, lime=400.0, potassium=1000.0)], MATERIALS)
    assert (share.dry, share.ended_by) == (pytest.approx(500.0), ("cap",))
    # 10 g of potassium at the careful end, twice the typical 0.05, is 100 g of ash.
    (share,) = share_out(9000.0, [room(ash=500.0, lime=400.0, potassium=10.0)], MATERIALS)
    assert (share.dry, share.ended_by) == (pytest.approx(100.0), ("potassium",))


def test_ash_that_runs_short_goes_to_the_soil_that_needs_it_most():
    less, more = room(ash=500.0, lime=100.0), room(ash=500.0, lime=400.0)
    shares = share_out(300.0, [less, more], MATERIALS)
    assert [share.dry for share in shares] == pytest.approx([0.0, 300.0])


def test_sludge_goes_no_further_than_the_feed_that_leaves_it():
    # A bed that bears no lime takes 100 L of feed, 350 g of ash; an acid bed without a crop takes its sludge.
    thirsty = BedRoom(bed=Bed("a", "A", area=10.0), feed=100.0, potassium=1000.0)
    acid = room(ash=5000.0, lime=5000.0, potassium=1000.0)
    shares = share_out(350.0, [thirsty, acid], MATERIALS)
    steeped = sum(share.feed for share in shares) * MATERIALS.steeped
    assert sum(share.sludge for share in shares) <= steeped + 1e-6
    assert sum(share.dry for share in shares) + steeped <= 350.0 + 1e-6


# -- the door -------------------------------------------------------------------------------------------------

STAMP = "2026-05-02T16:00:00.000Z"


def book_of(*records: tuple[str, str, dict[str, str]]) -> dict[str, Any]:
    rows = [
        {
            "id": id_,
            "kind": kind,
            "fields": {name: {"text": text, "at": STAMP, "by": "test"} for name, text in fields.items()},
            "history": [],
        }
        for id_, kind, fields in records
    ]
    return {"format": "feedcalc season book", "version": 1, "records": rows}


def soil_test(bed: str, ph: str) -> tuple[str, str, dict[str, str]]:
    return (f"test-{bed}", "soil test", {"bed": bed, "date": "2026-10-01", "ph": ph, "tested_with": "laboratory"})


BOOK = book_of(
    ("acid", "bed", {"name": "Acid", "area": "12 m2", "texture": "loam", "plant": "cabbage"}),
    soil_test("acid", "5.8"),
    ("neutral", "bed", {"name": "Neutral", "area": "8 m2", "texture": "clay", "plant": "tomato"}),
    soil_test("neutral", "6.6"),
    ("berries", "bed", {"name": "Berries", "area": "4 m2", "plant": "blueberry"}),
    ("untested", "bed", {"name": "Untested", "area": "5 m2", "plant": "tomato"}),
    ("vague", "bed", {"name": "Vague", "plant": "tomato"}),
)
ASKED = {"ask": "share", "now": "2026-11-27T10:00", "book": BOOK}


def shares(**ash: str) -> dict[str, Any]:
    share: dict[str, Any] = values_of(ASKED, ash=ash)["share"]
    return share | {bed["id"]: bed for bed in share["beds"]}


def why(bed: dict[str, Any]) -> set[str]:
    return {reason["id"] for reason in bed["reasons"] + bed["ended_by"]}


def test_each_bed_gets_what_its_soil_and_crop_can_use_and_reasons_for_no_more():
    found = shares(amount="20 kg")
    acid, neutral = found["acid"], found["neutral"]
    assert 0 < acid["dry_per_square_metre"]["value"] <= 98  # the yearly limit at pH 5.8
    assert neutral["dry"]["value"] == 0 < neutral["feed"]["value"]
    assert neutral["feeds"] <= 3
    assert found["berries"]["feed"]["value"] == found["berries"]["dry"]["value"] == 0
    assert "plant_acid-loving" in why(found["berries"])
    assert (found["untested"]["dry"]["value"], found["untested"]["feeds"]) == (0, 1)
    assert "once" in why(found["untested"])
    assert why(found["vague"]) == {"no_area"}


def test_every_gram_of_the_ash_is_on_a_bed_in_a_feed_or_left():
    found = shares(amount="20 kg")
    assert found["dry"]["value"] + found["steeped"]["value"] + found["left"]["value"] == pytest.approx(20_000, rel=1e-4)
    assert found["sludge_left"]["value"] <= found["steeped"]["value"]


def test_what_a_bed_had_is_taken_from_its_share():
    had = ("e", "entry", {"bed": "acid", "date": "2026-10-20", "what": "dry ash", "amount": "600 g"})
    book = {**BOOK, "records": [*BOOK["records"], *book_of(had)["records"]]}
    before, after = shares(amount="20 kg"), values_of({**ASKED, "book": book}, ash={"amount": "20 kg"})["share"]
    rest = next(bed for bed in after["beds"] if bed["id"] == "acid")
    assert rest["dry"]["value"] + rest["sludge"]["value"] <= before["acid"]["dry"]["value"] - 500


def test_wood_leaves_ash_by_its_published_yield():
    # By hand: 1 m3 stacked holds 370 kg, of which 0.7 % is ash: 2.59 kg. 1000 kg by weight leave 4.3 to 18 kg.
    assert shares(wood="1 stere")["ash"]["value"] == pytest.approx(2590)
    by_weight = shares(wood="1000 kg")["ash"]
    assert (by_weight["low"], by_weight["high"]) == pytest.approx((4300, 18_000))


def test_a_country_with_a_yearly_load_of_metals_ends_the_share_sooner():
    # By hand: Denmark allows 0.8 g of cadmium to the hectare; ash that may hold 6 mg/kg brings it with 13.3 g/m2.
    bed = values_of(ASKED, ash={"amount": "20 kg"}, country="DK")["share"]["beds"][0]
    assert (bed["dry"]["value"] + bed["sludge"]["value"]) / 12 == pytest.approx(13.33, rel=0.01)
    assert "metals" in why(bed)


@pytest.mark.parametrize(
    ("ash", "field"),
    [({}, "ash.amount"), ({"amount": "1 kg", "wood": "1 cord"}, "ash.wood"), ({"wood": "?"}, "ash.wood")],
)
def test_an_amount_that_is_missing_or_told_twice_is_asked_for(ash, field):
    assert field in faults(ASKED, ash=ash)


def test_the_shares_are_in_the_calendar_with_their_cautions():
    asked = {**ASKED, "ask": "book", "do": "reminders", "ash": {"amount": "20 kg"}}
    rows = {row["kind"]: row for row in values_of(asked)["book"]["reminders"]}
    assert rows["share-ash"]["start"] == "2026-11-27"
    assert any("bare hands" in line for line in rows["share-ash"]["description"])
    assert "share-feed" in rows


def test_words_and_bars_say_what_the_figures_say():
    reply = reply_to(ASKED, ash={"amount": "20 kg"})
    assert reply["html"]["share"].count("<svg") == 3  # of five beds two get nothing
    assert 'data-share="berries"' in reply["html"]["share"]
    _, words = calculate_markdown(
        json.dumps({"schema": 1, "ranges": "off", **ASKED, "ash": {"amount": "20 kg"}}), "share"
    )
    assert "| Berries | none | none | none |" in words
