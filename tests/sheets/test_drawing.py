"""Drawings are to scale: twice the amount is twice the length."""

from __future__ import annotations

import json
import re
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from feedcalc.engine import calculate, demo_request
from feedcalc.sheets.drawing import bucket_drawing, ladder_drawing, settling_drawing
from tests.asking import sheet_of_text

BUCKETS = {
    "demo": {},
    "shallow tray": {"vessel": {"depth": "8 cm", "capacity": "20 L"}},
    "narrow jar": {
        "vessel": {"depth": "40 cm", "capacity": "4 L"},
        "ash": {"amount": "60 g"},
        "water": {"amount": "3 L"},
    },
    "much sludge": {"ash": {"amount": "1 kg"}, "water": {"amount": "10 L"}},
}


def sheet_for(asked):
    return sheet_of_text(json.dumps({"schema": 1, "ranges": "off", **asked}))


@pytest.mark.parametrize("bucket", BUCKETS)
def test_levels_in_the_bucket_are_to_scale(bucket):
    sheet = sheet_for(BUCKETS[bucket])
    drawn = bucket_drawing(sheet)
    per_metre = (drawn.bottom - drawn.rim) / sheet.heights["rim"]
    assert drawn.width == pytest.approx(sheet.heights["width"] * per_metre)
    for place, name in ((drawn.surface, "surface"), (drawn.pour_line, "pour_line"), (drawn.sludge_top, "sludge_top")):
        assert drawn.bottom - place == pytest.approx(sheet.heights[name] * per_metre)
    close = (drawn.bottom - drawn.close_surface) / sheet.heights["surface"]
    assert drawn.bottom - drawn.close_pour_line == pytest.approx(sheet.heights["pour_line"] * close)
    assert drawn.bottom - drawn.close_sludge_top == pytest.approx(sheet.heights["sludge_top"] * close)


@pytest.mark.parametrize("bucket", BUCKETS)
def test_texts_beside_the_levels_keep_their_order_and_do_not_overlap(bucket):
    surface, pour_line, sludge, bottom = bucket_drawing(sheet_for(BUCKETS[bucket])).labels
    assert bottom - sludge >= 19 > 0
    assert sludge - pour_line >= 19
    assert pour_line - surface >= 19
    assert surface > 0


def test_bars_of_the_ladder_and_its_limits_share_one_scale():
    sheet = sheet_for({})
    drawn = ladder_drawing(sheet, 46, 300, 64, 30)
    scale = {round(bar.width / rung["alkalinity"].value, 9) for bar, rung in zip(drawn.bars, sheet.ladder, strict=True)}
    assert len(scale) == 1
    for _, x, limit in drawn.limits:
        assert x - 46 == pytest.approx(limit * scale.copy().pop())
    assert max(bar.width for bar in drawn.bars) <= 254
    assert [bar.chosen for bar in drawn.bars].count(True) == 1


def test_settling_curves_descend_and_stay_inside_the_axes():
    drawn = settling_drawing(sheet_for({}), 74, 344, 22, 168)
    assert drawn is not None
    for curve in drawn.curves:
        points = [tuple(map(float, point.split(","))) for point in curve.points.split()]
        assert points == sorted(points)
        assert all(74 <= x <= 344 and 22 <= y <= 168 for x, y in points)
        assert all(one[1] <= other[1] for one, other in pairwise(points))


def test_every_drawing_is_well_formed_and_has_a_title_and_a_description():
    reply = json.loads(calculate(demo_request()))
    seen = []
    for part in reply["html"].values():
        for drawing in part.split("<svg")[1:]:
            root = ElementTree.fromstring("<svg" + drawing.split("</svg>")[0] + "</svg>")
            assert root.get("role") == "img"
            if root.get("aria-label"):  # a bar; its label says all that it shows
                assert re.search(r"\d", root.get("aria-label"))
                continue
            texts = [root.find(name) for name in ("title", "desc")]
            assert root.get("aria-labelledby").split() == [
                element.get("id") for element in texts if element is not None
            ]
            assert texts[0].text
            seen.append(texts[0].text)
    assert {"The bucket, to scale", "How it clears, hour by hour"} <= set(seen)
    assert len(set(seen)) == len(seen)
