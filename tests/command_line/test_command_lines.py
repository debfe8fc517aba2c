"""Sixty command lines as new users type them get the kind of answer that stands beside them."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner

from feedcalc.command_line.main import main

LINES = [
    [part.strip() for part in line.split(" | ", 2)]
    for line in Path(__file__).with_name("command_lines.txt").read_text(encoding="utf-8").splitlines()
    if line and not line.startswith("#")
]


def test_there_are_sixty():
    assert len(LINES) >= 60


@pytest.mark.parametrize(("code", "words", "typed"), LINES, ids=[typed for _, _, typed in LINES])
def test_a_command_line_gets_the_kind_of_answer_that_its_user_expects(code, words, typed, tmp_path, monkeypatch):
    monkeypatch.setenv("FEEDCALC_BOOK", str(tmp_path / "book.sqlite"))
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(main, shlex.split(typed)[1:])
    told = " ".join(result.output.split())
    assert result.exit_code == int(code), told
    assert "Traceback" not in told
    for word in words.split(";"):
        assert word.strip() in told
