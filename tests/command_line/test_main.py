"""The command line: verbs, exit codes, standard output and standard error."""

from __future__ import annotations

import json
import os
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from click.testing import CliRunner, Result

from feedcalc.command_line import batch
from feedcalc.command_line.main import main
from feedcalc.engine import calculate, calculate_markdown, demo_request
from feedcalc.sheets import render
from feedcalc.words import languages
from tests.asking import WEIGHED

SHEET_VERBS = ("sheet", "settle", "ladder", "delivery")
ESCAPE = "\x1b"


def run(*arguments: str, typed: str | None = None) -> Result:
    result = CliRunner().invoke(main, list(arguments), input=typed)
    assert "Traceback" not in result.output
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def run_for_real(*arguments: str, typed: str = "", **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "feedcalc", *arguments],
        input=typed,
        capture_output=True,
        text=True,
        encoding="utf-8",
        env={**os.environ, "PYTHONIOENCODING": "utf-8", **environment},
        check=False,
        timeout=60,
    )


@pytest.fixture
def request_file(tmp_path: Path) -> Path:
    path = tmp_path / "batch.json"
    path.write_text(json.dumps({"schema": 1, "ranges": "off", **WEIGHED}), encoding="utf-8")
    return path


# -- answers ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("verb", "words"),
    [
        ("sheet", ["Batch sheet", "Pour off", "Dilute", "Goggles"]),
        ("settle", ["Settling", "µm", "common practice, no source"]),
        ("ladder", ["1:3", "1:20", "seedling", "Common practice, no source"]),
        ("delivery", ["potassium", "a square metre", "lime value"]),
    ],
)
def test_each_verb_answers_for_the_demo_without_options(verb, words):
    result = run(verb)
    assert result.exit_code == 0
    assert result.stderr == ""
    for word in words:
        assert word in result.stdout


@pytest.mark.parametrize("verb", SHEET_VERBS)
def test_json_of_each_verb_is_the_whole_reply_of_the_engine(verb, request_file):
    result = run(verb, "--from", str(request_file), "--json")
    assert result.exit_code == 0
    assert json.loads(result.stdout) == json.loads(calculate(request_file.read_text(encoding="utf-8")))


def test_options_make_the_same_request_as_a_file(request_file):
    by_file = run("sheet", "--from", str(request_file), "--json")
    by_options = run(
        *("sheet", "--ash", "107 g", "--kind", "mixed", "--state", "aged", "--water", "5 L", "--water-kind", "rain"),
        *("--temperature", "20 degC", "--dilution", "1:10", "--json"),
    )
    assert json.loads(by_options.stdout)["values"]["liquor"]["ph"]["value"] == pytest.approx(
        json.loads(by_file.stdout)["values"]["liquor"]["ph"]["value"]
    )


def test_options_override_the_file(request_file):
    result = run("sheet", "--from", str(request_file), "--water", "4 L", "--can", "2 x 1,5 L", "--json")
    assert result.exit_code == 1 or json.loads(result.stdout)["values"]["batch"]["water_volume"]["value"] == 4
    result = run("sheet", "--from", str(request_file), "--water", "4 L", "--can", "2 x 5 L", "--json")
    batch = json.loads(result.stdout)["values"]["batch"]
    assert batch["water_volume"]["value"] == 4
    assert [(can["size"]["value"], can["count"]["value"]) for can in batch["cans"]] == [(5, 2)]


def test_the_option_for_cans_may_be_repeated():
    result = run("sheet", "--can", "2 x 9 L", "--can", "5 L", "--dilution", "1:10", "--json")
    cans = json.loads(result.stdout)["values"]["batch"]["cans"]
    assert [(can["size"]["value"], can["count"]["value"]) for can in cans] == [(9, 2), (5, 1)]


def test_a_request_may_come_by_standard_input(request_file):
    text = request_file.read_text(encoding="utf-8")
    assert run("sheet", "--from", "-", "--json", typed=text).stdout == run("calculate", typed=text).stdout


def test_calculate_reads_a_file_or_standard_input_and_writes_the_reply(request_file):
    text = request_file.read_text(encoding="utf-8")
    by_file, by_input = run("calculate", str(request_file)), run("calculate", typed=text)
    assert by_file.stdout == by_input.stdout
    assert by_file.exit_code == 0
    assert json.loads(by_file.stdout) == json.loads(calculate(text))


def test_the_demo_request_and_no_request_give_the_same_sheet():
    demo = run_for_real("sheet", "--from", "-", typed=demo_request())
    assert demo.stdout == run_for_real("sheet").stdout
    assert demo.returncode == 0


# -- refusals -----------------------------------------------------------------------------------------------------


def test_a_refused_request_ends_with_1_and_names_every_fault_on_standard_error():
    result = run("sheet", "--ash", "five cups", "--water", "5", "--kind", "painted pine")
    assert result.exit_code == 1
    assert result.stdout == ""
    for words in ("ash.amount", "water.amount", "The unit is missing.", "ash.kind", "never use this ash", "Accepted:"):
        assert words in result.stderr


def test_a_refused_calculation_still_writes_the_reply():
    result = run("calculate", typed='{"schema": 1, "water": {"amount": "five"}}')
    assert result.exit_code == 1
    reply = json.loads(result.stdout)
    assert [error["field"] for error in reply["errors"]] == ["water.amount"]


