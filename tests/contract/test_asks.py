"""What a request may ask for is one table, and every door follows it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from feedcalc.contract.asks import ASKS
from feedcalc.contract.fields import REQUEST_FIELDS
from feedcalc.engine import calculate_markdown, calculate_print, demo_request
from feedcalc.words.messages import any_of
from tests.asking import faults, listed_in, reply_to

SITE = Path(__file__).parents[2] / "site"
NAMES = ("batch", "spread", "season", "book", "share", "learn", "label", "wall", "judge", "happened")
WITH_SHEET = ("batch", "spread", "season", "book", "share", "judge", "happened")


def test_the_table_and_the_field_list_the_same_asks():
    assert tuple(ASKS) == NAMES
    assert next(field for field in REQUEST_FIELDS if field.path == "ask").choices == NAMES


@pytest.mark.parametrize("ask", ["labels", "x", 5, ["label"], {"label": 1}, True])
def test_an_unknown_ask_is_refused_with_all_that_may_be_asked(ask):
    assert faults(ask=ask)["ask"]["accepted"] == f"one of {any_of(NAMES)}"


@pytest.mark.parametrize("ask", [" Label ", "WALL"])
def test_an_ask_is_read_in_any_case_and_with_spaces(ask):
    demo = json.loads(demo_request())
    assert reply_to(demo, ask=ask)["values"].keys() == {ask.strip().lower()}
    assert calculate_print(json.dumps({**demo, "ask": ask}))[1] is not None


@pytest.mark.parametrize("ask", ["learn", "label", "wall"])
def test_an_ask_without_a_sheet_is_refused_as_markdown(ask):
    reply, text = calculate_markdown(json.dumps({**json.loads(demo_request()), "ask": ask}), "sheet")
    assert [error["field"] for error in reply["errors"]] == ["ask"]
    assert listed_in(reply["errors"][0]["accepted"].removeprefix("one of ")) == list(WITH_SHEET)
    assert not text


def test_the_page_asks_only_for_what_is_in_the_table():
    scripts = [path for path in SITE.rglob("*.js") if "node_modules" not in path.parts]
    asked = {name for path in scripts for name in re.findall(r'\bask: "(\w+)"', path.read_text(encoding="utf-8"))}
    assert asked
    assert asked <= set(ASKS)
