"""`feedcalc label` as a grower meets it: forms by ending, refusals, what goes to which stream."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result

from feedcalc.command_line import main
from feedcalc.engine import demo_request

HOSTILE = "<img src=x onerror=alert(1)>\u202e\u0007"


def run(*arguments: str, typed: str | None = None) -> Result:
    result = CliRunner().invoke(main, ["label", *arguments], input=typed)
    assert "Traceback" not in result.output
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


@pytest.mark.parametrize("ending", [".svg", ".html", ".txt", ".SVG"])
def test_each_ending_gives_its_form_with_the_same_warning(tmp_path: Path, ending: str):
    request, out = tmp_path / "batch.json", tmp_path / f"label{ending}"
    request.write_text(demo_request(), encoding="utf-8")
    result = run(str(request), "--size", "a6", "--name", HOSTILE, "--out", str(out))
    assert result.exit_code == 0, result.output
    text = out.read_text(encoding="utf-8")
    assert "DANGER" in text
    assert "P305+P351+P338" in text
    if ending == ".txt":
        assert "<img src=x onerror=alert(1)>\n" in text
    else:
        assert "<img" not in text
        assert "&lt;img" in text
    if ending.lower() == ".svg":
        ElementTree.fromstring(text)


def test_without_a_file_it_is_the_demo_and_without_out_it_is_text():
    result = run()
    assert result.exit_code == 0
    assert result.stdout.startswith("WOOD-ASH LIQUOR\nDANGER\n")
    assert run("-", typed=demo_request()).stdout == result.stdout


def test_a_size_too_small_is_refused_names_those_that_would_do_and_leaves_no_file(tmp_path: Path):
    result = run("--size", "A8", "--out", str(tmp_path / "label.svg"))
    assert result.exit_code == 1
    assert "can't hold the cautions" in result.stderr
    assert "A7" in result.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("name", ["label.png", "label", "label.pdf.exe"])
def test_an_ending_we_do_not_write_is_a_wrong_use_that_names_those_we_do(tmp_path: Path, name: str):
    result = run("--out", str(tmp_path / name))
    assert result.exit_code == 2
    assert ".pdf, .svg, .html or .txt" in result.stderr
    assert not list(tmp_path.iterdir())


def test_what_found_no_room_is_said_on_standard_error(tmp_path: Path):
    result = run("--size", "A7", "--address", "https://example.org/f.html", "--out", str(tmp_path / "label.svg"))
    assert result.exit_code == 0
    assert "the code to scan" in result.stderr


def test_a_faulty_request_is_refused_field_by_field():
    result = run("-", typed=json.dumps({"schema": 1, "water": {"amount": "five"}, "stage": "old"}))
    assert result.exit_code == 1
    assert "water.amount" in result.stderr
    assert "stage" in result.stderr
    assert result.stdout == ""


def test_a_folder_that_is_not_there_is_said_in_a_line(tmp_path: Path):
    result = run("--out", str(tmp_path / "none" / "label.svg"))
    assert result.exit_code == 1
    assert "can't be written" in result.stderr
