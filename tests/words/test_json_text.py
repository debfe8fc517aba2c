"""JSON text from outside is parsed only if it is not too deep; every door refuses the rest in words."""

from __future__ import annotations

import json
from importlib import resources

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feedcalc.book.book_file import book_text, read_book
from feedcalc.engine import calculate, calculate_markdown, calculate_print
from feedcalc.words.errors import InputError
from feedcalc.words.json_text import DEEPEST_JSON, NestedTooDeep, RepeatedKey, json_depth, json_object, parse_json

DEEP = {
    "lists": "[" * 3000 + "]" * 3000,
    "objects": '{"a":' * 3000 + "1" + "}" * 3000,
    "a list in a request": '{"schema": 1, "cans": ' + "[" * 3000 + "]" * 3000 + "}",
    "an endless list": "[" * 100_000,
}
PROBLEM = "This is nested deeper than 64 levels."
trees = st.recursive(
    st.text('"\\[]{}a\n', max_size=8), lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner)
)


def depth_of(tree):
    inner = tree.values() if isinstance(tree, dict) else tree if isinstance(tree, list) else None
    return 0 if inner is None else 1 + max(map(depth_of, inner), default=0)


@given(trees)
def test_the_depth_of_a_text_is_the_depth_of_what_it_holds(tree):
    assert json_depth(json.dumps(tree)) == depth_of(tree)


@given(st.text('"\\[]{}:,1', max_size=40))
def test_any_text_has_a_depth(text):
    assert 0 <= json_depth(text) <= len(text)


def test_the_deepest_text_allowed_is_read():
    deepest = "[" * DEEPEST_JSON + "]" * DEEPEST_JSON
    assert json_depth(deepest) == DEEPEST_JSON
    assert depth_of(parse_json(deepest)) == DEEPEST_JSON
    with pytest.raises(NestedTooDeep):
        parse_json(f"[{deepest}]")


def test_brackets_in_strings_do_not_count():
    assert parse_json(json.dumps({"a": '"\\' + "[" * 3000})) == {"a": '"\\' + "[" * 3000}


@pytest.mark.parametrize("text", ['{"a": 1, "a": 2}', '[{"b": {"a": 1, "c": 1, "a": 1}}]'])
def test_a_repeated_key_is_named(text):
    with pytest.raises(RepeatedKey, match=r"^a$"):
        parse_json(text, unique_keys=True)


@pytest.mark.parametrize("text", DEEP.values(), ids=DEEP)
def test_every_door_refuses_deep_json_in_words(text):
    error = {
        "field": "request",
        "given": text[:60],
        "problem": PROBLEM,
        "accepted": 'a JSON object such as {"schema": 1}',
    }
    refusal = {"schema": 1, "ok": False, "errors": [error]}
    assert json.loads(calculate(text)) == refusal
    assert calculate_markdown(text, "sheet") == (refusal, "")
    assert calculate_print(text) == ([error], None)
    assert json_object(text) is None
    with pytest.raises(InputError) as refused:
        read_book(text)
    assert refused.value.problem == PROBLEM


@pytest.mark.parametrize("field", ["request", "evidence"])
def test_deep_json_within_a_season_book_is_refused_for_its_own_record_only(field):
    book = json.loads((resources.files("feedcalc.book") / "demo_book.json").read_text(encoding="utf-8"))
    damaged = [record for record in book["records"] if field in record["fields"]]
    for record in damaged:
        record["fields"][field]["text"] = DEEP["lists"]
    request = {"schema": 1, "ask": "season", "book": book, "now": "2026-05-01T09:00", "ranges": "off"}
    season = json.loads(calculate(json.dumps(request)))["values"]["season"]
    assert len(season["beds"]) > 1
    problem = {"request": "This is not a batch.", "evidence": "What was learned about this ash can't be read."}[field]
    assert problem in json.dumps(season)


def test_a_byte_order_mark_is_ignored_at_every_door():
    text = '\ufeff{"schema": 1, "ranges": "off"}'
    assert json.loads(calculate(text))["ok"]
    assert calculate_markdown(text, "sheet")[0]["ok"]
    assert json_object(text) == {"schema": 1, "ranges": "off"}
    assert read_book("\ufeff" + book_text([])) == ([], [])
