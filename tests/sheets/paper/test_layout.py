"""The layout of labels: every caution in every class and size, nothing outside the margins, names are only text."""

from __future__ import annotations

import base64
import html
import json
import re
import unicodedata
from dataclasses import replace
from functools import cache
from xml.etree import ElementTree

import pytest
import segno
from hypothesis import given
from hypothesis import strategies as st

from feedcalc import published
from feedcalc.contract.cautions import hazard_at, hazard_in
from feedcalc.contract.figures import Shown
from feedcalc.engine import calculate_print, demo_request
from feedcalc.sheets.paper.label import Label, batch_link, label_of, printable
from feedcalc.sheets.paper.layout import Paper, paper_of, sizes
from feedcalc.sheets.paper.pages import PrintedPage
from feedcalc.sheets.paper.printing import Printed, label_page_svg, label_text, pages_html
from feedcalc.sheets.paper.typesetting import text_width
from feedcalc.sheets.paper.wall import wall_sheet_of
from feedcalc.sheets.paper.wall_layout import wall_pages_of
from feedcalc.words.errors import InputError
from feedcalc.words.messages import Said
from tests.asking import listed_in, sheet_of_text
from tests.examples import examples

SVG = "{http://www.w3.org/2000/svg}"
CLASS_OF_PH = {"corrosive": 12.6, "irritant": 11.2, "mild": 9.4}
LINK = batch_link("https://example.org/feedcalc.html", demo_request())
HOSTILE = {
    "markup": '<script>alert(1)</script> & "quotes" \' ]]> <!--',
    "right to left": "רמץ \u202eevil\u2066 رماد",
    "emoji": "🔥🧪👩🏽\u200d🌾 ash",
    "nul and controls": "a\x00b\x08c\x1b[31m\nd\ufffe\ufeff",
    "lone surrogate": "oak \ud800 ash",
    "one long word": "w" * 500,
    "wide letters": "木灰液" * 40,
    "formula": "${7*7} {{ 7*7 }} {% raw %} %s",
}


@cache
def label(name: str, batch: str = "Oak, second fire", dated: bool = True) -> Label:
    """Return the label of the demo batch as if its pH were in this class."""
    asked = json.loads(demo_request()) | {"ranges": "off"}
    if not dated:
        del asked["now"]
    sheet = sheet_of_text(json.dumps(asked))
    high = CLASS_OF_PH[name]
    ph = Shown("liquor.ph_25", high - 0.4, f"{high - 0.4:.1f}", f"{high - 0.8:.1f} to {high:.1f}", "")
    return label_of(replace(sheet, hazard=hazard_at(high), figures={**sheet.figures, "liquor.ph_25": ph}), batch)


@cache
def paper(name: str, size: str, link: str = LINK, batch: str = "Oak, second fire") -> Paper | None:
    try:
        return paper_of(label(name, batch), size, link)
    except InputError:
        return None


def paper_svg(laid: Paper) -> str:
    return label_page_svg(PrintedPage(laid.width, laid.height, ((0.0, 0.0, laid),)))


def paper_html(laid: Paper) -> str:
    return pages_html([paper_svg(laid)], [(laid.width, laid.height)], laid.title, "en")


def printed(request: str, **options: str) -> tuple[list[dict[str, str]], Printed | None]:
    return calculate_print(json.dumps({**json.loads(request), "ask": "label", "label": options}))


def words_of(svg: str) -> str:
    """Return everything that is printed, in reading order, on one line."""
    return " ".join(" ".join(text.text or "" for text in ElementTree.fromstring(svg).iter(f"{SVG}text")).split())


def rejoined(words: str) -> str:
    return re.sub(r"\s", "", words)


@pytest.mark.parametrize("size", sizes())
@pytest.mark.parametrize("name", CLASS_OF_PH)
def test_a_size_shows_every_required_sentence_in_each_format_or_is_refused(name, size):
    result = label(name)
    laid = paper(name, size)
    if laid is None:
        with pytest.raises(InputError) as refusal:
            paper_of(result, size)
        would = listed_in(refusal.value.accepted)
        assert would
        assert size not in would
        assert all(paper(name, other, "") for other in would)
        return
    text = label_text(result, LINK)
    page = html.unescape(re.sub(r"<[^>]*>", " ", paper_html(laid)))
    for sentence in result.required:
        assert rejoined(sentence).casefold() in rejoined(words_of(paper_svg(laid))).casefold()
        assert rejoined(sentence).casefold() in rejoined(page).casefold()
        assert sentence.casefold() in text.casefold()
    for code, _ in (*result.hazard.hazards, *result.hazard.precautions):
        assert f"({code})" in words_of(paper_svg(laid))


