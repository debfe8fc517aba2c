"""Pictures to look at: ``python -m tests.gallery [FOLDER]``, after ``python3 build.py``.

Without FOLDER they come to ``dist/gallery``, with ``index.html`` to leaf through: labels of every class of pH and size
and language, sheets of labels, sheets for the wall, and the page. ``python -m tests.gallery readme`` renews only the
pictures of the page that the README shows.
"""

from __future__ import annotations

import html
import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

from feedcalc.engine import calculate_print, demo_request
from feedcalc.sheets.paper.layout import sizes
from feedcalc.sheets.paper.wall import wall_sizes
from feedcalc.words.languages import LANGUAGES
from tests.page.conftest import DIST, QUIET, wait_until
from tests.page.installed_browser import installed_browser

PICTURES = Path(__file__).resolve().parents[1] / "site" / "pictures"
DOTS_TO_THE_INCH = 150
# Name, width and height, colours, the place of the page, and how many steps are done there.
VIEWS = (
    ("page-phone-light.png", 390, 844, "light", "#feed", 0),
    ("page-phone-dark.png", 390, 844, "dark", "#steps", 5),
    ("page-wide.png", 1280, 900, "light", "#feed", 0),
)
FRESH = "document.getElementById('freshness').dataset.freshness === 'fresh'"
# Batches whose liquor falls into each class by the high end of its pH.
CLASSES = {
    "corrosive": {},
    "irritant": {
        "ash": {"kind": "mixed", "state": "aged", "amount": "20 g"},
        "water": {"amount": "20 L"},
        "cans": None,
    },
    "mild": {"ash": {"kind": "mixed", "state": "aged", "amount": "0.2 g"}, "water": {"amount": "50 L"}, "cans": None},
}
ADDRESS = "https://example.org/feedcalc.html"
LONG_NAME = "Apple and plum prunings from behind the long greenhouse, the second fire of the year"


@dataclass(frozen=True, slots=True)
class Picture:
    """One thing to print, the file it goes to and what is seen on it; a refusal is shown by its words."""

    file: str
    title: str
    request: str


def pictures() -> Iterator[Picture]:
    """Everything that is printed, once."""
    for class_ in CLASSES:
        for size in sizes():
            yield label(f"label-{class_}-{size}", f"Label, {class_}, {size}", class_, size=size, name="Oak, May")
    for language in LANGUAGES:
        if language != "en":
            for size in ("A6", "62mm"):
                title = f"Label, corrosive, {size}, {language}"
                yield label(f"label-{language}-{size}", title, "corrosive", language, size=size)
            yield wall(f"wall-{language}", f"For the wall, A4, {language}", "A4", language)
    yield label("label-long-name", "A long name", "corrosive", size="A6", name=LONG_NAME)
    yield label("label-undated", "No dates given", "corrosive", now=None, size="A6")
    sheet = {"grid": "2 x 2", "copies": "3", "start": "2", "cut_marks": "yes"}
    yield label("sheet-A4", "Sheet of labels, A4, begun at the second cell", "corrosive", **sheet)
    yield label("sheet-Letter", "Sheet of labels, Letter", "irritant", **{**sheet, "paper": "Letter", "grid": "3 x 2"})
    yield label("sheet-refused", "Cells too small", "corrosive", grid="3 x 8")
    for size in wall_sizes():
        yield wall(f"wall-{size}", f"For the wall, {size}", size)


def label(file: str, title: str, class_: str, language: str = "en", now: object = "", **wished: str) -> Picture:
    wishes = {"address": ADDRESS, **wished}
    return Picture(file, title, asked(class_, language, now, ask="label", label=wishes))


def wall(file: str, title: str, size: str, language: str = "en") -> Picture:
    return Picture(file, title, asked("corrosive", language, "", ask="wall", wall={"size": size, "name": "Oak, May"}))


def asked(class_: str, language: str, now: object, **print_: object) -> str:
    request = {**json.loads(demo_request()), **CLASSES[class_], **print_}
    if language != "en":
        request["language"] = language
    if now is None:
        request["now"] = None
    return json.dumps({name: value for name, value in request.items() if value is not None})


def print_all(browser: Browser, folder: Path) -> None:
    """Draw each as PNG and write the page that shows them."""
    folder.mkdir(parents=True, exist_ok=True)
    context = browser.new_context(device_scale_factor=DOTS_TO_THE_INCH / 96, offline=True)
    page = context.new_page()
    shown = []
    for picture in pictures():
        errors, found = calculate_print(picture.request)
        if found is None:
            words = " ".join(f"{error['problem']} {error['accepted']}" for error in errors)
            shown.append((picture.title, "", words))
            continue
        page.set_content(found.html)
        for place, drawing in enumerate(page.locator("body > div > svg").all(), start=1):
            file = f"{picture.file}-{place}.png"
            drawing.screenshot(path=folder / file)
            shown.append((picture.title, file, " ".join(found.told)))
    context.close()
    for name, *_ in VIEWS:
        shown.append((name.removesuffix(".png"), name, ""))
    figures = "\n".join(
        f"<figure><figcaption><strong>{html.escape(title)}</strong> {html.escape(words)}</figcaption>"
        + (f'<img src="{file}" alt="{html.escape(title)}" loading="lazy">' if file else "")
        + "</figure>"
        for title, file, words in shown
    )
    (folder / "index.html").write_text(
        '<!DOCTYPE html>\n<html lang="en-GB"><head><meta charset="utf-8"><title>feedcalc: what it prints</title>\n'
        "<style>body { font: 16px sans-serif; background: #ddd; display: flex; flex-wrap: wrap; gap: 1rem; }"
        "figure { margin: 0; width: 24rem; } img { width: 100%; background: #fff; }</style></head>\n"
        f"<body>\n{figures}\n</body></html>\n",
        encoding="utf-8",
    )
    print(f"{folder / 'index.html'}: {len(shown)} pictures")


def view_page(browser: Browser, folder: Path) -> None:
    """Take every picture of the page from the one file in dist/."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, width, height, scheme, place, steps in VIEWS:
        page = browser.new_page(
            viewport={"width": width, "height": height},
            color_scheme=scheme,  # type: ignore[arg-type]
            locale="en-GB",
            reduced_motion="reduce",
        )
        page.goto((DIST / "feedcalc.html").as_uri() + place)
        wait_until(lambda page=page: page.evaluate(FRESH), what="a fresh answer")  # type: ignore[misc]
        for _ in range(steps):
            page.locator("#step-done").click()
        page.screenshot(path=folder / name)
        print(f"{name}: {(folder / name).stat().st_size / 1000:.0f} kB")
        page.close()


def main(arguments: list[str]) -> None:
    """Make the pictures asked for."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=installed_browser(), args=QUIET)
        if arguments == ["readme"]:
            view_page(browser, PICTURES)
        else:
            folder = Path(arguments[0]) if arguments else DIST / "gallery"
            view_page(browser, folder)
            print_all(browser, folder)
        browser.close()


if __name__ == "__main__":
    main(sys.argv[1:])
