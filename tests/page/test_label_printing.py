"""Printed labels read back: the code from its pixels, the words from the PDF, ink from nowhere outside the frame."""

from __future__ import annotations

import base64
import io
import json
from pathlib import Path

import pytest
import zxingcpp
from click.testing import CliRunner
from PIL import Image
from playwright.sync_api import Browser, Page, expect
from pypdf import PdfReader

from feedcalc.command_line.main import main
from feedcalc.engine import calculate_print, demo_request
from feedcalc.sheets.paper.layout import sizes
from tests.page.conftest import wait_for_engine, wait_until
from tests.page.installed_browser import installed_browser

ADDRESS = "https://example.org/feedcalc.html"
NAME = "Eiche שלום ☠ 灰 <b>&amp;"
FITTING = [size for size in sizes() if size != "A8"]
MILLIMETRES = 25.4


def pixels(browser: Browser, html: str, dots_to_the_inch: int) -> Image.Image:
    """The label as a printer of that fineness would lay it on paper, in grey."""
    context = browser.new_context(device_scale_factor=dots_to_the_inch / 96, offline=True)
    page = context.new_page()
    page.set_content(html)
    picture = page.locator("svg").first.screenshot()
    context.close()
    return Image.open(io.BytesIO(picture)).convert("L")


def printed(size: str, request: str | None = None, address: str = ADDRESS):
    wished = {"size": size, "name": NAME, "address": address}
    errors, label = calculate_print(
        json.dumps({**json.loads(request or demo_request()), "ask": "label", "label": wished})
    )
    assert label, errors
    return label


@pytest.mark.parametrize("dots_to_the_inch", [203, 300])
@pytest.mark.parametrize("size", ["A6", "A5", "4x6in", "62mm"])
def test_the_code_is_read_from_the_print_and_holds_the_batch(browser: Browser, size: str, dots_to_the_inch: int):
    found = zxingcpp.read_barcodes(pixels(browser, printed(size).html, dots_to_the_inch))
    assert len(found) == 1
    address, held = found[0].text.split("#batch=")
    assert address == ADDRESS
    assert json.loads(base64.urlsafe_b64decode(held + "=" * (-len(held) % 4))) == json.loads(demo_request())


@pytest.mark.parametrize("dots_to_the_inch", [203, 300])
@pytest.mark.parametrize("size", FITTING)
def test_no_ink_lies_outside_the_frame_or_between_frame_and_words(browser: Browser, size: str, dots_to_the_inch: int):
    picture = pixels(browser, printed(size).html, dots_to_the_inch)
    dot = dots_to_the_inch / MILLIMETRES
    width, height = picture.size
    margin = max(2.5, width / dot * 0.03)
    frame = margin / 2
    slack = 0.5  # half the frame's stroke, and a screen pixel by which a picture of the page may be wider
    for first, last in ((0.0, frame - slack), (frame + slack, margin - slack)):
        inner, outer = round(last * dot), round(first * dot)
        ring = [
            (outer, outer, width - outer, inner),
            (outer, height - inner, width - outer, height - outer),
            (outer, outer, inner, height - outer),
            (width - inner, outer, width - outer, height - outer),
        ]
        for box in ring:
            assert picture.crop(box).getextrema()[0] > 200, f"ink within {first:.1f} to {last:.1f} mm of the edge"


@pytest.mark.parametrize("size", FITTING)
def test_the_letters_a_browser_draws_keep_to_the_width_they_were_given(page: Page, size: str):
    page.set_content(printed(size).html)
    over = page.evaluate(
        """() => {
          const edge = document.querySelector("svg").viewBox.baseVal;
          return [...document.querySelectorAll("text")].filter((text) => {
            const box = text.getBBox();
            const given = Number(text.getAttribute("textLength"));
            return box.x < 0 || box.x + box.width > edge.width || Math.abs(box.width - given) > 0.02 * given + 2;
          }).map((text) => text.textContent);
        }"""
    )
    assert over == []


