"""Sheets of many labels: cells are where the grower's sheet has them; a cell that is too small is refused."""

from __future__ import annotations

import base64
import json
import re
from dataclasses import replace
from functools import cache
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feedcalc import published
from feedcalc.engine import calculate, calculate_print, demo_request
from feedcalc.sheets.paper.label import label_of
from feedcalc.sheets.paper.options import LABEL_FIELDS, label_options
from feedcalc.sheets.paper.pages import pages_of
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.languages import LANGUAGES
from feedcalc.words.languages import language as language_of
from tests.asking import listed_in, sheet_of_text
from tests.examples import examples

SVG = "{http://www.w3.org/2000/svg}"


def asked(batches: dict | None = None, **fields: object) -> str:
    request = json.loads(demo_request()) if batches is None else {"schema": 1, "batches": batches}
    return json.dumps({**request, "ask": "label", "label": fields})


def pages(batches: dict | None = None, **fields: object) -> list[list[tuple[float, float, float, float]]]:
    """Return left, top, width and height in mm of the labels on each page."""
    errors, found = calculate_print(asked(batches, **fields))
    assert found, errors
    return [
        [
            tuple(float(label.get(name)) / 10 for name in ("x", "y", "width", "height"))
            for label in ElementTree.fromstring(svg).findall(f"{SVG}svg")
        ]
        for _, _, svg in found.pages
    ]


def faults(**fields: object) -> dict[str, tuple[str, str]]:
    errors, found = calculate_print(asked(**fields))
    assert found is None
    return {error["field"]: (error["problem"], error["accepted"]) for error in errors}


def test_margins_gaps_and_paper_determine_the_cells():
    # By hand: A4 is 210 x 297; (210 - 2 x 5 - 4) / 2 = 98, (297 - 2 x 10 - 3) / 2 = 137.
    (labels,) = pages(grid="2 x 2", margin="10 mm; 5 mm", gap="4 mm; 3 mm", copies="4")
    assert labels == [(5, 10, 98, 137), (107, 10, 98, 137), (5, 150, 98, 137), (107, 150, 98, 137)]


def test_four_margins_are_top_right_bottom_left():
    grid = label_options({"grid": "1x1", "margin": "1 cm; 2 cm; 3 cm; 4 cm"}, "en-GB").grid
    assert (grid.corner(0), grid.cell) == ((40, 10), (150, 257))


def test_lengths_are_read_with_their_units_and_in_the_locale():
    grid = label_options({"grid": "1 x 1", "paper": "8,5 in x 11 in", "margin": "0,5 in"}, "de-DE").grid
    assert (grid.width, grid.height, grid.margins[0]) == pytest.approx((215.9, 279.4, 12.7))
    letter = label_options({"grid": "1 x 1", "paper": "letter"}, "en-US").grid
    assert (letter.paper, letter.width, letter.height) == ("Letter", 215.9, 279.4)


def test_labels_begin_at_the_start_cell_and_continue_on_the_next_page():
    whole = pages(grid="2 x 2", copies="4")[0]
    first, second = pages(grid="2 x 2", start="3", copies="5")
    assert first == whole[2:]
    assert second == whole[:3]


def test_a_file_of_batches_gives_a_label_for_each_batch():
    request = json.loads(demo_request())
    named = {
        "format": "feedcalc batches",
        "version": 1,
        "batches": [
            {"name": "Oak, May", "request": request},
            {"name": "Ash, June", "request": request | {"dilution": "1:20"}},
            {"name": "not readable"},
        ],
    }
    _, found = calculate_print(asked(named, grid="2 x 2", copies="2"))
    words = [text.text for text in ElementTree.fromstring(found.pages[0][2]).iter(f"{SVG}text")]
    assert len(found.pages) == 1
    assert sum("Oak, May" in text for text in words) == 2
    assert sum("Ash, June" in text for text in words) == 2
    assert [len(page) for page in pages(named, size="A6")] == [1, 1]


@pytest.mark.parametrize(
    "held",
    [
        {"format": "feedcalc batches", "version": 2, "batches": []},
        {"format": "feedcalc batches", "version": 1, "batches": []},
        {"format": "feedcalc batches", "version": 1, "batches": [{"request": 3}, 4, None]},
        {"format": "feedcalc batches", "version": 1},
    ],
)
def test_a_file_without_a_readable_batch_is_refused(held):
    errors, found = calculate_print(asked(held))
    assert found is None
    assert errors[0]["field"] in ("version", "batches")


