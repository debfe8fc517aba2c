"""A winter's ash shared out: the best share beside another solver, its limits, and the reply of the door."""

from __future__ import annotations

import random

import pytest
from scipy.optimize import linprog

from feedcalc.book import sharing
from feedcalc.book.amounts import NutrientAmounts
from feedcalc.book.entries import Bed
from feedcalc.book.sharing import BedRoom, Materials, gain_of, share_out
from feedcalc.uncertainty.estimates import Estimate


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