@pytest.mark.parametrize("size", ["A7", "4x6in", "62mm"])
def test_the_pdf_is_one_page_of_the_size_and_its_words_can_be_taken_out(tmp_path: Path, monkeypatch, size: str):
    monkeypatch.setenv("FEEDCALC_BROWSER", installed_browser() or "")
    request, out = tmp_path / "batch.json", tmp_path / "label.pdf"
    request.write_text(demo_request(), encoding="utf-8")
    result = CliRunner().invoke(main, ["label", str(request), "--size", size, "--name", "Oak 7", "--out", str(out)])
    assert result.exit_code == 0, result.output
    pages = PdfReader(out).pages
    assert len(pages) == 1
    wide = {"A7": 74, "4x6in": 101.6, "62mm": 62}[size]
    assert float(pages[0].mediabox.width) == pytest.approx(wide / MILLIMETRES * 72, abs=1)
    text = "".join(pages[0].extract_text().split())
    for words in (
        "DANGER",
        "Not for food containers.",
        "Causes severe skin burns and eye damage.",
        "Oak 7",
        "Swallowed:",
    ):
        assert "".join(words.split()) in text

    fonts = fonts_of(pages[0])
    assert fonts
    assert all(embedded for _, embedded in fonts)


def fonts_of(page) -> list[tuple[str, bool]]:
    """The name of each font of a PDF page, and whether the file holds its letters."""
    found = []
    for entry in page["/Resources"]["/Font"].values():
        font = entry.get_object()
        inner = font.get("/DescendantFonts", [font])[0].get_object()
        described = inner["/FontDescriptor"].get_object() if "/FontDescriptor" in inner else {}
        drawn = font["/Subtype"] == "/Type3"
        found.append(
            (str(font.get("/BaseFont", "drawn")), drawn or any(f"/FontFile{n}" in described for n in ("", 2, 3)))
        )
    return found


@pytest.mark.parametrize(
    ("arguments", "sizes_mm", "words"),
    [
        (["label", "--sheet", "2x2", "--start", "3", "--copies", "3"], [(210, 297)] * 2, "Causes severe skin burns"),
        (["label", "--size", "62mm", "--copies", "2"], None, "In the eye:"),
        (["wall", "--size", "Letter"], [(215.9, 279.4)] * 2, "then sprinkle the ash in."),
    ],
)
def test_sheets_are_printed_on_paper_of_their_size(tmp_path: Path, monkeypatch, arguments, sizes_mm, words):
    monkeypatch.setenv("FEEDCALC_BROWSER", installed_browser() or "")
    out = tmp_path / "out.pdf"
    result = CliRunner().invoke(main, [*arguments, "--out", str(out)])
    assert result.exit_code == 0, result.output
    pages = PdfReader(out).pages
    boxes = [
        (float(page.mediabox.width) * MILLIMETRES / 72, float(page.mediabox.height) * MILLIMETRES / 72)
        for page in pages
    ]
    if sizes_mm is None:
        assert len(boxes) == 2
        assert all(width == pytest.approx(62, abs=0.4) and 100 < height < 400 for width, height in boxes)
    else:
        assert boxes == [pytest.approx(size, abs=0.4) for size in sizes_mm]
    assert all(embedded for page in pages for _, embedded in fonts_of(page))
    text = "".join("".join(page.extract_text().split()) for page in pages)
    assert "DANGER" in text
    assert "".join(words.split()) in text