def test_a_cell_too_small_for_the_cautions_is_refused_with_the_grids_that_fit():
    problem, accepted = faults(grid="3 x 8", margin="5 mm")["label.grid"]
    assert "67 by 36 mm" in problem
    would = listed_in(accepted)
    assert would
    for grid in would:
        assert len(pages(grid=grid, margin="5 mm")[0]) == 1
        columns, rows = map(int, grid.split(" x "))
        assert "label.grid" in faults(grid=f"{columns} x {rows + 1}", margin="5 mm"), "one more row must be too many"


@pytest.mark.parametrize(
    ("field", "fields"),
    [
        ("label.grid", {"grid": "many"}),
        ("label.grid", {"grid": "0 x 3"}),
        ("label.grid", {"grid": "99 x 99"}),
        ("label.grid", {"grid": "2 x 2", "margin": "150 mm"}),
        ("label.grid", {"grid": 7}),
        ("label.margin", {"grid": "2 x 2", "margin": "ten"}),
        ("label.margin", {"grid": "2 x 2", "margin": "-3 mm"}),
        ("label.margin", {"grid": "2 x 2", "margin": "1 mm; 2 mm; 3 mm"}),
        ("label.gap", {"grid": "2 x 2", "gap": "1 mm; 2 mm; 3 mm"}),
        ("label.gap", {"grid": "2 x 2", "gap": "5"}),
        ("label.paper", {"grid": "2 x 2", "paper": "A99"}),
        ("label.paper", {"grid": "2 x 2", "paper": "3 mm x 9 km"}),
        ("label.start", {"grid": "2 x 2", "start": "5"}),
        ("label.start", {"grid": "2 x 2", "start": "0"}),
        ("label.start", {"start": "2"}),
        ("label.copies", {"copies": "1.5"}),
        ("label.copies", {"copies": "100000"}),
        ("label.copies", {"copies": "NaN"}),
        ("label.cut_marks", {"grid": "2 x 2", "cut_marks": "perhaps"}),
        ("label.cut_marks", {"grid": "2 x 2", "margin": "1 mm", "cut_marks": "yes"}),
        ("label.size", {"size": "A99"}),
        ("label.size", {"size": ["A6"]}),
        ("label.address", {"address": "javascript:alert(1)"}),
        ("label.colour", {"colour": "red"}),
    ],
)
def test_a_faulty_option_is_refused_by_its_field(field, fields):
    assert field in faults(**fields)


def test_all_faults_are_reported_together():
    assert {"label.start", "label.margin", "label.paper"} <= set(
        faults(grid="2 x 2", start="9", margin="x", paper="y", gap="1 mm")
    )


@pytest.mark.parametrize("group", ["A6", 3, [1]])
def test_options_that_are_not_a_group_are_refused(group):
    with pytest.raises(InputErrors):
        label_options(group, "en-GB")


ODD = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**12), 10**12),
    st.floats(),
    st.text(max_size=30),
    st.sampled_from(
        ["2 x 2", "1x1", "3 × 9", "5 mm", "1 mm; 2 mm", "1 in; 2 cm; 3 mm; 4 mm", "A4", "9 cm x 9 cm", "yes"]
    ),
    st.lists(st.integers(), max_size=2),
)


@examples(200)
@given(st.dictionaries(st.one_of(st.sampled_from(LABEL_FIELDS), st.text(max_size=8)), ODD, max_size=6))
def test_any_options_print_inside_the_paper_or_are_refused_with_a_reason(fields):
    refused: tuple[InputError, ...] = ()
    found = ()
    try:
        options = label_options(fields, "en-GB")
        found = pages_of([(plain_label(), "")], replace(options, copies=min(options.copies, 5)))
    except InputErrors as refusal:
        refused = refusal.errors
    except InputError as error:
        refused = (error,)
    assert found or refused
    assert all(error.field.startswith("label") and error.problem and error.accepted for error in refused)
    for page in found:
        for left, top, paper in page.placed:
            assert left >= 0
            assert top >= 0
            assert left + paper.width <= page.width + 1e-6
            assert top + paper.height <= page.height + 1e-6


@cache
def plain_label():
    return label_of(sheet_of_text(json.dumps({**json.loads(demo_request()), "ranges": "off"})))


def test_too_many_labels_are_refused():
    with pytest.raises(InputError) as refusal:
        pages_of([(plain_label(), "")] * 3, label_options({"copies": "400"}, "en-GB"))
    assert refusal.value.field == "label.copies"