@pytest.mark.parametrize("text", ["", "not json", "[]", '{"schema": 9}'])
@pytest.mark.parametrize("arguments", [["sheet", "--from", "-"], ["sheet", "--from", "-", "--water", "5 L"]])
def test_a_file_that_is_no_request_is_refused(text, arguments):
    result = run(*arguments, typed=text)
    assert result.exit_code == 1
    assert result.stdout == ""
    assert "Accepted:" in result.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        ["sheet", "--colour", "green"],
        ["brew"],
        ["calculate", "no such file.json"],
        ["sheet", "--from", "no such file.json"],
        ["calculate", "one.json", "two.json"],
    ],
    ids=" ".join,
)
def test_a_usage_error_ends_with_2_and_points_to_the_help(arguments):
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "--help" in result.stderr or "Usage" in result.stderr


def test_a_file_that_is_not_text_ends_with_2(tmp_path):
    path = tmp_path / "picture.json"
    path.write_bytes(b"\x89PNG\xff\xfe\x00")
    for arguments in (["calculate", str(path)], ["sheet", "--from", str(path)]):
        result = run(*arguments)
        assert result.exit_code == 2
        assert "UTF-8" in result.stderr


@pytest.fixture
def no_catalogues(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """An installation without the catalogues of messages."""
    monkeypatch.setattr(languages, "resources", SimpleNamespace(files=lambda package: tmp_path))
    languages.language.cache_clear()
    render._templates.cache_clear()  # each keeps its language
    yield
    languages.language.cache_clear()


@pytest.mark.parametrize(
    "arguments",
    ["sheet", "calculate", "label", "plants", "book check", "ash show elm", "season plots.csv --out plans.csv"],
)
def test_a_language_without_its_catalogue_is_refused_in_words(no_catalogues, tmp_path, monkeypatch, arguments):
    monkeypatch.setenv("FEEDCALC_BOOK", str(tmp_path / "book.sqlite"))
    verb, *rest = arguments.split()
    german = [] if verb == "calculate" else ["--language", "de"]
    result = run(verb, *german, *rest, typed='{"schema": 1, "language": "de"}')
    assert result.exit_code == 1
    assert "lacks the words of this language" in result.output + result.stderr


# -- help ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("verb", SHEET_VERBS)
def test_help_of_each_verb_has_examples_that_work(verb):
    result = run(verb, "--help")
    assert result.exit_code == 0
    assert "Examples:" in result.stdout
    assert "feedcalc sheet --can" in result.stdout
    assert "caustic" in result.stdout


def test_every_example_of_the_help_is_answered(monkeypatch):
    def without_ranges(request: str, part: str) -> tuple[dict[str, Any], str]:
        document = json.loads(request)
        return calculate_markdown(request if "measured" in document else json.dumps(document | {"ranges": "off"}), part)

    monkeypatch.setattr(batch, "calculate_markdown", without_ranges)  # only readings need a sample of ashes here
    lines = [line.strip() for line in run("--help").stdout.splitlines()]
    examples = [line for line in lines if line.startswith("feedcalc ") and "batch.json" not in line]
    assert len(examples) >= 4
    for example in examples:
        command = example.removeprefix("feedcalc ").split("   ")[0]  # behind three spaces stands what it is
        assert run(*shlex.split(command)).exit_code == 0, example


def test_help_lists_every_verb():
    for verb in (*SHEET_VERBS, "calculate", "page"):
        assert verb in run("--help").stdout


# -- in a real process --------------------------------------------------------------------------------------------


def test_a_pipe_gets_no_colour_even_if_the_environment_forces_it():
    result = run_for_real("sheet", FORCE_COLOR="1", TERM="xterm-256color")
    assert result.returncode == 0
    assert ESCAPE not in result.stdout + result.stderr


@pytest.mark.parametrize(
    ("arguments", "typed", "code"),
    [
        (["calculate"], '{"schema": 1, "ranges": "off"}', 0),
        (["calculate"], "{}", 1),
        (["sheet", "--water", "five"], "", 1),
        (["sheet", "--nonsense"], "", 2),
    ],
    ids=["answered", "refused", "fault", "wrong use"],
)
def test_a_real_process_ends_with_the_code_of_its_outcome(arguments, typed, code):
    result = run_for_real(*arguments, typed=typed)
    assert result.returncode == code
    assert "Traceback" not in result.stderr


def test_a_closed_pipe_causes_no_traceback():
    process = subprocess.Popen(
        [sys.executable, "-m", "feedcalc", "sheet", "--json"], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    errors = process.stderr.read().decode()
    process.stderr.close()
    process.wait(timeout=60)
    assert "Traceback" not in errors


@pytest.mark.parametrize("encoding", ["ascii", "latin-1"])
def test_a_terminal_without_unicode_still_gets_the_sheet(encoding):
    result = subprocess.run(
        [sys.executable, "-m", "feedcalc", "settle"],
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": encoding},
        check=False,
        timeout=60,
    )
    assert b"Traceback" not in result.stderr
    assert result.returncode == 0
    assert b"Settling" in result.stdout


@pytest.mark.parametrize(
    "words", [("--language", "de"), ("--customs", "us"), ("--locale", "fr-FR"), ("--language", "hi", "--customs", "uk")]
)
def test_the_demo_stays_the_demo_where_only_its_words_are_chosen(words):
    plain, told = (json.loads(run("sheet", *options, "--json").stdout)["values"] for options in ((), words))
    assert told["verdict"] == plain["verdict"]
    for name in ("water_volume", "parts_water", "cans"):
        assert told["batch"][name] == plain["batch"][name]
    # Cups of another size measure a little more or less ash.
    assert told["batch"]["ash_mass"]["value"] == pytest.approx(plain["batch"]["ash_mass"]["value"], rel=0.1)


def test_a_language_writes_the_numbers_of_the_demo_its_own_way():
    assert "2,8 L" in run("sheet", "--language", "de").stdout.replace("\u00a0", " ")
