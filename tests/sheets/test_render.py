"""Templates: typed text is never markup, marked figures are those of the reply, and every part has content."""

from __future__ import annotations

import html
import json
import re
from typing import Any

import pytest

from feedcalc.contract.asks import PAGE_PARTS
from feedcalc.engine import calculate_markdown, demo_request
from feedcalc.sheets import render
from feedcalc.sheets.parts import MARKDOWN_PARTS
from feedcalc.sheets.render import _templates, plain
from tests.asking import WEIGHED, reply_to, reply_to_text

HOSTILE = "<script>alert(1)</script><img src=x onerror=alert(1)>"


def markdown_of(part: str, **asked) -> str:
    reply, text = calculate_markdown(json.dumps({"schema": 1, "ranges": "off", **asked}), part)
    assert reply["ok"], reply["errors"]
    return text


def number_at(values: Any, path: str) -> float:
    """Return the number at a dotted path of ``values``, bare or as a figure."""
    for name in path.split("."):
        values = values[int(name)] if isinstance(values, list) else values[name]
    return values["value"] if isinstance(values, dict) else values


@pytest.fixture(scope="module")
def demo() -> dict:
    return reply_to_text(demo_request())


def test_the_reply_contains_every_part_of_the_page(demo):
    assert set(demo["html"]) == set(PAGE_PARTS)


def test_every_marked_figure_on_the_page_is_that_of_the_reply(demo):
    marks = [
        (html.unescape(path), float(value))
        for part in demo["html"].values()
        for path, value in re.findall(r'data-figure="([^"]*)"\s+data-value="([^"]*)"', part)
    ]
    assert len(marks) > 20
    for path, value in marks:
        assert number_at(demo["values"], path) == value, path


def test_every_marked_figure_has_a_path_and_a_number(demo):
    for name, part in demo["html"].items():
        assert part.count("data-figure=") == part.count("data-value="), name


@pytest.mark.parametrize("locale", ["en-GB", "en-US", "de-DE", "fr-FR", "pt-BR", "hi-IN"])
@pytest.mark.parametrize("part", ["sheet", "settle", "ladder", "delivery"])
def test_each_part_is_rendered_in_each_locale(part, locale):
    text = markdown_of(part, locale=locale, **WEIGHED)
    assert len(text) > 200
    assert text.endswith("\n")
    assert "\n\n\n" not in text
    for leftover in ("{{", "{%", "None", "Undefined", "nan", "inf "):
        assert leftover not in text


@pytest.mark.parametrize(
    "asked",
    [
        {"use": "foliar"},
        {"stage": "seedling"},
        {"steep": {"air": "open"}},
        {"dilution_water": {"kind": "very_hard"}, "stage": "seedling"},
        {"dilution": "1:0"},
        {"vessel": {"capacity": "1 L"}},
        {"steep": {"time": "1 min"}},
        {"ash": {"amount": "1 g"}},
        {"ash": {"amount": "700 g"}},
        {"water": {"temperature": "0 degC"}},
        {"now": "2026-12-31T23:59"},
        {"soil": {"area": "4 m^2"}, "cans": [{"size": "0.5 L", "count": 3}, {"size": "5 L", "count": 1}]},
    ],
    ids=lambda asked: next(iter(asked)),
)
def test_every_kind_of_batch_is_rendered_as_page_and_as_text(asked):
    request = {**WEIGHED, "dilution": "1:30", **asked}
    for group in ("ash", "water"):
        request[group] = {**WEIGHED[group], **asked.get(group, {})}
    reply = reply_to(request)
    assert reply["ok"], reply["errors"]
    assert all(isinstance(part, str) for part in reply["html"].values())
    assert "Batch sheet" in markdown_of("sheet", **request)


@pytest.mark.parametrize("field", ["plant", "ash"])
def test_typed_text_is_never_markup(field):
    asked = {"plant": {"plant": HOSTILE}, "ash": {"ash": {"amount": "1 cup", "kind": "mixed"}, "plant": HOSTILE}}[field]
    reply = reply_to(WEIGHED, asked)
    text = "".join(reply["html"].values()) if reply["ok"] else ""
    assert "<script>alert" not in text
    assert "<img src=x" not in text


