"""An answer in steps is the same as at once, reports progress and can be dropped."""

from __future__ import annotations

import json
import subprocess
import sys
from itertools import pairwise, zip_longest
from typing import Any

import pytest

from feedcalc.engine import answer_in_steps, calculate
from feedcalc.uncertainty.estimates import latin_hypercube, run_to_end, spread_out

PLAIN = {"schema": 1, "cans": [{"size": "9 L", "count": 2}], "samples": "20"}
READ = PLAIN | {"ash": {"amount": "1 cup"}, "water": {"amount": "5 L"}, "measured": {"ec": "6 mS/cm", "ph": "12"}}


def kept(ec: str, **more: Any) -> dict[str, Any]:
    """Return a request for a kept ash with one earlier batch."""
    batch = {"ash": {"amount": "100 g"}, "water": {"amount": "5 L"}, "measured": {"ec": ec, "ph": "12"}}
    return {"schema": 1, "ask": "learn", "name": "stove", "ash": {"earlier": [batch]}} | more


def season(grams: int, **more: Any) -> dict[str, Any]:
    """Return a book of two beds: feeds from two batches, an unreadable one and a planned one, sludge, ash and lime."""

    def batch(grams: int) -> str:
        return json.dumps({"schema": 1, "ash": {"amount": f"{grams} g"}, "dilution": "1:10", "samples": "20"})

    one, other = batch(grams), batch(grams + 1)
    records = [
        ("bed", "bed", {"name": "North", "area": "10 m2", "texture": "loam", "plant": "tomato"}),
        ("wall", "bed", {"name": "South", "area": "4 m2", "texture": "sand"}),
        ("test", "soil test", {"bed": "bed", "date": "2026-03-01", "ph": "6.2"}),
        ("a", "entry", {"bed": "bed", "date": "2026-03-02", "what": "liquid feed", "amount": "9 L", "request": one}),
        ("b", "entry", {"bed": "wall", "date": "2026-03-03", "what": "liquid feed", "amount": "9 L", "request": one}),
        ("c", "entry", {"bed": "bed", "date": "2026-03-09", "what": "liquid feed", "amount": "9 L", "request": other}),
        ("d", "entry", {"bed": "bed", "date": "2026-03-10", "what": "sludge", "amount": "50 %", "request": other}),
        ("e", "entry", {"bed": "wall", "date": "2026-03-11", "what": "dry ash", "amount": "50 g"}),
        ("f", "entry", {"bed": "wall", "date": "2026-03-12", "what": "lime", "amount": "50 g"}),
        ("g", "entry", {"bed": "wall", "date": "2026-03-13", "what": "liquid feed", "amount": "9 L", "request": "{"}),
    ]
    stamp = {"at": "2026-05-01T16:00:00.000Z", "by": "t"}
    book = [
        {
            "id": identity,
            "kind": kind,
            "fields": {name: {"text": text, **stamp} for name, text in told.items()},
            "history": [],
        }
        for identity, kind, told in records
    ]
    return {
        "schema": 1,
        "ask": "season",
        "now": "2026-05-02T18:00",
        "book": {"format": "feedcalc season book", "version": 1, "records": book},
        "what_if": {"bed": "bed", "what": "liquid feed", "amount": "9 L", "request": batch(grams + 2)},
    } | more


REQUESTS: list[Any] = [
    PLAIN,
    READ,
    PLAIN | {"ranges": "off"},
    PLAIN | {"ask": "spread"},
    PLAIN | {"water": {"amount": "five"}},
    {"schema": 1, "solution": {"totals": {"potassium": 10, "carbon": 5}}},
    {"schema": 1, "ask": "spread", "soil": {"ph": "6"}},
    kept("6 mS/cm", language="de"),
    kept("6 mS/cm", ash={}),
    READ | {"ask": "learn", "name": "stove"},
    READ | {"ask": "learn", "name": "stove", "measured": {"ec": "600 mS/cm"}},
    season(100),
    season(100, ranges="off", language="de"),
    season(100, what_if={"bed": "bed", "what": "lime", "amount": "much"}),
    season(100, book="none"),
    ["no request"],
]


def long_ones(number: int) -> dict[str, Any]:
    """Return requests that take long, by name. No answer to them is in a cache where nothing else uses this number."""
    return {
        "plain": PLAIN | {"seed": number},
        "read": READ | {"measured": {"ec": f"6.{number} mS/cm", "ph": "12"}},
        "kept": kept(f"6.{number} mS/cm"),
        "learned": READ | {"ask": "learn", "name": "stove", "measured": {"ec": f"6.{number}5 mS/cm"}},
        "season": season(200 + 20 * number),
        "season without ranges": season(210 + 20 * number, ranges="off"),
    }


