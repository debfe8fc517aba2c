"""What each verb imports: help is quick only as long as nothing heavy is loaded for it."""

from __future__ import annotations

import pkgutil
import subprocess
import sys
from pathlib import Path

import click
import pytest

from feedcalc import replies
from feedcalc.command_line.main import VERBS, main

DATA = Path(__file__).parent.parent / "data"
ENGINE = {"feedcalc.engine"}
CHEMISTRY = {"feedcalc.chemistry"}
OPTIONAL = {"babel", "dask", "distributed", "numpy", "openpyxl", "scipy"}
FOR_ONE_USE = {"icalendar", "rich", "segno"}
NEVER = OPTIONAL | FOR_ONE_USE | {"pint"}
NOTHING = NEVER | ENGINE | CHEMISTRY | {"jinja2", "sqlite3"}
REPLIES = {f"feedcalc.replies.{found.name}" for found in pkgutil.iter_modules(replies.__path__)}
BOOK_AND_PAPER = {"feedcalc.book.season", "feedcalc.book.work", "feedcalc.sheets.season", "feedcalc.sheets.paper.label"}
OTHER_ASKS = BOOK_AND_PAPER | (REPLIES - {"feedcalc.replies.answered", "feedcalc.replies.batch"})
RANGES_OFF = '{"schema": 1, "ranges": "off"}'


@pytest.mark.parametrize(
    ("arguments", "absent"),
    [
        ("--help", NOTHING),
        ("--version", NOTHING),
        ("brew", NOTHING),
        ("page --where", NOTHING),
        ("season --help", NEVER | ENGINE | {"jinja2", "sqlite3"}),
        ("season PLOTS --out OUT --processes 1", NEVER | ENGINE | {"jinja2", "sqlite3"}),
        ("plants leek", NEVER | ENGINE | {"sqlite3"}),
        *(
            (f"{verb} --from -", NEVER | OTHER_ASKS | {"sqlite3"})
            for verb in ("sheet", "settle", "ladder", "delivery", "air", "mix")
        ),
        ("neutralise --from - --acid vinegar --target-ph 7", NEVER | OTHER_ASKS | {"sqlite3"}),
        ("spread --from -", NEVER | {"feedcalc.replies.batch", "feedcalc.book.season", "sqlite3"}),
        ("calculate", NEVER | {"feedcalc.book.season", "sqlite3"}),
        ("judge ASH", NEVER | BOOK_AND_PAPER | {"feedcalc.replies.batch", "sqlite3"}),
        ("happened LEAVES", NEVER | BOOK_AND_PAPER | {"feedcalc.replies.batch", "sqlite3"}),
        ("label -", NEVER | {"sqlite3"}),
        ("label - --address https://example.org/", (NEVER | {"sqlite3"}) - {"segno"}),
        ("wall -", NEVER | {"sqlite3"}),
        ("ash list", NEVER),
        ("book list", NEVER),
        ("book reminders --out CALENDAR", NEVER - {"icalendar"}),
    ],
)
def test_a_verb_imports_no_package_that_it_does_not_need(tmp_path, monkeypatch, arguments, absent):
    monkeypatch.setenv("FEEDCALC_BOOK", str(tmp_path / "book.sqlite"))
    files = {"PLOTS": DATA / "plots.csv", "OUT": tmp_path / "plans.csv", "CALENDAR": tmp_path / "calendar.ics"}
    files |= {"ASH": "1 glass of ash to 10 litres", "LEAVES": "leaves scorched"}
    words = [str(files.get(word, word)) for word in arguments.split()]
    code = (
        "import atexit, sys\n"
        "atexit.register(lambda: print(*sys.modules, file=sys.stderr))\n"
        "from feedcalc.command_line.main import main\n"
        f"main({words})"
    )
    done = subprocess.run([sys.executable, "-c", code], input=RANGES_OFF, capture_output=True, text=True, timeout=60)
    assert done.returncode in {"brew": (2,), "page": (0, 1), "season": (0, 3)}.get(words[0], (0,)), done.stderr
    loaded = set(done.stderr.splitlines()[-1].split())
    assert "click" in loaded
    assert not absent & loaded


def test_the_listed_help_of_each_verb_is_the_beginning_of_its_own():
    context = click.Context(main)
    assert main.list_commands(context) == sorted(VERBS)
    for name, (_, words) in VERBS.items():
        verb = main.get_command(context, name)
        assert verb is not None
        assert verb.name == name
        assert verb.get_short_help_str(1000) == click.Command(name, help=words).get_short_help_str(1000)