@pytest.mark.parametrize("name", CLASS_OF_PH)
def test_the_usual_sizes_hold_the_label_of_every_class(name):
    for size in ("A7", "A6", "A5", "4x6in", "62mm"):
        assert paper(name, size), size
        assert paper_of(label(name, dated=False), size), size


def test_a_size_that_is_too_small_is_refused_with_the_sizes_that_fit():
    with pytest.raises(InputError) as refusal:
        paper_of(label("corrosive"), "A8")
    assert refusal.value.accepted == "A7, A6, A5, 4x6in or 62mm"


def test_an_unknown_size_is_refused_with_the_known_sizes():
    with pytest.raises(InputError) as refusal:
        paper_of(label("mild"), "<b>A99</b>")
    assert listed_in(refusal.value.accepted) == list(sizes())


def inside(laid: Paper) -> None:
    edge = laid.margin - 1e-6
    boxes = [(words.x, words.y - words.size * 0.95, words.width, words.size * 1.16) for words in laid.words]
    boxes += [(left, y, right - left, 0) for left, y, right in laid.rules]
    apart = []
    if laid.symbol:
        apart.append((*laid.symbol, laid.symbol[2]))
    if laid.code:
        left, top, dot, rows = laid.code
        apart.append((left - 4 * dot, top - 4 * dot, (len(rows) + 8) * dot, (len(rows) + 8) * dot))
    for x, y, width, height in (*boxes, *apart):
        assert width >= 0
        assert x >= edge
        assert y >= edge
        assert x + width <= laid.width - edge
        assert y + height <= laid.height - edge + 0.3 * laid.text_size
    for x, y, width, height in boxes:
        for other_x, other_y, other_width, other_height in apart:
            beside = x + width <= other_x or x >= other_x + other_width
            over = y + height <= other_y + 0.3 * laid.text_size or y >= other_y + other_height - 0.3 * laid.text_size
            assert beside or over, "text overlaps the symbol or the code"


@pytest.mark.parametrize("size", sizes())
@pytest.mark.parametrize("name", CLASS_OF_PH)
def test_nothing_is_outside_the_margins_or_overlaps_symbol_or_code(name, size):
    laid = paper(name, size)
    if laid is not None:
        inside(laid)


@pytest.mark.parametrize("size", ["A7", "A6", "62mm"])
@pytest.mark.parametrize("kind", HOSTILE)
def test_a_hostile_name_is_only_text_and_stays_inside_the_margins(kind, size):
    result = label("corrosive", HOSTILE[kind])
    try:
        laid = paper_of(result, size)
    except InputError:
        assert size == "A7", "only the smallest may be too small for a long name"
        return
    inside(laid)
    svg = paper_svg(laid)
    tags = {element.tag for element in ElementTree.fromstring(svg).iter()}
    assert tags <= {SVG + tag for tag in ("svg", "title", "rect", "polygon", "g", "path", "circle", "text")}
    assert rejoined(printable(HOSTILE[kind])[:80]) in rejoined(words_of(svg))
    page = paper_html(laid)
    assert "<script" not in page
    assert "<!--" not in page
    page.encode()
    label_text(result, "").encode()


@examples(60)
@given(st.text(max_size=120))
def test_any_name_gives_a_well_formed_label(batch):
    laid = paper_of(replace(label("corrosive"), batch=printable(batch)[:80]), "A6")
    inside(laid)
    ElementTree.fromstring(paper_svg(laid))


@pytest.mark.parametrize("size", ["A7", "A6", "A5", "4x6in", "62mm"])
def test_letters_and_symbol_are_as_large_as_the_regulation_requires(size):
    # CLP Annex I, Table 1.3 (from memory): letters x at least 1.2 mm high; the diamond at least 16 mm a side on
    # packages up to 3 litres, 23 mm up to 50 litres, where the label is 74 by 105 mm or more.
    laid = paper("corrosive", size)
    assert min(words.size for words in laid.words) * 0.524 >= 1.2 - 1e-9
    side = laid.symbol[2] / 2**0.5
    assert side >= (23 if size in ("A6", "A5", "4x6in") else 16) - 1e-9