LONG, DROPPED, WATCHED = long_ones(1), long_ones(2), long_ones(3)


@pytest.fixture(scope="module")
def elsewhere() -> dict[str, str]:
    """Return the replies of a new Python process that answers these requests without interruption."""
    texts = [json.dumps(request) for request in (*REQUESTS, *LONG.values(), *DROPPED.values())]
    program = (
        "import json, sys; from feedcalc.engine import calculate;"
        "print(json.dumps([calculate(text) for text in json.load(sys.stdin)]))"
    )
    run = subprocess.run([sys.executable, "-c", program], input=json.dumps(texts), capture_output=True, text=True)
    assert run.returncode == 0, run.stderr
    return dict(zip(texts, json.loads(run.stdout), strict=True))


@pytest.mark.parametrize("request_", REQUESTS)
def test_an_answer_in_steps_is_the_same_as_an_answer_at_once(request_, elsewhere):
    text = json.dumps(request_)
    assert run_to_end(answer_in_steps(text)) == elsewhere[text]
    assert calculate(text) == elsewhere[text]


@pytest.mark.parametrize("name", WATCHED)
def test_progress_is_frequent_and_rises_to_the_end(name):
    steps = list(answer_in_steps(json.dumps(WATCHED[name])))
    shares = [done / total for done, total in steps]
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert len(set(shares)) >= 5 - (name == "season without ranges")


def test_an_answer_can_be_dropped_for_another():
    dropped = answer_in_steps(json.dumps({**READ, "seed": 3}))
    next(dropped)
    dropped.close()
    text = json.dumps(PLAIN)
    assert run_to_end(answer_in_steps(text)) == calculate(text)


def test_early_replies_have_the_final_figures_first_without_and_then_with_the_ranges_of_some_ashes():
    early: list[str] = []
    text = json.dumps({"schema": 1, "samples": "20", "seed": 5, "html": ["bench", "ladder", "label"]})
    final = json.loads(run_to_end(answer_in_steps(text, early.append)))
    first, second = map(json.loads, early)
    assert final == json.loads(calculate(text))
    for reply in (first, second, final):
        potassium = reply["values"]["liquor"]["potassium"]
        assert potassium["value"] == final["values"]["liquor"]["potassium"]["value"]
        assert (potassium["low"] < potassium["high"]) == (reply is not first)
    assert [list(reply["html"]) for reply in (first, second, final)] == [
        ["bench"],
        ["bench", "ladder"],
        ["bench", "ladder", "label"],
    ]
    assert [reply.get("more") for reply in (first, second, final)] == [True, None, None]


def test_the_first_reply_lacks_nothing_where_only_the_first_parts_are_wanted():
    early: list[str] = []
    run_to_end(answer_in_steps(json.dumps({"schema": 1, "samples": "20", "html": ["bench", "bar"]}), early.append))
    assert [list(json.loads(reply)["html"]) for reply in early] == 2 * [["bench", "bar"]]
    assert not any("more" in json.loads(reply) for reply in early)


def test_the_first_ashes_lie_all_over_the_range_of_each_unknown():
    names = ("alkali", "density", "free lime")
    rows = latin_hypercube(names, 40, 1)
    first = spread_out(names, 40, 1, 12, frozenset(names))
    for name in names:
        values = sorted(rows[place][name] for place in first)
        assert max(high - low for low, high in pairwise([0.0, *values, 1.0])) < 0.25


@pytest.mark.parametrize("name", DROPPED)
def test_a_dropped_answer_leaves_nothing_behind(name, elsewhere):
    text = json.dumps(DROPPED[name])
    far = 1
    for _ in range(3):  # at the first slice, then further on each time, until it would have been done
        dropped = answer_in_steps(text)
        for _ in range(far):
            next(dropped, None)
        dropped.close()
        far *= 7
    assert run_to_end(answer_in_steps(text)) == elsewhere[text]


def test_answers_computed_in_turn_do_not_affect_each_other(elsewhere):
    texts = [json.dumps(request) for request in LONG.values()]
    replies = {}

    def noted(text):
        replies[text] = yield from answer_in_steps(text)

    for _ in zip_longest(*map(noted, texts)):
        pass
    assert replies == {text: elsewhere[text] for text in texts}


def test_a_finished_batch_of_a_dropped_book_stays_cached():
    text = json.dumps(season(150))
    dropped = answer_in_steps(text)
    done, total = 0, 1
    while 12 * done <= total:  # past the first of six things to work out, which are half with what is planned
        done, total = next(dropped)
    dropped.close()
    again = list(answer_in_steps(text))
    assert len(again) < len(list(answer_in_steps(json.dumps(season(160)))))
