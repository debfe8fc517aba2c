"""Killing the process during any write loses at most the entry in progress."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import pytest

from feedcalc.command_line.store import open_book
from feedcalc.words.errors import InputError
from tests.whole.faults.killing import AT, an_entry, faults_in

MEMORY = "/dev/shm"
ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture(scope="module")
def found() -> dict[str, Any]:
    # A killed process leaves the same file in memory, which saves the time of waiting for a disk.
    with tempfile.TemporaryDirectory(dir=MEMORY if os.access(MEMORY, os.W_OK) else None) as folder:
        command = [sys.executable, "-m", "tests.whole.faults.killing", folder]
        done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, check=False)
    assert done.returncode == 0, done.stderr
    return dict(json.loads(done.stdout))


@pytest.mark.slow
def test_every_reported_entry_is_there_and_the_book_is_whole_after_hundreds_of_kills(found):
    assert found["faults"] == []
    assert found["kills"] >= 250


@pytest.mark.slow
def test_the_kills_happened_while_entries_were_written(found):
    assert found["entries"] > 200
    assert 0 < found["unreported"] <= found["kills"]


@pytest.mark.slow
def test_a_kill_during_an_import_leaves_all_of_it_or_nothing(found):
    assert found["imports_absent"] > 10
    assert found["imports_whole"] >= 1


@pytest.mark.slow
def test_a_kill_during_a_migration_leaves_the_old_layout_or_the_new_one(found):
    assert found["layouts_old"] > 10
    assert found["layouts_new"] >= 1


# -- faults_in finds what is wrong --------------------------------------------------------


@pytest.fixture
def book(tmp_path: Path) -> Path:
    place = tmp_path / "book.sqlite"
    with open_book(place) as store:
        store.write([an_entry("a"), an_entry("b")], AT, "two entries")
    return place


def test_a_whole_book_has_no_faults(book):
    assert faults_in(book, ["a", "b"]) == ([], 0)
    assert faults_in(book, ["a"]) == ([], 1)


def test_a_lost_entry_is_found(book):
    with open_book(book) as store:
        for table in ("step_back", "field", "record"):
            name = "id" if table == "record" else "record"
            store._connection.execute(f"DELETE FROM {table} WHERE {name} = 'b'")
    assert faults_in(book, ["a", "b"]) == (["b was reported and is missing"], 0)


def test_half_an_entry_is_found(book):
    with open_book(book) as store:
        store._connection.execute("DELETE FROM field WHERE record = 'b' AND name = 'amount'")
    assert faults_in(book, ["a", "b"]) == (["b is incomplete"], 0)


def test_fields_without_their_record_are_found(book):
    with open_book(book) as store:
        store._connection.execute("PRAGMA foreign_keys = OFF")
        store._connection.execute("DELETE FROM record WHERE id = 'b'")
    with pytest.raises(InputError, match="damaged"):
        faults_in(book, ["a"])
