"""The wall sheet: one page, nothing required missing, letters that can be read at arm's length."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from functools import cache
from xml.etree import ElementTree

import pytest

from feedcalc.contract.cautions import hazard_at
from feedcalc.engine import calculate_print, demo_request
from feedcalc.sheets.paper.label import NOT_FOR_FOOD
from feedcalc.sheets.paper.printing import wall_svg
from feedcalc.sheets.paper.wall import WallSheet, wall_sheet_of, wall_sizes
from feedcalc.sheets.paper.wall_layout import WallPaper, wall_pages_of, wall_text_sizes
from feedcalc.words.errors import InputError
from tests.asking import listed_in, sheet_of_text

SVG = "{http://www.w3.org/2000/svg}"
DEMO = json.loads(demo_request())
BATCHES = {
    "demo": {},
    "undated": {"now": None},
    "sprayed with acid": {"use": "foliar", "acid": {"kind": "vinegar", "target_ph": "7"}},
    "three goes": {"vessel": {"capacity": "2 L", "depth": "15 cm"}, "cans": [{"size": "10 L", "count": 6}]},
    "undiluted": {"dilution": "1:0"},
    "hard water, seedlings": {"water": {"kind": "very_hard"}, "stage": "seedling", "steep": {"time": "1 h"}},
}
CLASSES = {"corrosive": 12.6, "irritant": 11.2, "mild": 9.4}


def first_page(wall_sheet: WallSheet, size: str) -> WallPaper:
    return wall_pages_of(wall_sheet, size)[0]


@cache
def wall(name: str, class_: str = "") -> WallSheet:
    asked = {key: value for key, value in {**DEMO, **BATCHES[name], "ranges": "off"}.items() if value is not None}
    sheet = sheet_of_text(json.dumps(asked))
    if class_:
        sheet = replace(sheet, hazard=hazard_at(CLASSES[class_]))
    return wall_sheet_of(sheet, "Oak, second fire")


def words_of(paper: WallPaper) -> str:
    return " ".join(
        " ".join(text.text or "" for text in ElementTree.fromstring(wall_svg(paper)).iter(f"{SVG}text")).split()
    )


def rejoined(words: str) -> str:
    return re.sub(r"\s", "", words.replace("₃", "3"))


def inside(paper: WallPaper) -> None:
    edge = 7.9
    for words in paper.words:
        assert edge <= words.x
        assert words.x + words.width <= paper.width - edge
        assert edge <= words.y - words.size * 0.95
        assert words.y + words.size * 0.25 <= paper.height - edge
    for left, top, side in paper.boxes:
        assert left >= 3
        assert top + side <= paper.height - edge
    for _, left, top, width, height in paper.bands:
        assert height >= 0
        assert edge <= left
        assert left + width <= paper.width - edge
        assert edge <= top <= top + height <= paper.height - edge


@pytest.mark.parametrize("size", wall_sizes())
@pytest.mark.parametrize("name", BATCHES)
def test_every_step_and_caution_is_on_the_first_page_or_the_next(name, size):
    result = wall(name)
    pages = wall_pages_of(result, size)
    for paper in pages:
        inside(paper)
    words = rejoined(" ".join(words_of(paper) for paper in pages)).casefold()
    cautions = [text for step in result.steps for _, text in step.cautions] + [text for _, text in result.always]
    for sentence in (*result.required, *cautions):
        assert rejoined(sentence).casefold() in words, sentence
    assert sum(len(paper.boxes) for paper in pages) == len(result.steps)
    first = rejoined(words_of(pages[0])).casefold()
    for sentence in (*result.danger, *result.first_aid, result.steps[0].do):
        assert rejoined(sentence).casefold() in first, sentence
    is_told = ("morestepsareonthenextpage" in first, "morecautionsareonthenextpage" in first)
    assert is_told == (len(pages[0].boxes) < len(result.steps), bool(pages[0].left_out))


@pytest.mark.parametrize("name", ["demo", "undated", "undiluted"])
@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_the_usual_papers_hold_the_usual_batches(name, size):
    assert first_page(wall(name), size).text_size >= wall_text_sizes()[0] - 1e-9


@pytest.mark.parametrize("class_", CLASSES)
def test_signal_word_and_symbol_follow_the_hazard_class(class_):
    result = wall("demo", class_)
    assert result.has_corrosion_symbol == (class_ != "mild")
    assert bool(first_page(result, "A4").symbol) == (class_ != "mild")
    assert (result.hazard.signal_word == "Danger") == (class_ != "mild")
    text = " ".join(result.required)
    for words in ("In the eye:", "On skin:", "Swallowed:", NOT_FOR_FOOD, "never water onto ash", "ammonia gas"):
        assert words in text


def test_capitals_are_high_enough_to_read_at_arms_length():
    # NUREG-0700, 1.3.1-4: capitals of at least 16 minutes of arc, 20 to 22 preferred. An arm's length taken as 0.6 m.
    least, largest = wall_text_sizes()
    for size, minutes in ((least, 16), (largest, 22)):
        capital = size * 0.688
        assert math.degrees(math.atan(capital / 600)) * 60 == pytest.approx(minutes, abs=0.05)
    assert all(words.size >= least - 1e-9 for words in first_page(wall("demo"), "A4").words)


def test_clock_times_are_those_of_the_batch_sheet():
    sheet = sheet_of_text(json.dumps({**DEMO, "ranges": "off"}))
    steps = {step.id: step.do for step in wall("demo").steps}
    assert sheet.time(sheet.starts) in steps["steep"]
    assert sheet.time(sheet.settled) in steps["settle"]
    assert sheet.time(sheet.use_by) in steps["keep"]
    assert "after an hour" in {step.id: step.do for step in wall("undated").steps}["stir"]


def test_the_reasons_against_feeding_are_at_the_head():
    sheet = sheet_of_text(json.dumps({**DEMO, "soil": {"ph": "7.3"}, "ranges": "off"}))
    deciding = [reason["text"] for reason in sheet.reasons if reason["towards"] == sheet.verdict]
    assert sheet.verdict != "go"
    assert all(any(text in sentence for sentence in wall_sheet_of(sheet).danger) for text in deciding[:2])


def test_heights_in_the_bucket_are_to_scale():
    paper = first_page(wall("demo"), "A4")
    heights = wall("demo").heights
    drawn = {name: height for name, _, _, _, height in paper.bands}
    whole = sum(drawn.values())
    assert drawn["sludge"] / whole == pytest.approx(heights["sludge_top"] / heights["surface"])
    assert drawn["liquor"] / whole == pytest.approx((heights["surface"] - heights["pour_line"]) / heights["surface"])


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", "רמץ \u202e", "w" * 300, "🔥\u0000", "木" * 80])
def test_a_hostile_name_is_only_text_and_stays_inside_the_margins(name):
    sheet = sheet_of_text(json.dumps({**DEMO, "ranges": "off"}))
    for size in ("A4", "A3"):
        paper = first_page(wall_sheet_of(sheet, name), size)
        inside(paper)
        tags = {element.tag.removeprefix(SVG) for element in ElementTree.fromstring(wall_svg(paper)).iter()}
        assert "script" not in tags


def test_an_unknown_paper_is_refused_with_the_known_papers():
    with pytest.raises(InputError) as refusal:
        first_page(wall("demo"), "<b>A99</b>")
    assert listed_in(refusal.value.accepted) == list(wall_sizes())


def crowded(lines: int) -> WallSheet:
    notes = (f"Note {n} that takes a whole line of this sheet." for n in range(lines))
    return replace(wall("demo"), danger=(*wall("demo").danger, *notes))


def test_steps_that_find_no_room_go_to_the_next_page_whole():
    pages = wall_pages_of(crowded(15), "Letter")
    kept = len(pages[0].boxes)
    assert 1 <= kept < len(crowded(15).steps)
    moved, following = crowded(15).steps[kept:], rejoined(" ".join(map(words_of, pages[1:])))
    for step in moved:
        for sentence in (step.do, *(text for _, text in step.cautions)):
            assert rejoined(sentence) in following
    assert all(paper.text_size >= wall_text_sizes()[0] - 1e-9 for paper in pages)


def test_a_head_that_fills_the_page_is_refused_with_the_papers_that_hold_it():
    with pytest.raises(InputError) as refusal:
        wall_pages_of(crowded(40), "A4")
    assert "A3" in refusal.value.accepted
    assert first_page(crowded(40), "A3").text_size >= wall_text_sizes()[0] - 1e-9


@pytest.mark.parametrize(
    ("options", "field"),
    [({"size": "B9"}, "wall.size"), ({"colour": "red"}, "wall.colour"), ({"name": 3}, "wall.name")],
)
def test_a_faulty_option_is_refused_by_its_field(options, field):
    errors, found = calculate_print(json.dumps({**DEMO, "ask": "wall", "wall": options}))
    assert found is None
    assert [error["field"] for error in errors] == [field]