def test_what_is_wished_on_the_page_is_previewed_kept_and_printed_on_paper_of_its_size(
    browser: Browser, quick_file: str, tmp_path: Path
):
    context = browser.new_context(device_scale_factor=300 / 96, offline=True, viewport={"width": 1280, "height": 1400})
    page = context.new_page()
    page.goto(quick_file)
    wait_for_engine(page)
    wait_until(lambda: page.locator("#freshness").get_attribute("data-freshness") == "fresh", what="an answer")
    preview = page.locator("#paper-preview")
    drawing = preview.locator(".paper-page > svg")
    assert preview.locator("svg").count() == 0, "nothing is set while this part is closed"
    page.locator("#batch-name").fill(NAME)
    page.locator("#label-choice summary").click()
    expect(preview.locator("text").filter(has_text="Wood-ash liquor")).to_have_count(1)
    assert "".join(NAME.split()) in "".join(preview.text_content().split())
    page.evaluate("window.print = () => {}")

    def boxes_printed() -> list[tuple[float, float]]:
        wait_until(lambda: preview.get_attribute("aria-busy") == "false", what="a preview")
        page.locator("#print-paper").click()
        page.pdf(path=tmp_path / "page.pdf", prefer_css_page_size=True, print_background=True)
        page.evaluate("window.dispatchEvent(new Event('afterprint'))")
        pages = PdfReader(tmp_path / "page.pdf").pages
        assert all("DANGER" in each.extract_text() for each in pages)
        assert "Batch sheet" not in "".join(each.extract_text() for each in pages)
        return [
            (float(each.mediabox.width) * MILLIMETRES / 72, float(each.mediabox.height) * MILLIMETRES / 72)
            for each in pages
        ]

    def choose(**wishes: str) -> None:
        """Every wish at one stroke, so that one question is asked."""
        page.evaluate(
            """(wishes) => {
              document.getElementById("paper-preview").setAttribute("aria-busy", "asked");
              const fields = Object.entries(wishes).map(([name, value]) => {
                const field = document.querySelector(`[data-wish="${name}"]`);
                field.value = value;
                return field;
              });
              fields[0].dispatchEvent(new Event("input", { bubbles: true }));
            }""",
            wishes,
        )

    choose(code="own", address=ADDRESS, size="A5")
    assert boxes_printed() == [pytest.approx((148, 210), abs=0.5)]
    wide, high = drawing.bounding_box()["width"], drawing.bounding_box()["height"]
    assert high / wide == pytest.approx(210 / 148, rel=0.01)
    found = zxingcpp.read_barcodes(Image.open(io.BytesIO(drawing.screenshot())).convert("L"))
    assert [each.text.split("#")[0] for each in found] == [ADDRESS]
    choose(what="sheet", paper="Letter", grid="2 x 2", copies="5", start="2")
    assert boxes_printed() == [pytest.approx((215.9, 279.4), abs=0.5)] * 2
    choose(grid="4 x 9")
    expect(page.locator('[data-error="label.grid"]')).to_contain_text("can't hold the cautions")
    expect(page.locator("#print-paper")).to_be_disabled()
    choose(what="wall", wall="A4")
    sides = boxes_printed()
    assert sides == [pytest.approx((210, 297), abs=0.5)] * len(sides)
    page.reload()
    assert page.locator('[data-wish="address"]').input_value() == ADDRESS
    assert page.locator('[data-wish="what"]').input_value() == "wall"
    context.close()


def test_without_a_browser_a_pdf_is_refused_and_the_other_endings_are_named(tmp_path: Path, monkeypatch):
    monkeypatch.setenv("FEEDCALC_BROWSER", str(tmp_path / "none"))
    result = CliRunner().invoke(main, ["label", "--out", str(tmp_path / "label.pdf")])
    assert result.exit_code == 1
    assert ".svg, .html and .txt" in result.output
    assert not (tmp_path / "label.pdf").exists()


def test_the_code_opens_the_batch_in_the_page_with_a_preview(page: Page, quick_file: str):
    request = json.dumps(json.loads(demo_request()) | {"plant": "gooseberry"})
    label = printed("A5", request, address=ADDRESS)
    link = next(line for line in label.text.splitlines() if "#batch=" in line).split(": ", 1)[1]
    page.goto(link.replace(ADDRESS, quick_file))  # the same page, wherever it lies
    wait_for_engine(page)
    expect(page.locator("#preview")).to_be_visible()
    page.locator("#preview-keep").click()
    expect(page.locator("#plant")).to_have_value("gooseberry")


def test_the_page_ends_in_the_label_which_bears_the_batch_name_and_prints_alone(page: Page, quick_file: str):
    page.goto(quick_file)
    wait_for_engine(page)
    wait_until(lambda: page.locator("#freshness").get_attribute("data-freshness") == "fresh", what="an answer")
    label = page.locator('[data-part="label"]')
    expect(label.locator(".signal")).to_have_text("Danger")
    page.locator("#batch-name").fill(NAME)
    expect(label.locator("[data-batch-name]")).to_have_text(NAME)
    page.locator("#batch-name").fill("")
    expect(label.locator("[data-batch-name] .to-write")).to_have_count(1)
    page.evaluate("window.print = () => { window.printed = document.documentElement.dataset.print; }")
    page.locator("#print-label").click()
    assert page.evaluate("window.printed") == "label"
    page.emulate_media(media="print")
    expect(label).to_be_visible()
    expect(page.locator("#batch-sheet")).to_be_hidden()
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    expect(label).to_be_hidden()
    expect(page.locator("#batch-sheet")).to_be_visible()
