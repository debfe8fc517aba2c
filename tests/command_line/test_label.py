"""``feedcalc label`` and ``wall``: file formats, refusals, standard output and standard error."""

from __future__ import annotations

import html
import json
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result

from feedcalc.command_line.main import main
from feedcalc.engine import demo_request

HOSTILE = "<img src=x onerror=alert(1)>"


def run(*arguments: str, typed: str | None = None) -> Result:
    result = CliRunner().invoke(main, ["label", *arguments], input=typed)
    assert "Traceback" not in result.output
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


@pytest.mark.parametrize("ending", [".svg", ".html", ".txt", ".SVG"])
def test_every_file_format_has_the_same_warning(tmp_path: Path, ending: str):
    request, out = tmp_path / "batch.json", tmp_path / f"label{ending}"
    request.write_text(demo_request(), encoding="utf-8")
    result = run(str(request), "--size", "a6", "--name", HOSTILE, "--out", str(out))
    assert result.exit_code == 0, result.output
    text = out.read_text(encoding="utf-8")
    assert "DANGER" in text
    assert "P280" in text
    assert "H314" in text
    if ending == ".txt":
        assert "<img src=x onerror=alert(1)>\n" in text
    else:
        assert "<img" not in text
        assert "&lt;img" in text
    if ending.lower() == ".svg":
        ElementTree.fromstring(text)


def test_the_default_is_the_demo_batch_as_text():
    result = run()
    assert result.exit_code == 0
    assert result.stdout.startswith("WOOD-ASH LIQUOR\nDANGER\n")
    assert run("-", typed=demo_request()).stdout == result.stdout


def test_a_size_that_is_too_small_is_refused_with_the_sizes_that_fit_and_writes_no_file(tmp_path: Path):
    result = run("--size", "A8", "--out", str(tmp_path / "label.svg"))
    assert result.exit_code == 1
    assert "can't hold the cautions" in result.stderr
    assert "A7" in result.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("name", ["label.png", "label", "label.pdf.exe"])
def test_an_unknown_ending_is_a_usage_error_that_names_the_known_ones(tmp_path: Path, name: str):
    result = run("--out", str(tmp_path / name))
    assert result.exit_code == 2
    assert ".pdf, .svg, .html or .txt" in result.stderr
    assert not list(tmp_path.iterdir())


def test_blocks_that_do_not_fit_are_named_on_standard_error(tmp_path: Path):
    result = run("--size", "A7", "--address", "https://example.org/f.html", "--out", str(tmp_path / "label.svg"))
    assert result.exit_code == 0
    assert "the code to scan" in result.stderr


@pytest.mark.parametrize("name", ["Oak\u202eyaM", "Oak\u200f", "Oak\u0007"])
@pytest.mark.parametrize("verb", ["label", "wall"])
def test_a_name_with_hidden_characters_is_refused(verb, name):
    refused = CliRunner().invoke(main, [verb, "--name", name])
    assert refused.exit_code == 1
    assert refused.stderr.startswith("--name: ")


def test_a_name_that_is_shortened_is_told(tmp_path):
    result = run("--name", "Oak " * 30, "--out", str(tmp_path / "label.svg"))
    assert "was shortened" in result.stderr


def test_a_label_for_the_can_tells_the_dilution_and_the_hazard_of_the_feed():
    text = run("--for", "can").stdout
    assert "DILUTED WOOD-ASH FEED" in text
    assert "Ready to use. Do not dilute again." in text
    assert "1:8" in text
    assert run("--for", "bottle").stdout == run().stdout
    assert run("--for", "barrel").stderr.startswith("--for: ")


def test_a_bottle_has_at_most_six_precautions_and_the_stricter_first_aid_alone():
    text = run().stdout
    assert 1 <= len(re.findall(r"\(P\d+", text)) <= 6
    assert "at least 20 minutes" in text
    assert "several minutes" not in text


