"""What the page asks of a person at the bucket: taps, keys, screens and words, counted on the built page at 390 x 844.

The page is driven in Chromium as a finger would. A tap is one touch of a control; choosing from a list of the system
takes two, one to open it and one to choose. A control is something on the page that a finger can touch: what is laid
beside the screen for those who use a keyboard is none. A list counts for the one word of it that shows.

* ``first_screen_has_answer``: all five lines of the answer are inside the first screen;
* ``page_height``, ``controls``, ``first_screen_words``: before anything is opened;
* ``taps_to_answer``, ``keys_to_answer``, ``screens_to_answer``: two 9 L cans, ash of a state nobody knows, to a whole
  answer, from the first opening;
* ``taps_to_reading``, ``screens_to_reading``: a conductivity and a pH, answered in the same screen as the field;
* ``taps_to_label``: until the browser is asked to print the label; ``taps_to_book_known_bed``,
  ``taps_to_book_new_bed``: until the batch is written in the book;
* ``cups_told``: the first line of the dry-ash sheet for 6 m2 says level cups;
* ``text_200_overflow``: CSS pixels by which the page is wider than a screen of 360 px with text at 200 %.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from playwright.sync_api import Browser, FloatRect, Locator, Page, sync_playwright

from tests.page.conftest import DIST, QUIET, wait_for_engine, wait_until
from tests.page.installed_browser import installed_browser

PHONE: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844},
    "has_touch": True,
    "is_mobile": True,
    "locale": "en-GB",
}
SEEN = """(selector) => [...document.querySelectorAll(selector)]
  .filter((each) => each.checkVisibility({ visibilityProperty: true }) && each.getBoundingClientRect().right > 0)"""
CONTROLS = f"({SEEN})('a[href], button, input:not([type=hidden]), select, textarea, summary, label.button').length"
WORDS = """() => {
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  let words = 0;
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const range = document.createRange();
    range.selectNodeContents(node);
    const box = range.getBoundingClientRect();
    const isSeen = box.width > 1 && box.right > 0 && box.top < innerHeight
      && node.parentElement.checkVisibility({ visibilityProperty: true });
    if (isSeen && !node.parentElement.closest("select, script, style, .visually-hidden")) {
      words += node.textContent.split(/\\s+/).filter((word) => /[\\p{L}\\p{N}]/u.test(word)).length;
    }
  }
  return words + [...document.querySelectorAll("select")].filter((each) => each.checkVisibility()).length;
}"""


class Finger:
    """A finger on a page: counts taps and keys, and whether the page had to be scrolled for them."""

    def __init__(self, page: Page) -> None:
        self.page, self.taps, self.keys, self.screens = page, 0, 0, 0

    def tap(self, selector: str) -> None:
        """Touch the first visible control that ``selector`` finds."""
        self._reach(selector)
        self.page.locator(selector).locator("visible=true").first.tap()
        self.taps += 1

    def choose(self, selector: str, value: str) -> None:
        """Open a list of the system and choose from it."""
        self._reach(selector)
        self.page.locator(selector).select_option(value)
        self.taps += 2

    def type(self, text: str) -> None:
        """Type into the field that has the focus."""
        self.page.keyboard.type(text)
        self.keys += len(text)

    def _reach(self, selector: str) -> None:
        target = self.page.locator(selector).locator("visible=true").first
        box = target.bounding_box()
        while box != (later := _box_of_next_frame(target)):
            box = later  # the page is still scrolling
        assert box, f"not to be seen: {selector}"
        inside = box["y"] >= 0 and box["y"] + box["height"] <= self.page.evaluate("innerHeight")
        if not inside:
            self.screens += 1
            target.scroll_into_view_if_needed()


def _box_of_next_frame(target: Locator) -> FloatRect | None:
    target.page.evaluate(
        "new Promise((resolve) => requestAnimationFrame(() => requestAnimationFrame(() => resolve())))"
    )
    return target.bounding_box()


def bench() -> dict[str, Any]:
    """Return the figures by name."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=installed_browser(), args=QUIET)
        figures = measured(browser, (DIST / "feedcalc.html").as_uri())
        browser.close()
    return figures


