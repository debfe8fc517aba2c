"""The scripts of the page as ES modules, bundled by esbuild into classic scripts.

Rules: the same modules give the same bytes on every host. Modules are bundled only through here, so that the page, the
worker and the tests hold the same program.
"""

from __future__ import annotations

import json
import subprocess
from dataclasses import dataclass
from pathlib import Path

from building.ingredients import SITE, IngredientMissing, provide_node

ROOMS = ("common", "engine", "store", "bench", "book", "offline")
ENTRY = SITE / "main.js"
EARLY = SITE / "engine" / "early.js"
UNPACKER = SITE / "engine" / "unpacker.js"
PAGE_NAME, EARLY_NAME, WORKER_NAME = "feedcalc", "feedcalcEarly", "feedcalcWorker"


@dataclass(frozen=True, slots=True)
class Bundle:
    """A classic script, and the modules it is made of with what each imports, as paths below the folder site."""

    script: str
    imports: dict[str, list[str]]


def modules() -> list[Path]:
    """Return every script of the page that is written here, in alphabetical order."""
    return sorted([ENTRY, *(path for room in ROOMS for path in (SITE / room).glob("*.js"))])


def bundled(entry: Path, name: str, *, minify: bool = False) -> Bundle:
    """Return ``entry`` with all that it imports; its exports are read from the global ``name``.

    ``minify``: as the page carries it, without spare white space and with the program of the unpacker in it. Raises
    `IngredientMissing` where the bundler is not installed or refuses a module.
    """
    command: list[str | Path] = [provide_node(), SITE / "building" / "bundle.mjs", entry, name]
    if minify:
        command += ["minify", UNPACKER]
    done = subprocess.run(command, cwd=SITE, capture_output=True, encoding="utf-8", check=False)
    if done.returncode:
        raise IngredientMissing(f"the page's scripts could not be bundled.\n{done.stderr}"[-3000:])
    return Bundle(**json.loads(done.stdout))


def page_scripts() -> tuple[str, str]:
    """Return the scripts of the page: the one that begins to wake Python, and that of all the rest."""
    return bundled(EARLY, EARLY_NAME, minify=True).script, bundled(ENTRY, PAGE_NAME, minify=True).script


def worker_script() -> str:
    """Return the worker's part of its program, which the runtime of Python goes before."""
    return bundled(SITE / "engine" / "worker.js", WORKER_NAME).script