@pytest.mark.parametrize(
    ("size", "language"),
    [("A4", "en"), ("A4", "hi"), ("A4", "de"), ("Letter", "de"), ("Letter", "es"), ("Letter", "hi")],
)
def test_no_caution_is_left_out_of_a_wall_sheet(tmp_path, language, size):
    out = tmp_path / "wall.html"
    told = CliRunner().invoke(main, ["wall", "--size", size, "--language", language, "--out", str(out)])
    assert told.exit_code == 0
    drawn = "".join(re.findall(r"[^\W_]+", re.sub(r"<[^>]+>", "", html.unescape(out.read_text(encoding="utf-8")))))
    plain = CliRunner().invoke(main, ["wall", "--size", size, "--language", language]).stdout
    cautions = [line.strip()[2:] for line in plain.splitlines() if line.strip().startswith("! ")]
    assert len(cautions) > 10
    for caution in cautions:
        assert "".join(re.findall(r"[^\W_]+", caution)) in drawn, caution


def test_the_demo_writes_numbers_as_its_language_does():
    text = run("--language", "de").stdout
    assert re.search(r"pH [^\n]*\d,\d", text)
    assert not re.search(r"\d\.\d", text)


def test_a_faulty_request_is_refused_field_by_field():
    result = run("-", typed=json.dumps({"schema": 1, "water": {"amount": "five"}, "stage": "ripe"}))
    assert result.exit_code == 1
    assert "water.amount" in result.stderr
    assert "stage" in result.stderr
    assert result.stdout == ""


def test_a_sheet_of_several_pages_becomes_numbered_pictures(tmp_path: Path):
    request = tmp_path / "batch.json"
    request.write_text(demo_request(), encoding="utf-8")
    out = tmp_path / "sheet.svg"
    result = run(str(request), "--sheet", "2x2", "--start", "4", "--copies", "3", "--cut-marks", "--out", str(out))
    assert result.exit_code == 0, result.output
    assert [path.name for path in sorted(tmp_path.glob("*.svg"))] == ["sheet-1.svg", "sheet-2.svg"]
    assert result.stdout.split() == [str(tmp_path / "sheet-1.svg"), str(tmp_path / "sheet-2.svg")]
    assert (tmp_path / "sheet-2.svg").read_text(encoding="utf-8").count(">DANGER<") == 2


def test_files_of_requests_and_of_batches_make_a_label_of_each_batch(tmp_path: Path):
    one, many = tmp_path / "one.json", tmp_path / "many.json"
    request = json.loads(demo_request())
    one.write_text(demo_request(), encoding="utf-8")
    rows = [{"name": name, "request": request} for name in ("Oak, May", "Ash, June")]
    many.write_text(json.dumps({"format": "feedcalc batches", "version": 1, "batches": rows}), encoding="utf-8")
    result = run(str(one), str(many))
    assert result.exit_code == 0, result.output
    assert result.stdout.count("WOOD-ASH LIQUOR") == 3
    assert result.stdout.count("Batch: Oak, May") == result.stdout.count("Batch: Ash, June") == 1


def test_a_sheet_with_too_small_cells_is_refused_with_the_grids_that_fit(tmp_path: Path):
    result = run("--sheet", "3x8", "--margin", "5 mm", "--out", str(tmp_path / "sheet.pdf"))
    assert result.exit_code == 1
    assert "--sheet" in result.stderr
    assert "3 x 2" in result.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("ending", [".svg", ".html", ".txt"])
def test_the_wall_sheet_is_written_in_every_file_format(tmp_path: Path, ending: str):
    out = tmp_path / f"wall{ending}"
    result = CliRunner().invoke(main, ["wall", "--size", "letter", "--name", HOSTILE, "--out", str(out)])
    assert result.exit_code == 0, result.output
    text = (out if out.exists() else tmp_path / "wall-1.svg").read_text(encoding="utf-8")
    assert "DANGER" in text
    assert ("<img" in text) == (ending == ".txt")
    assert "215.90mm" in text or ending == ".txt"
    refused = CliRunner().invoke(main, ["wall", "--size", "A9"])
    assert refused.exit_code == 1
    assert "A4" in refused.stderr


def test_a_missing_folder_is_reported_in_one_line(tmp_path: Path):
    result = run("--out", str(tmp_path / "none" / "label.svg"))
    assert result.exit_code == 1
    assert "can't be written" in result.stderr