@pytest.mark.parametrize("size", ["A6", "A5", "4x6in", "62mm"])
def test_the_drawn_code_is_the_code_of_the_link(size):
    laid = paper("corrosive", size)
    left, top, dot, rows = laid.code
    path = re.search(r'<path fill="#000" d="(M[^"]*z)"', paper_svg(laid))[1]
    ink = {
        (round((float(x) / 10 - left) / dot) + step, round((float(y) / 10 - top) / dot))
        for x, y, run in re.findall(r"M([\d.]+) ([\d.]+)h([\d.]+)v", path)
        for step in range(round(float(run) / 10 / dot))
    }
    drawn = [[int((column, row) in ink) for column in range(len(rows))] for row in range(len(rows))]
    assert drawn == [list(row) for row in segno.make(LINK, error="l", micro=False, boost_error=False).matrix]
    # Three dots of a label printer of 203 to the inch.
    assert dot >= 3 * 25.4 / 203 - 0.001


def test_the_link_contains_the_whole_request_in_url_safe_characters():
    fragment = LINK.split("#batch=")[1]
    assert re.fullmatch(r"[\w-]+", fragment)
    held = base64.urlsafe_b64decode(fragment + "=" * (-len(fragment) % 4))
    assert json.loads(held) == json.loads(demo_request())


@pytest.mark.parametrize(
    "address", ["javascript:alert(1)", "example.org", "https://a b", "data:text/html,x", "http://"]
)
def test_an_invalid_address_is_refused(address):
    errors, found = printed(demo_request(), address=address)
    assert found is None
    assert [error["field"] for error in errors] == ["label.address"]


@pytest.mark.parametrize(("dilution", "sentence"), [("1:9", "Dilute 1:9 with water."), ("1:0", "use undiluted.")])
def test_every_format_says_how_to_dilute(dilution, sentence):
    asked = {"schema": 1, "cans": [{"size": "10 L", "count": 1}], "dilution": dilution}
    errors, found = printed(json.dumps(asked))
    assert not errors
    assert sentence in words_of(found.pages[0][2])
    assert sentence in found.text
    assert ("9 L of water first, then 1 L of liquor" in words_of(found.pages[0][2]).replace("\u00a0", " ")) == (
        dilution == "1:9"
    )


def test_a_small_size_lists_what_was_left_out():
    small = paper("corrosive", "A7")
    assert "code" in small.left_out
    assert small.code is None
    assert paper("corrosive", "A5").left_out == ()


def test_a_link_too_long_for_any_code_is_left_out_and_listed():
    laid = paper("corrosive", "A5", LINK + "A" * 3000)
    assert laid.code is None
    assert "code" in laid.left_out


def test_a_request_without_ranges_is_still_classified_by_the_range():
    request = json.loads(demo_request())
    _, with_ranges = printed(json.dumps(request))
    _, without = printed(json.dumps(request | {"ranges": "off"}))
    assert with_ranges.pages == without.pages
    assert "likely" in words_of(without.pages[0][2])


@pytest.mark.parametrize(
    "asked", [{"solution": {"totals": {"potassium": 1}}}, {"ask": "spread"}, {"water": {"kind": 3}}]
)
def test_a_request_that_is_no_batch_has_no_label(asked):
    errors, found = calculate_print(json.dumps({"schema": 1, **asked}))
    assert found is None
    assert errors


LANGUAGES = sorted({row["language"] for row in published.table("ghs_statements")})


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", CLASS_OF_PH)
def test_hazard_statements_of_each_language_fit_inside_the_margins(name, language):
    english = label(name)
    result = replace(english, hazard=hazard_in(english.hazard, language))
    stated = (*result.hazard.hazards, *result.hazard.precautions)
    assert not {text for _, text in stated} & {
        text for _, text in (*english.hazard.hazards, *english.hazard.precautions)
    }
    assert [code for code, _ in stated] == [code for code, _ in (*english.hazard.hazards, *english.hazard.precautions)]
    for size in ("A6", "A5", "4x6in", "62mm"):
        laid = paper_of(result, size, LINK)
        inside(laid)
        words = rejoined(words_of(paper_svg(laid)))
        assert rejoined(result.hazard.signal_word.upper()) in words
        assert all(rejoined(f"{text} ({code})") in words for code, text in stated)


