"""Print an HTML page to PDF with the installed browser, which embeds the fonts and sets any script.

The browser gets a temporary profile and no network.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from feedcalc.words.errors import FeedcalcError

COMMANDS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge")
INSTALLED_PATHS = (
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "C:/Program Files/Google/Chrome/Application/chrome.exe",
    "C:/Program Files (x86)/Microsoft/Edge/Application/msedge.exe",
)
TIMEOUT_SECONDS = 60


class NoPdf(FeedcalcError):
    """No PDF could be made; the message gives the reason and what works instead."""


def pdf_of(html: str) -> bytes:
    """Return the page ``html`` as a PDF on the paper of its ``@page`` rule.

    ``FEEDCALC_BROWSER`` in the environment overrides the search for a browser. Raises `NoPdf`.
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
            command.insert(1, "--no-sandbox")  # as root it does not start with one; the page is our own
        try:
            subprocess.run(command, capture_output=True, timeout=TIMEOUT_SECONDS, check=False)
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
    return on_search_path or next((place for place in INSTALLED_PATHS if Path(place).exists()), None)
