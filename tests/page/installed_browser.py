"""Where a Chromium or Chrome stands on this machine; run as a program, prints it.

``FEEDCALC_BROWSER`` in the environment names one outright.
"""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path

COMMANDS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge")
LIGHT = "chromium-headless-shell"
PLACES = (
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "C:/Program Files/Google/Chrome/Application/chrome.exe",
    "C:/Program Files (x86)/Google/Chrome/Application/chrome.exe",
)


def installed_browser() -> str | None:
    """Path of the first browser found: the one the environment names, else on the search path, in the usual
    places, or brought by the test tool's own installer; ``None`` where there is none."""
    named = os.environ.get("FEEDCALC_BROWSER")
    if named:
        return named if Path(named).exists() else None
    on_search_path = next(filter(None, map(shutil.which, (*COMMANDS, LIGHT))), None)
    in_usual_place = next((place for place in PLACES if Path(place).exists()), None)
    return on_search_path or in_usual_place or _browser_of_playwright()


def light_browser() -> str | None:
    """Path of a Chromium that draws no windows, else of the installed one: a page starts in it for less than half."""
    named = os.environ.get("FEEDCALC_BROWSER")
    return installed_browser() if named else shutil.which(LIGHT) or installed_browser()


def _browser_of_playwright() -> str | None:
    try:
        from playwright.sync_api import sync_playwright

        with sync_playwright() as playwright:
            path = playwright.chromium.executable_path
    except Exception:  # not installed, or its driver can't start: then it brings no browser either
        return None
    return path if Path(path).exists() else None


if __name__ == "__main__":
    path = installed_browser()
    print(path or "")
    sys.exit(0 if path else 1)
