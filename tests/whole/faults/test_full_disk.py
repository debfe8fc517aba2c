"""Where a disk is full or can't be written to, the command line says so in a line and leaves whole what was there."""

from __future__ import annotations

import os
import resource
import shutil
import signal
import subprocess
import sys
import time
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
    folder: Path, *arguments: str, most: int | None = None, out: Any = subprocess.PIPE
) -> subprocess.CompletedProcess[str]:
    """Run the command line where no file may grow beyond ``most`` bytes."""

    def limited() -> None:
        if most is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))

    book = ("--book", str(folder / "book.sqlite")) if arguments[0] == "book" else ()
    command = [sys.executable, "-m", "feedcalc", arguments[0], *book, *arguments[1:]]
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


def said_in_words(ended: subprocess.CompletedProcess[str]) -> bool:
    return ended.returncode == 1 and "can't be written" in ended.stderr and "Traceback" not in ended.stderr


@pytest.mark.parametrize("what", WRITING)
def test_what_does_not_fit_is_told_and_the_file_before_stays_whole(folder: Path, what: str) -> None:
    *command, name = WRITING[what]
    (folder / name).write_bytes(EARLIER)
    (folder / f"{name}.half").symlink_to("/dev/full")  # where it is written before it gets its name
    ended = feedcalc(folder, *command, name)
    assert said_in_words(ended), ended.stderr
    assert name in ended.stderr
    assert "No space left" in ended.stderr
    assert (folder / name).read_bytes() == EARLIER
    assert not list(folder.glob("*.half"))
    assert feedcalc(folder, *command, name).returncode == 0
    assert (folder / name).read_bytes() != EARLIER


@pytest.mark.parametrize("what", WRITING)
def test_a_place_that_takes_no_files_is_told(folder: Path, what: str) -> None:
    *command, name = WRITING[what]
    ended = feedcalc(folder, *command, f"/sys/{name}")  # nobody may make a file there, whoever it is
    assert said_in_words(ended), ended.stderr


@pytest.mark.parametrize("arguments", [("sheet",), ("ladder", "--json"), ("label",), ("--help",), ("book", "show")])
def test_a_full_disk_behind_what_is_printed_is_told(folder: Path, arguments: Sequence[str]) -> None:
    with Path("/dev/full").open("w") as full:
        ended = feedcalc(folder, *arguments, out=full)
    assert said_in_words(ended), ended.stderr
    assert len(ended.stderr.strip().splitlines()) == 1


@pytest.mark.slow
def test_plans_that_do_not_fit_are_gone_on_with_once_there_is_room(folder: Path) -> None:
    table = folder / "plots.csv"
    lines = PLOTS.read_text(encoding="utf-8").splitlines(keepends=True)
    table.write_text("".join([lines[0], *lines[1:] * 30]), encoding="utf-8")
    command = ("season", "plots.csv", "--today", "2026-05-01", "--processes", "1", "--out")
    assert feedcalc(folder, *command, "whole.csv").returncode == 0
    ended = feedcalc(folder, *command, "plans.csv", most=4000)
    assert said_in_words(ended), ended.stderr
    assert not (folder / "plans.csv").exists(), "half a table must not bear the name of the whole one"
    assert feedcalc(folder, *command, "plans.csv").returncode == 0
    assert (folder / "plans.csv").read_bytes() == (folder / "whole.csv").read_bytes()


@pytest.mark.slow
def test_a_kill_at_any_moment_leaves_the_old_file_or_the_new_one(
    folder: Path, record_property: Callable[[str, Any], None]
) -> None:
    *command, name = WRITING["a label"]
    assert feedcalc(folder, *command, name).returncode == 0
    whole = (folder / name).read_bytes()
    started = time.monotonic()
    feedcalc(folder, *command, name)
    usual = time.monotonic() - started
    lost = 0
    for tenth in range(10):
        (folder / name).write_bytes(EARLIER)
        running = subprocess.Popen(
            [sys.executable, "-m", "feedcalc", *command, name],
            cwd=folder,
            env=ENVIRONMENT,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        time.sleep(usual * (0.55 + tenth * 0.05))
        running.send_signal(signal.SIGKILL)
        running.wait()
        lost += (folder / name).read_bytes() not in (EARLIER, whole)
    record_property("faults", 10)
    record_property("lost", lost)
    assert lost == 0
