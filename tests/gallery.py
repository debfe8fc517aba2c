"""Renew the pictures of the page that the README shows: ``python -m tests.gallery``, after ``python3 build.py``."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.browser.conftest import DIST, QUIET, wait_until
from tests.browser.installed_browser import installed_browser

PICTURES = Path(__file__).resolve().parents[1] / "site" / "pictures"
# Name, width and height, colours, and what is scrolled to the top.
VIEWS = (
    ("page-phone-light.png", 390, 844, "light", "#answer"),
    ("page-phone-dark.png", 390, 844, "dark", "#step-pour"),
    ("page-wide.png", 1280, 900, "light", "h1"),
)
FRESH = "document.getElementById('freshness').dataset.freshness === 'fresh'"


def main() -> None:
    """Take every picture from the one file in dist/."""
    PICTURES.mkdir(exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=installed_browser(), args=QUIET)
        for name, width, height, scheme, top in VIEWS:
            page = browser.new_page(
                viewport={"width": width, "height": height},
                color_scheme=scheme,  # type: ignore[arg-type]
                locale="en-GB",
                reduced_motion="reduce",
            )
            page.goto((DIST / "feedcalc.html").as_uri())
            wait_until(lambda page=page: page.evaluate(FRESH), what="a fresh answer")  # type: ignore[misc]
            page.evaluate("top => document.querySelector(top).scrollIntoView()", top)
            page.screenshot(path=PICTURES / name)
            print(f"{name}: {(PICTURES / name).stat().st_size / 1000:.0f} kB")
        browser.close()


if __name__ == "__main__":
    main()