def test_cut_marks_are_in_the_margins_at_each_edge_of_a_cell():
    grid = label_options({"grid": "2 x 3", "margin": "8 mm", "gap": "2 mm", "cut_marks": "yes"}, "en-GB").grid
    marks = grid.marks()
    assert len(marks) == 2 * 4 + 2 * 6
    for x, y, to_x, to_y in marks:
        assert x == to_x or y == to_y
        for at, along in ((x, grid.width), (to_x, grid.width), (y, grid.height), (to_y, grid.height)):
            assert 0 <= at <= along
        outside_cells = x < 8 or to_x > grid.width - 8 or y < 8 or to_y > grid.height - 8
        assert outside_cells
    edges = {round(x, 6) for x, _, to_x, _ in marks if x == to_x}
    assert edges == {8, 104, 106, 202}


def test_the_reply_has_the_drawing_its_dimensions_and_warnings():
    reply = json.loads(calculate(asked(size="A6", name="Oak", address="https://example.org/f.html")))
    assert reply["ok"]
    assert reply["html"]["label"].startswith("<svg")
    assert reply["print"]["pages"] == [{"width": 105.0, "height": 148.0}]
    assert reply["values"]["label"]["width"] == {"value": 105.0, "unit": "mm", "low": 105.0, "high": 105.0}
    assert "#batch=" in reply["print"]["text"]
    assert any("bottles up to" in sentence for sentence in reply["warnings"])
    assert "<script" not in reply["html"]["label"]


@pytest.mark.parametrize("language", LANGUAGES)
def test_labels_and_wall_sheets_have_the_hazard_statements_of_each_language(language):
    # The regulation's text where it is known in the language, else the catalogue's.
    speak = language_of(language).speak
    known = {row["code"]: speak(row["text"]) for row in published.table("hazard_statements")}
    known["danger"] = speak(published.row("hazard_classes", "corrosive")["signal_word"])
    known |= {row["code"]: row["text"] for row in published.table("ghs_statements") if row["language"] == language}
    request = json.loads(demo_request()) | {"language": language}
    for print_ in (
        {"ask": "label", "label": {"size": "A6", "address": "https://example.org/f.html"}},
        {"ask": "label", "label": {"size": "62mm"}},
        {"ask": "label", "label": {"grid": "2 x 2"}},
        {"ask": "wall", "wall": {"size": "A3"}},
    ):
        errors, found = calculate_print(json.dumps(request | print_))
        assert found, errors
        assert f'<html lang="{language}" dir="{"rtl" if language == "ar" else "ltr"}">' in found.html
        words = "".join(
            "".join(text.text.split()) for text in ElementTree.fromstring(found.pages[0][2]).iter(f"{SVG}text")
        )
        assert known["danger"].upper() in words
        if print_["ask"] == "label":
            assert "".join(known["H314"].split()) in words
            assert known["P102"] in found.text


def test_a_link_contains_the_locale_but_no_language():
    request = {"schema": 1, "cans": [{"size": "2,5 L", "count": 2}], "language": "de"}
    label = {"size": "A5", "address": "https://example.org/f.html"}
    _, found = calculate_print(json.dumps({**request, "ask": "label", "label": label}))
    held = re.search(r"#batch=([\w-]+)", found.text)[1]
    assert json.loads(base64.urlsafe_b64decode(held + "=" * (-len(held) % 4))) == {
        "schema": 1,
        "cans": request["cans"],
        "locale": "de-DE",
    }


def test_an_unknown_language_is_refused():
    errors, found = calculate_print(json.dumps(json.loads(demo_request()) | {"language": "xx", "ask": "wall"}))
    assert found is None
    assert [error["field"] for error in errors] == ["language"]


def test_a_label_names_the_largest_bottle_for_its_letters():
    # CLP Annex I, Table 1.3 as amended by (EU) 2024/2865: x at least 1.2 mm up to 0.5 L, 1.4 up to 3 L, 1.8 up to 50 L.
    for size, volume in (("A7", "0.5"), ("A6", "3"), ("A5", "50")):
        _, found = calculate_print(asked(size=size))
        (largest,) = [sentence for sentence in found.told if "bottles up to" in sentence]
        assert f" {volume}\u00a0L" in largest
        height = found.text_size * 0.524
        assert height >= {"0.5": 1.2, "3": 1.4, "50": 1.8}[volume] - 1e-9
