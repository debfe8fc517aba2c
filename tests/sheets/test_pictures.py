"""Each step of the sheet has one small drawing with a text alternative, and all of them together stay light."""

from __future__ import annotations

import json
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from feedcalc.sheets.parts import page_parts
from feedcalc.sheets.render import _templates
from tests.asking import sheet_of_text

# What stands in a drawing, at its longest.
FIGURES = {
    "steep": ("10.5 gal",),
    "settle": ("Sa. 18:00",),
    "pour": ("10.5 gal", "1.3 cm"),
    "dilute": ("10.5 gal", "10.5 gal"),
}
STEPS = ("sift", "measure", "steep", "stir", "settle", "pour", "dilute", "feed", "keep", "sludge")
COLOURS = {"ink-line", "ink-thin", "ink-fill", "liquor", "sludge-ground", "guard-ground", "halo", "strong"}
STYLES = Path(__file__).parents[2] / "site" / "styles"


def drawn(step: str, title: str = "What to do", *figures: str) -> str:
    return str(_templates("en").get_template("pictures.svg.j2").module.picture(step, title, *figures))


def test_every_step_of_the_sheet_has_a_drawing_of_its_own():
    steps = re.findall(r'data-step="([a-z]+)"', page_parts(sheet_of_text(json.dumps({"schema": 1})))["sheet"])
    assert set(steps) == set(STEPS)
    drawings = {step: {path.get("d") for path in ElementTree.fromstring(drawn(step)).iter("path")} for step in steps}
    for step, paths in drawings.items():
        assert len(paths) > 3, step
        assert all(paths != others for other, others in drawings.items() if other != step)


@pytest.mark.parametrize("step", STEPS)
def test_a_drawing_is_an_image_with_a_text_alternative(step):
    root = ElementTree.fromstring(drawn(step, "Stir for five minutes"))
    title = root.find("title")
    assert root.get("role") == "img"
    assert title is not None
    assert title.text == "Stir for five minutes"
    assert title.get("id") == root.get("aria-labelledby") == f"picture-{step}"
    assert root.get("viewBox") == "0 0 120 96"


@pytest.mark.parametrize("step", FIGURES)
def test_the_figures_of_a_step_stand_in_its_drawing(step):
    texts = [text.text for text in ElementTree.fromstring(drawn(step, "", *FIGURES[step])).iter("text")]
    for figure in FIGURES[step]:
        assert figure in texts
    assert "" not in [text.text for text in ElementTree.fromstring(drawn(step)).iter("text")]


@pytest.mark.parametrize("step", FIGURES)
def test_what_a_person_typed_is_text_in_a_drawing(step):
    typed = '<script>"&'
    root = ElementTree.fromstring(drawn(step, typed, *[typed] * len(FIGURES[step])))
    assert not list(root.iter("script"))
    assert [text.text for text in root.iter() if text.text == typed] == [typed] * (1 + len(FIGURES[step]))


@pytest.mark.parametrize("step", STEPS)
def test_a_drawing_takes_its_colours_from_the_page(step):
    for element in list(ElementTree.fromstring(drawn(step, "", "5 L", "1 cm")).iter())[1:]:
        assert set((element.get("class") or "").split()) <= COLOURS
        assert not {"fill", "stroke", "style", "opacity", "textLength"} & set(element.keys())


def test_fills_win_over_outlines_where_a_shape_has_both():
    rules = (STYLES / "page.css").read_text(encoding="utf-8")
    for outline in (".ink-line {", ".ink-thin {"):
        for fill in (".liquor {", ".sludge-ground {", ".guard-ground {"):
            assert 0 < rules.index(outline) < rules.index(fill)


def test_all_drawings_together_travel_in_under_9_kb():
    assert sum(len(drawn(step, step, *FIGURES.get(step, ())).encode()) for step in STEPS) < 9_000
