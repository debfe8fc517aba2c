"""From a page to a PDF by the browser that is installed here: it embeds the fonts and sets any script.

Rules of this room: it starts a program and reads and writes files, so nothing but the command line uses it. The
browser gets a profile of its own, thrown away afterwards, and no network.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from feedcalc.words.errors import FeedcalcError

COMMANDS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge")
PLACES = (
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "C:/Program Files/Google/Chrome/Application/chrome.exe",
    "C:/Program Files (x86)/Microsoft/Edge/Application/msedge.exe",
)
LONGEST_WAIT_SECONDS = 60


class NoPdf(FeedcalcError):
    """No PDF could be made; the message says why and what works instead."""


def pdf_of(html: str) -> bytes:
    """The page ``html`` printed on the paper its ``@page`` rule asks for.

    ``FEEDCALC_BROWSER`` in the environment names the browser outright. Raises `NoPdf` where there is none or it fails.
    """
    browser = _browser()
    if browser is None:
        raise NoPdf("A PDF needs an installed Chromium, Chrome or Edge. The endings .svg, .html and .txt work without.")
    with tempfile.TemporaryDirectory() as folder:
        page, paper = Path(folder, "label.html"), Path(folder, "label.pdf")
        page.write_text(html, encoding="utf-8")
        command = [
            browser,
            "--headless",
            "--disable-gpu",
            "--no-first-run",
            f"--user-data-dir={Path(folder, 'profile')}",
            "--host-resolver-rules=MAP * ~NOTFOUND",
            "--no-pdf-header-footer",
            f"--print-to-pdf={paper}",
            page.as_uri(),
        ]
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            command.insert(1, "--no-sandbox")  # it refuses to start for root otherwise; the page is our own
        try:
            subprocess.run(command, capture_output=True, timeout=LONGEST_WAIT_SECONDS, check=False)
        except (OSError, subprocess.TimeoutExpired):
            paper.unlink(missing_ok=True)
        if not paper.is_file() or not paper.stat().st_size:
            raise NoPdf("The installed browser made no PDF. The endings .svg, .html and .txt work without it.")
        return paper.read_bytes()


def _browser() -> str | None:
    named = os.environ.get("FEEDCALC_BROWSER")
    if named:
        return named if Path(named).exists() else None
    on_search_path = next(filter(None, map(shutil.which, COMMANDS)), None)
    return on_search_path or next((place for place in PLACES if Path(place).exists()), None)
