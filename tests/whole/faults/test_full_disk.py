"""On a full or write-protected disk the command line says so in one line and keeps the former files."""

from __future__ import annotations

import json
import os
import resource
import shutil
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[3]
PLOTS = ROOT / "tests" / "data" / "plots.csv"
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT)}
EARLIER = b"what was there before\n"
WRITING = {
    "a label": ("label", "--out", "label.svg"),
    "a sheet for the wall": ("wall", "--out", "wall.html"),
    "the book as a file": ("book", "export", "book.json"),
    "the book as a table": ("book", "export", "book.csv"),
    "reminders": ("book", "reminders", "--out", "reminders.ics"),
}


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book that has a bed and an entry."""
    place = tmp_path_factory.mktemp("book")
    given = ("book", "add", "South", "dry ash", "100 g", "--date", "2026-05-01")
    for command in (("book", "bed", "South", "--area", "6 m2"), given):
        ended = feedcalc(place, *command)
        assert ended.returncode == 0, ended.stderr
    return place / "book.sqlite"


@pytest.fixture
def folder(tmp_path: Path, book: Path) -> Path:
    """A folder with a copy of that book."""
    shutil.copy(book, tmp_path)
    return tmp_path


def feedcalc(
    folder: Path, *arguments: str, most: int | None = None, out: Any = subprocess.PIPE, through: Sequence[str] = ()
) -> subprocess.CompletedProcess[str]:
    """Run the command line where no file may grow beyond ``most`` bytes."""

    def limited() -> None:
        if most is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))

    book = ("--book", str(folder / "book.sqlite")) if arguments[0] == "book" else ()
    command = [*through, sys.executable, "-m", "feedcalc", arguments[0], *book, *arguments[1:]]
    return subprocess.run(
        command,
        cwd=folder,
        env=ENVIRONMENT,
        preexec_fn=limited,
        stdout=out,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )


def is_refused_in_words(ended: subprocess.CompletedProcess[str]) -> bool:
    return ended.returncode == 1 and "can't be written" in ended.stderr and "Traceback" not in ended.stderr


@pytest.mark.parametrize("what", WRITING)
def test_a_file_that_does_not_fit_is_refused_and_the_former_one_stays(folder: Path, what: str) -> None:
    *command, name = WRITING[what]
    (folder / name).write_bytes(EARLIER)
    (folder / f"{name}.half").symlink_to("/dev/full")  # the name of the file until it is complete
    ended = feedcalc(folder, *command, name)
    assert is_refused_in_words(ended), ended.stderr
    assert name in ended.stderr
    assert "No space left" in ended.stderr
    assert (folder / name).read_bytes() == EARLIER
    assert not list(folder.glob("*.half"))
    assert feedcalc(folder, *command, name).returncode == 0
    assert (folder / name).read_bytes() != EARLIER


@pytest.mark.parametrize("what", WRITING)
def test_a_folder_that_takes_no_files_is_reported(folder: Path, what: str) -> None:
    *command, name = WRITING[what]
    ended = feedcalc(folder, *command, f"/sys/{name}")  # no user can create a file there
    assert is_refused_in_words(ended), ended.stderr


# What lets root write where the folder says that nobody may.
MIGHT = "-dac_override,-dac_read_search,-fowner"
AS_A_USER = () if os.geteuid() else ("setpriv", f"--bounding-set={MIGHT}", f"--inh-caps={MIGHT}")


def test_a_book_in_a_folder_for_reading_only_is_shown_and_keeps_what_it_holds(folder: Path) -> None:
    before = (folder / "book.sqlite").read_bytes()
    folder.chmod(0o555)
    shown = feedcalc(folder, "book", "list", through=AS_A_USER)
    adding = ("book", "add", "South", "dry ash", "50 g", "--date", "2026-06-01")
    written = feedcalc(folder, *adding, through=AS_A_USER)
    folder.chmod(0o755)
    assert "dry ash · 100 g · South" in shown.stdout, shown.stderr
    assert written.returncode == 1
    assert "can only be read" in written.stderr
    assert (folder / "book.sqlite").read_bytes() == before


@pytest.mark.parametrize("arguments", [("sheet",), ("ladder", "--json"), ("label",), ("--help",), ("book", "show")])
def test_a_full_disk_behind_standard_output_is_reported(folder: Path, arguments: Sequence[str]) -> None:
    with Path("/dev/full").open("w") as full:
        ended = feedcalc(folder, *arguments, out=full)
    assert is_refused_in_words(ended), ended.stderr
    assert len(ended.stderr.strip().splitlines()) == 1


def test_plans_that_did_not_fit_are_written_once_there_is_space(folder: Path) -> None:
    table = folder / "plots.csv"
    lines = PLOTS.read_text(encoding="utf-8").splitlines(keepends=True)
    table.write_text("".join([lines[0], *lines[1:3] * 12]), encoding="utf-8")
    command = ("season", "plots.csv", "--today", "2026-05-01", "--processes", "1", "--out")
    assert feedcalc(folder, *command, "whole.csv").returncode == 0
    ended = feedcalc(folder, *command, "plans.csv", most=4000)
    assert is_refused_in_words(ended), ended.stderr
    assert not (folder / "plans.csv").exists(), "half a table must not bear the name of the whole one"
    assert feedcalc(folder, *command, "plans.csv").returncode == 0
    assert (folder / "plans.csv").read_bytes() == (folder / "whole.csv").read_bytes()


# Forks of one process, each killed when its file has grown to so many bytes, or before the file gets its name.
KILLED_WRITERS = """
import json, os, resource, runpy, signal, sys
command, earlier = json.loads(sys.argv[1])
sys.argv = ["feedcalc", *command]
def write():
    runpy.run_module("feedcalc", run_name="__main__")
try:
    write()  # what is computed once is cached for the forks
except SystemExit:
    size = os.path.getsize(command[-1])
for moment in (*(size * ninth // 9 for ninth in range(9)), "rename"):
    with open(command[-1], "w") as file:
        file.write(earlier)
    victim = os.fork()
    if victim == 0:
        if moment == "rename":
            sys.addaudithook(lambda event, _: event == "os.rename" and os.kill(os.getpid(), signal.SIGKILL))
        else:
            signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
            resource.setrlimit(resource.RLIMIT_FSIZE, (moment, moment))
        write()
    killed = os.WIFSIGNALED(os.waitpid(victim, 0)[1])
    with open(command[-1]) as left, open(command[-1] + ".half", "rb") as half:
        print(json.dumps([killed, len(half.read()) == (size if moment == "rename" else moment), left.read()]))
"""


def test_a_kill_at_any_moment_of_writing_leaves_the_file_as_it_was(
    folder: Path, record_property: Callable[[str, Any], None]
) -> None:
    command = [sys.executable, "-c", KILLED_WRITERS, json.dumps([WRITING["a label"], EARLIER.decode()])]
    ended = subprocess.run(command, cwd=folder, env=ENVIRONMENT, capture_output=True, text=True, check=False)
    assert ended.returncode == 0, ended.stderr
    found = [json.loads(line) for line in ended.stdout.splitlines() if line.startswith("[")]
    assert len(found) == 10
    assert all(killed and has_size for killed, has_size, _ in found), "each was killed at its moment"
    lost = sum(left != EARLIER.decode() for _, _, left in found)
    record_property("faults", len(found))
    record_property("lost", lost)
    assert lost == 0
