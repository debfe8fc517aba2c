"""Range bars are to scale, can be compared, and show nothing that the text beside them does not say."""

from __future__ import annotations

import json
import re

import pytest

from feedcalc.sheets.bars import TEXT_WIDTH, best_remedy, doubts, range_bars
from feedcalc.sheets.batch import Help
from feedcalc.sheets.parts import markdown, page_parts
from tests.asking import sheet_of_text

ASKED = {"schema": 1, "ash": {"amount": "1 us_cup"}, "water": {"amount": "5 L"}, "dilution": "1:10"}
REQUESTS = {
    "by the cup": ASKED,
    "no ranges": ASKED | {"ranges": "off"},
    "hardly any ash": ASKED | {"ash": {"amount": "1 g"}},
    "strong": ASKED | {"ash": {"amount": "400 g"}},
    "read": ASKED | {"measured": {"ec": "6 mS/cm"}},
}


@pytest.fixture(params=REQUESTS, scope="module")
def sheet(request):
    return sheet_of_text(json.dumps(REQUESTS[request.param]))


def test_a_bar_shows_its_figures_at_their_places_on_the_scale(sheet):
    for bar in range_bars(sheet):
        assert 0.0 <= bar.low <= bar.typical <= bar.high <= 1.0
        if bar.high > bar.low:
            stretch = (bar.shown.high - bar.shown.low) / (bar.high - bar.low)
            assert (bar.shown.value - bar.shown.low) == pytest.approx((bar.typical - bar.low) * stretch, abs=1e-9)


def test_potassium_and_alkalinity_share_one_scale(sheet):
    potassium, alkalinity = range_bars(sheet)[:2]
    assert potassium.end == alkalinity.end
    assert potassium.typical / alkalinity.typical == pytest.approx(potassium.shown.value / alkalinity.shown.value)


def test_every_text_bar_has_the_same_width_and_marks_the_same_places(sheet):
    for bar in range_bars(sheet):
        text = bar.text
        assert len(text) == TEXT_WIDTH - 1
        assert text.count("●") == 1
        assert text.index("●") / (len(text) - 1) == pytest.approx(bar.typical, abs=0.6 / (len(text) - 1))


def test_page_and_terminal_show_the_same_line_for_each_main_figure(sheet):
    page, terminal = page_parts(sheet)["liquor"], markdown("sheet", sheet)
    for bar in range_bars(sheet):
        assert f'aria-label="{bar.words}"' in page
        assert bar.words in terminal
        assert bar.text in terminal
    line = sheet.figures["liquor.potassium"].headline("potassium")
    assert f"In the liquor: {line}." in terminal


def test_boxes_on_the_page_are_to_scale(sheet):
    page = page_parts(sheet)["liquor"]
    widths = [float(width) for width in re.findall(r'class="range-span" x="[\d.]+" y="3" width="([\d.]+)"', page)]
    spans = [bar.high - bar.low for bar in range_bars(sheet) if bar.shown.range]
    assert widths == pytest.approx([312 * span for span in spans], abs=0.06)


def test_the_best_remedy_has_the_largest_share_over_all_figures():
    helps = [
        Help("Potassium", "how much it holds", 0.45, "read the conductivity"),
        Help("Potassium", "how heavy it is", 0.3, "weigh the ash"),
        Help("Lime value", "how heavy it is", 0.25, "weigh the ash"),
    ]
    assert best_remedy(helps) == "weigh the ash"
    assert [(doubt.figure, len(doubt.helps)) for doubt in doubts(helps)] == [("Potassium", 2), ("Lime value", 1)]
    assert best_remedy([]) == ""
