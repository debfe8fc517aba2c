"""``feedcalc ash``: keep, list, show and forget an ash, and start a batch from it."""

from __future__ import annotations

import json
import shutil

import pytest
from click.testing import CliRunner

from feedcalc.command_line.main import main

BATCH = ["--kind", "hardwood", "--ash", "100 g", "--water", "5 L"]


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.setenv("FEEDCALC_BOOK", str(tmp_path / "book.sqlite"))
    return lambda *arguments: CliRunner().invoke(main, list(arguments))


@pytest.fixture(scope="module")
def book_with_an_ash(tmp_path_factory):
    """A book in which one ash is kept, made once because learning takes a sample of ashes."""
    book = tmp_path_factory.mktemp("kept") / "book.sqlite"
    arguments = ["ash", "--book", str(book), "keep", "Oak stove", *BATCH, "--ec", "7 mS/cm", "--date", "2026-05-01"]
    done = CliRunner().invoke(main, arguments)
    assert done.exit_code == 0, done.output
    assert "Learned from 1 batch." in done.output
    return book


@pytest.fixture
def kept(run, tmp_path, book_with_an_ash):
    for part in book_with_an_ash.parent.iterdir():
        shutil.copy(part, tmp_path)
    return run


def test_a_kept_ash_is_listed_and_shown_with_its_ranges(kept):
    assert kept("ash", "list").output.strip() == "Oak stove: 2026-05-01, learned from 1 batch"
    shown = kept("ash", "show", "oak stove").output
    assert "g/L potassium, likely" in shown
    assert "The share of it that is caustic is about" in shown


def test_the_next_batch_starts_from_it_and_takes_its_kind(kept):
    arguments = ["sheet", "--my-ash", "oak stove", "--ash", "100 g", "--water", "5 L", "--json"]
    values = json.loads(kept(*arguments).output)["values"]
    assert values["evidence"]["earlier_batches"]["value"] == 1
    assert 6 < values["liquor"]["ec"]["value"] < 8
    plain = json.loads(kept("sheet", *BATCH, "--json").output)["values"]["liquor"]["ec"]
    ec = values["liquor"]["ec"]
    assert ec["high"] / ec["low"] < 0.6 * plain["high"] / plain["low"]


def test_a_second_batch_is_kept_beside_the_first(kept):
    again = kept("ash", "keep", "OAK stove", "--ash", "1 cup", "--water", "5 L", "--ph", "12.4")
    assert again.exit_code == 0, again.output
    assert "Learned from 2 batches." in again.output
    assert kept("ash", "list").output.count("\n") == 1


def test_the_batch_may_come_from_a_file(run, tmp_path):
    file = tmp_path / "batch.json"
    file.write_text(json.dumps({"schema": 1, "ash": {"weighings": "98 g; 104 g"}, "now": "2026-04-03"}))
    assert run("ash", "keep", "bin", "--from", str(file)).exit_code == 0
    assert "2026-04-03" in run("ash", "list").output


def test_a_forgotten_ash_can_be_restored(kept):
    shown = kept("ash", "forget", "oak stove").output
    assert kept("ash", "list").stdout == ""
    assert kept("book", "restore", shown.split()[-1]).exit_code == 0
    assert "Oak stove" in kept("ash", "list").output


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (["ash", "keep", "bad", "--ec", "80 mS/cm"], "sludge stirred up"),
        (["ash", "keep", "bad", *BATCH], "No test, weight or reading"),
        (["ash", "show", "elm"], "No ash is kept under this name"),
        (["sheet", "--my-ash", "elm"], "Oak stove"),
        (["sheet", "--my-ash", "oak stove", "--kind", "softwood"], "another ash"),
    ],
)
def test_an_impossible_reading_and_an_unknown_ash_are_refused(kept, arguments, expected):
    done = kept(*arguments)
    assert done.exit_code == 1
    assert expected in done.output
    assert "Traceback" not in done.output
    assert kept("ash", "list").output.count("\n") == 1


def test_the_causes_of_an_impossible_reading_are_told_in_the_language_asked_for(run):
    done = run("ash", "keep", "bad", "--ec", "80 mS/cm", "--language", "de")
    assert done.exit_code == 1
    assert "Keine wahrscheinliche Asche gibt hier diesen Messwert" in done.output
    assert "Bodensatz aufgewirbelt" in done.output
