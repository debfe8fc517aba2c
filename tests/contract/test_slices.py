"""An answer worked out in slices: the same as in one go, with progress in between, and free to be dropped."""

from __future__ import annotations

import json

import pytest

from feedcalc.engine import answer_in_steps, calculate
from feedcalc.estimates import finished

PLAIN = {"schema": 1, "cans": [{"size": "9 L", "count": 2}], "samples": "20"}
READ = PLAIN | {"ash": {"amount": "1 cup"}, "water": {"amount": "5 L"}, "measured": {"ec": "6 mS/cm", "ph": "12"}}


@pytest.mark.parametrize(
    "request_",
    [
        PLAIN,
        READ,
        PLAIN | {"ranges": "off"},
        PLAIN | {"ask": "spread"},
        PLAIN | {"water": {"amount": "five"}},
        {"schema": 1, "solution": {"totals": {"potassium": 10, "carbon": 5}}},
        {"schema": 1, "ask": "spread", "soil": {"ph": "6"}},
        ["no request"],
    ],
)
def test_slices_end_with_the_reply_that_one_go_gives(request_):
    text = json.dumps(request_)
    assert finished(answer_in_steps(text)) == calculate(text)


@pytest.mark.parametrize("request_", [PLAIN, READ])
def test_progress_rises_to_the_end_and_comes_often(request_):
    steps = list(answer_in_steps(json.dumps(request_)))
    shares = [done / total for done, total in steps]
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert len(steps) >= 5


def test_one_answer_may_be_dropped_for_another():
    dropped = answer_in_steps(json.dumps(READ))
    next(dropped)
    dropped.close()
    text = json.dumps(PLAIN)
    assert finished(answer_in_steps(text)) == calculate(text)