def test_accented_and_devanagari_letters_have_their_widths():
    # Liberation Sans 2: "é" as wide as "e" (556), "í" 278, "ł" 222. Noto Sans Devanagari: "क" 762; marks above, 0.
    assert text_width("é", 1000) == text_width("e", 1000) == 556
    assert text_width("í", 1000) == 278
    assert text_width("ł", 1000) == 222
    assert text_width("े", 1000) == 0
    assert text_width("के", 1000) == text_width("क", 1000) == 762


@pytest.mark.parametrize("word", ["क्ष" * 60, "कि" * 80, "e\u0301" * 120, "👩🏽\u200d🌾" * 40])
def test_a_long_word_is_never_broken_inside_a_combined_letter(word):
    laid = paper_of(replace(label("mild"), batch=word[:80]), "62mm")
    lines = [words.text for words in laid.words if set(words.text) <= set(word) and words.text]
    assert len(lines) > 1
    for line in lines:
        assert not unicodedata.category(line[0]).startswith("M")
        assert line[-1] not in "\u094d\u200d" or line is lines[-1]


def in_brackets(text: str) -> str:
    """Return every message in brackets, so that text that was not translated stands out."""
    if not isinstance(text, Said):
        return text
    parts = {name: in_brackets(part) if isinstance(part, str) else part for name, part in text.parts.items()}
    return f"⟦{text.message.format_map(parts) if parts else text.message}⟧"


def outside_brackets(words: str) -> str:
    while (shorter := re.sub(r"⟦[^⟦⟧]*⟧", "", words)) != words:
        words = shorter
    return words


@pytest.mark.parametrize("dated", [True, False])
@pytest.mark.parametrize("name", CLASS_OF_PH)
def test_every_text_is_translated_before_it_is_laid_out(name, dated):
    laid = paper_of(label(name, "NAME", dated), "A5", LINK, in_brackets)
    inside(laid)
    bare = outside_brackets(" ".join(words.text for words in laid.words))
    codes = [code for code, _ in (*label(name).hazard.hazards, *label(name).hazard.precautions)]
    for known in (*(f"({code})" for code in codes), "NAME"):
        bare = bare.replace(known, "")
    assert not re.sub(r"[\s:;.]", "", bare)
    sheet = sheet_of_text(json.dumps(json.loads(demo_request()) | {"ranges": "off"}))
    (on_the_wall,) = wall_pages_of(wall_sheet_of(sheet, "NAME"), "A3", in_brackets)
    bare = outside_brackets(" ".join(words.text for words in on_the_wall.words)).replace("NAME", "")
    assert not re.sub(r"[\s!:.,\d]", "", bare), "only the figures of the ladder are not translated"


COLOURS = {"#000", "#fff", "#d00000", "none"}


@pytest.mark.parametrize("size", ["A7", "A6", "62mm"])
@pytest.mark.parametrize("name", CLASS_OF_PH)
def test_the_drawing_is_plain_svg_in_black_and_white_except_the_red_frame(name, size):
    # SVG 1.1: numbers with at most a unit, no id twice, nothing that is fetched or run; text is black on white (21:1).
    laid = paper(name, size)
    root = ElementTree.fromstring(paper_svg(laid))
    assert root.tag == f"{SVG}svg"
    ids = [element.get("id") for element in root.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    lengths = ("x", "y", "width", "height", "font-size", "textLength", "stroke-width", "r", "rx", "cx", "cy")
    for element in root.iter():
        for attribute, value in element.attrib.items():
            assert not attribute.startswith("on")
            assert "href" not in attribute
            if attribute in ("fill", "stroke"):
                assert value in COLOURS
                assert value != "#d00000" or element.tag == f"{SVG}polygon"
            if attribute in lengths and value != "100%":
                assert re.fullmatch(r"-?\d+(\.\d+)?(mm)?", value), (attribute, value)
    ground = root.find(f"{SVG}rect")
    assert (ground.get("width"), ground.get("fill")) == ("100%", "#fff")
    for group in root.iter(f"{SVG}g"):
        if group.findall(f"{SVG}text"):
            assert group.get("fill") == "#000"
    for text in root.iter(f"{SVG}text"):
        assert float(text.get("textLength")) > 0
        assert text.text.strip()


def test_letter_widths_are_those_of_helvetica():
    # Adobe Core 14 AFM: Helvetica "W" 944, "i" 222; Helvetica-Bold "W" 944, "i" 278.
    assert text_width("Wi", 1000) == 944 + 222
    assert text_width("Wi", 1000, bold=True) == 944 + 278
