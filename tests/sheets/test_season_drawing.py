"""The timeline of a bed is to scale: step functions, with a mark at each entry."""

from __future__ import annotations

import re
from datetime import date
from itertools import pairwise

import pytest

from feedcalc.book.records import ENTRY_KINDS
from feedcalc.book.totals import TimelineStep
from feedcalc.sheets.season_drawing import SHAPES, letter_of, timeline_drawing
from feedcalc.uncertainty.estimates import Estimate

EDGES = (40.0, 340.0, 20.0, 180.0)


def step(day: date, ash: float, cap: float = 100.0, lime: float = 0.0) -> TimelineStep:
    return TimelineStep(day, Estimate(ash * 0.8, ash, ash * 1.2), Estimate.exactly(lime), cap)


STEPS = (
    step(date(2025, 1, 1), 0),
    step(date(2025, 4, 11), 40),
    step(date(2025, 7, 20), 80),
    step(date(2026, 1, 1), 80),
)
ENTRIES = [{"date": "2025-04-11", "what": "dry ash"}, {"date": "2025-07-20", "what": "sludge"}]


def points(path: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"[ML]?([\d.]+) ([\d.]+)", path)]


def test_every_kind_of_entry_has_its_own_shape():
    assert set(SHAPES) == set(ENTRY_KINDS)
    assert len(set(SHAPES.values())) == len(ENTRY_KINDS)


def test_lines_are_step_functions_and_days_are_to_scale():
    drawn = timeline_drawing(STEPS, ENTRIES, *EDGES)
    assert drawn is not None
    line = points(drawn.ash)
    assert all(a[0] == b[0] or a[1] == b[1] for a, b in pairwise(line)), "no slopes"
    assert line[0][0] == 40.0
    assert line[-1][0] == 340.0
    # By hand: 11 April is day 100 of 365: 40 + 300 x 100 / 365 = 122.2.
    assert drawn.marks[0].x == pytest.approx(122.2, abs=0.05)


def test_all_heights_share_one_scale():
    drawn = timeline_drawing(STEPS, ENTRIES, *EDGES)
    assert drawn is not None
    base, cap = 180.0, points(drawn.cap)[0][1]
    forty, eighty = (base - mark.y for mark in drawn.marks)
    assert eighty == pytest.approx(2 * forty)
    assert (base - cap) == pytest.approx(2.5 * forty, abs=0.1)
    for y, grams in drawn.levels:
        assert base - y == pytest.approx(forty * grams / 40)


def test_marks_have_the_letters_of_the_list():
    drawn = timeline_drawing(STEPS, ENTRIES, *EDGES)
    assert drawn is not None
    assert [(mark.letter, mark.shape) for mark in drawn.marks] == [("A", "square"), ("B", "diamond")]
    assert len({letter_of(place) for place in range(2000)}) == 2000


def test_a_single_day_without_entries_can_be_drawn():
    one = (step(date(2026, 1, 1), 0, cap=0.0),)
    drawn = timeline_drawing(one, [], *EDGES)
    assert drawn is not None
    assert "nan" not in drawn.ash + drawn.band
    assert timeline_drawing((), [], *EDGES) is None
