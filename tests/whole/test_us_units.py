"""A grower with US customs reads gallons, cups, inches, ounces, pounds and square feet, whatever is asked.

Left metric, because US laboratories, meters, scales and syringes show it too: mg/L, g/L and mS/cm, pH at 25 °C, small
masses in g and mg, vinegar drop by drop in mL with the tablespoons beside it, acid in mL to a litre, a sieve of 1 mm,
the figures of the sources, and the sizes of bottles in the European rules for labels.
"""

from __future__ import annotations

import json
import re

import pytest

from feedcalc.command_line.options import _US_DEMO
from feedcalc.engine import calculate_markdown, demo_request
from tests.asking import reply_to
from tests.book.test_sharing import BOOK

METRIC = re.compile(
    r"\d[\d.,]*\s?(?:g/m²|kg|mL|cm|mm|m²|m³|L|°C)(?![\w/²³])|\b(?:litres?|centimetres?|kilograms?|g/m²)\b(?!/)"
)
SHOWN_IN_THE_US_TOO = (
    *(r"25\s°C", r"\b1\smm\b", r"100 mL \(6¾ US tablespoons\)", r"0\.1 mL at a time", r"how many mL"),
    *(r"mL or g of acid in a litre", r"ash to a litre of water", r"g of ash to a litre", r"of eggshell in a litre"),
    *(r"bone in a litre", r"bottles up to \S+"),
)
NOW = "2026-11-27T10:00"
ASKED = {
    "demo": {**json.loads(demo_request()), **_US_DEMO},
    "cup and gallon": {"ash": {"amount": "1 cup"}, "water": {"amount": "1 gal"}, "plant": "tomato"},
    "seedlings": {"cans": [{"size": "1 gal"}], "stage": "seedling", "soil": {"ph": 6, "texture": "loam"}},
    "leaves": {"cans": [{"size": "1 gal"}], "use": "foliar", "acid": {"kind": "vinegar", "target_ph": 7}},
    "pounds": {"ash": {"state": "fresh", "amount": "2 lb"}, "water": {"amount": "5 gal"}, "dilution": "1:3"},
    "spread": {"ask": "spread", "soil": {"ph": 5.8, "tested_with": "kit", "texture": "loam"}, "plant": "cabbage"},
    "spread untested": {"ask": "spread", "plant": "apple"},
    "book": {"ask": "season", "book": BOOK, "now": NOW, "bed": "acid"},
    "what if": {
        "ask": "season",
        "book": BOOK,
        "now": NOW,
        "what_if": {"bed": "acid", "date": "2026-11-27", "what": "dry ash", "amount": "2 lb"},
    },
    "share": {"ask": "share", "book": BOOK, "now": NOW, "ash": {"amount": "5 gal"}},
    "reminders": {"ask": "book", "do": "reminders", "book": BOOK, "now": NOW, "ash": {"amount": "5 gal"}},
    "recipe": {"ask": "judge", "recipe": "2 lb of ash in a 5 gallon bucket of water, 1 quart vinegar, stir and pour"},
    "strong recipe": {"ask": "judge", "recipe": "2 buckets of ash, fill up"},
    "shells": {"ask": "judge", "recipe": "eggshells in vinegar 1:1000"},
    "mishap": {"ask": "happened", "happened": "2 buckets of ash on 100 sq ft, leaves are pale"},
    "pot": {"ask": "happened", "happened": "a handful of ash in a 2 gallon pot, brown tips"},
    "wall": {"ask": "wall", "cans": [{"size": "2 gal"}], "now": NOW},
    "label": {"ask": "label", "cans": [{"size": "2 gal"}], "now": NOW},
}


def texts_of(asked: dict) -> str:
    """Return everything that a grower reads of an answer, without the list of sources."""
    us = {"customs": "us", "locale": "en-US"}
    reply = reply_to(asked, us)
    assert reply["ok"], reply.get("errors")
    html = {name: part for name, part in reply.get("html", {}).items() if name != "trust"}
    shown = " ".join([*html.values(), reply.get("print", {}).get("text", "")])
    shown = re.sub(r"<(script|style)[\s\S]*?</\1>|<[^>]+>", " ", shown)
    shown += " ".join(reply["assumed"].values()) + str(reply["values"].get("book", {}).get("text", ""))
    if asked.get("ask", "batch") not in ("label", "wall", "book"):
        request = json.dumps({"schema": 1, "ranges": "off", **asked, **us})
        shown += " ".join(calculate_markdown(request, part)[1] for part in ("short", "delivery", "settle"))
    return shown.replace("\u00a0", " ")


@pytest.mark.parametrize("name", ASKED)
def test_no_metric_unit_is_left_for_a_grower_with_us_customs(name):
    shown = texts_of(ASKED[name])
    assert len(shown) > 200
    for allowed in SHOWN_IN_THE_US_TOO:
        shown = re.sub(allowed, " ", shown)
    left = [shown[max(found.start() - 40, 0) : found.end() + 20] for found in METRIC.finditer(shown)]
    assert not left