def measured(browser: Browser, address: str) -> dict[str, Any]:
    """Return the figures by name, of the page at ``address``."""
    with opened(browser, address) as (page, finger):
        at_first = {**_first_screen(page), "text_200_overflow": _overflow(page), **_to_the_label(page, finger)}
        at_first["cups_told"] = _cups_told(page, finger)
    return {
        **at_first,
        **_to_the_answer(browser, address),
        **_to_the_reading(browser, address),
        **_to_the_book(browser, address),
    }


@contextmanager
def opened(browser: Browser, address: str, **look: Any) -> Iterator[tuple[Page, Finger]]:
    """The page at its first opening, awake, and a finger."""
    context = browser.new_context(offline=True, **{**PHONE, **look})
    page = context.new_page()
    page.goto(address)
    wait_for_engine(page)
    wait_for_whole_answer(page)
    yield page, Finger(page)
    context.close()


def wait_for_whole_answer(page: Page) -> None:
    """Wait until what is shown is the whole answer to what was asked."""
    wait_until(lambda: page.locator("#freshness").get_attribute("data-freshness") == "fresh", what="a whole answer")


def _first_screen(page: Page) -> dict[str, Any]:
    lines = page.locator(".lines > li")
    boxes = [lines.nth(place).bounding_box() for place in range(lines.count())]
    return {
        "first_screen_has_answer": len(boxes) == 5
        and all(box and box["y"] + box["height"] <= page.evaluate("innerHeight") for box in boxes),
        "page_height": page.evaluate("document.documentElement.scrollHeight"),
        "controls": page.evaluate(CONTROLS),
        "first_screen_words": page.evaluate(WORDS),
    }


def _to_the_answer(browser: Browser, address: str) -> dict[str, int]:
    with opened(browser, address) as (page, finger):
        finger.choose("#can-size", "9 L")
        finger.tap('.pick label:has([value="unknown"])')
        wait_for_whole_answer(page)
        assert page.evaluate("feedcalc.form.read().cans") == [{"size": "9 L", "count": "2"}]
        return {"taps_to_answer": finger.taps, "keys_to_answer": finger.keys, "screens_to_answer": finger.screens}


def _to_the_reading(browser: Browser, address: str) -> dict[str, int]:
    with opened(browser, address) as (page, finger):
        finger.tap("#i-measured")
        finger.type("6 mS/cm")
        finger.tap("#read-ph")
        finger.type("12.1")
        wait_for_whole_answer(page)
        assert "1:" in (page.locator('[data-part="reading"]').text_content() or "")
        finger._reach('[data-part="reading"] p')
        return {"taps_to_reading": finger.taps, "screens_to_reading": finger.screens}


def _to_the_label(page: Page, finger: Finger) -> dict[str, int]:
    page.evaluate("window.print = () => { window.printed = document.documentElement.dataset.print; }")
    finger.tap("#menu > summary")
    finger.tap('.menu-list [data-click="print-label"]')
    assert page.evaluate("window.printed") == "label"
    page.evaluate("document.getElementById('menu').open = false")
    return {"taps_to_label": finger.taps}


def _to_the_book(browser: Browser, address: str) -> dict[str, int]:
    with opened(browser, address) as (page, finger):
        finger.tap("#write-in-book")
        finger.type("South wall")
        finger.tap('#to-book [type="submit"]')
        _wait_for_entries(page, 1)
        new, finger.taps = finger.taps, 0
        finger.tap("#write-in-book")
        finger.tap('#to-book [type="submit"]')
        _wait_for_entries(page, 2)
        return {"taps_to_book_known_bed": finger.taps, "taps_to_book_new_bed": new}


def _wait_for_entries(page: Page, count: int) -> None:
    entries = "feedcalc.records.all().filter(({ kind }) => kind === 'entry').length"
    wait_until(lambda: page.evaluate(entries) == count, what=f"{count} entries in the book")


def _cups_told(page: Page, finger: Finger) -> bool:
    finger.tap('[data-place="dry"]')
    first_line = page.locator('[data-part="spread"] p').first
    wait_until(lambda: first_line.count() and first_line.text_content(), what="the sheet for dry ash")
    return "level cup" in (first_line.text_content() or "")


def _overflow(page: Page) -> int:
    page.set_viewport_size({"width": 360, "height": 640})
    page.evaluate("document.documentElement.style.setProperty('font-size', '200%')")
    overflow: int = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    page.evaluate("document.documentElement.style.removeProperty('font-size')")
    page.set_viewport_size(PHONE["viewport"])
    return overflow