def test_a_refusal_repeats_typed_text_as_text_only():
    reply = reply_to(ash={"kind": HOSTILE})
    assert reply["errors"][0]["given"] == HOSTILE
    assert "html" not in reply


@pytest.mark.parametrize("text", ["a *b*", "_c_", "`d`", "| e |", "# f", "<g>", "[h](i)"])
def test_markdown_characters_are_escaped(text):
    escaped = plain(text)
    assert re.sub(r"\\(.)", r"\1", escaped) == text
    assert not re.search(r"(?<!\\)[*_`|#<>\[\]]", escaped)


def test_every_named_part_has_a_template():
    for part in MARKDOWN_PARTS:
        reply, text = calculate_markdown(json.dumps({"schema": 1, "ranges": "off", **WEIGHED}), part)
        assert reply["ok"]
        assert isinstance(text, str)


@pytest.mark.parametrize(
    ("state", "words"),
    [
        ("fresh", "kept dry since the fire"),
        ("aged", "aged"),
        ("unknown", "fresh or aged, not known which"),
        ("leached", "rained on"),
    ],
)
def test_sheet_and_page_say_how_the_ash_was_kept(state, words):
    asked = {**WEIGHED, "ash": {**WEIGHED["ash"], "state": state}}
    assert f"({words})" in markdown_of("sheet", **asked)
    assert words in reply_to(asked)["html"]["bench"]


def test_ways_round_and_gentler_ways_are_printed():
    asked = {"ash": {"kind": "hardwood", "state": "fresh"}, "dilution": "1:2", "plant": "tomato", "soil": {"ph": "6"}}
    reply = reply_to({"schema": 1, **asked})
    values, text, page = reply["values"], markdown_of("sheet", **asked), html.unescape(reply["html"]["bench"])
    assert values["ways"]
    assert values["gentler"]
    assert text.index("What to do about it") < text.index("Ways to a gentler feed") < text.index("What to do\n")
    for way in (*values["ways"], *values["gentler"]):
        assert way["text"] in text
        assert way["text"] in page
    assert page.index("<summary>Ways to a gentler feed") > page.index("What to do about it")


def test_a_reading_that_contradicts_the_request_is_answered_at_the_top():
    asked = {"ash": {"kind": "mixed", "state": "fresh", "amount": "100 g"}, "water": {"amount": "5 L"}}
    asked["measured"] = {"ec": "4000 mS/cm"}
    reply = reply_to({"schema": 1, **asked})
    (suggestion,) = reply["values"]["suggestions"]
    text = markdown_of("sheet", **asked)
    assert text.index(suggestion["because"]) < text.index("In the liquor")
    assert suggestion["because"] in html.unescape(reply["html"]["reading"])


def test_every_caution_stands_on_sheet_and_page():
    asked = {**WEIGHED, "use": "foliar", "acid": {"kind": "vinegar", "target_ph": "7"}}
    reply = reply_to(asked)
    text, page = markdown_of("sheet", **asked), html.unescape(reply["html"]["bench"] + reply["html"]["sheet"])
    for caution in reply["cautions"]:
        assert text.count(caution["text"]) >= 1, caution["id"]
        assert caution["text"] in page, caution["id"]
    assert text.index("More cautions") > text.index("The sludge counts as lime")


def test_the_sheet_says_once_that_there_is_no_nitrogen():
    assert markdown_of("sheet", **WEIGHED).count("nitrogen") == 1
    assert "".join(reply_to(WEIGHED)["html"].values()).count("nitrogen") == 1


def test_how_long_it_keeps_agrees_with_letting_it_stand():
    text = markdown_of("sheet", **WEIGHED, now="2026-05-01T09:00")
    assert "Under a lid it keeps for days to months, open to the air for about a week." in text
    assert "Use by" not in text


def test_compiled_templates_hold_no_words_of_the_language_they_were_compiled_in(tmp_path, monkeypatch):
    made = {}
    for tag in ("en", "de", "ar"):
        environment = _templates(tag)
        monkeypatch.setattr(render, "_templates", lambda environment=environment: environment)
        render.compile_templates(tmp_path / tag)
        made[tag] = {file.name: file.read_text("utf-8") for file in (tmp_path / tag).iterdir()}
    assert len(made["en"]) > 40
    assert made["en"] == made["de"] == made["ar"]
