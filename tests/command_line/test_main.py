"""The command line: verbs, exit codes, standard output and standard error."""

from __future__ import annotations

import json
import os
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from feedcalc.command_line import batch
from feedcalc.command_line.main import main
from feedcalc.command_line.terminal import text_width
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
        ("settle", ["Settling", "µm", "we found no source for that"]),
        ("ladder", ["1:3", "1:20", "seedling", "Often done, no source found"]),
        ("delivery", ["potassium", "a square", "lime value"]),
    ],
)
def test_each_verb_answers_for_the_demo_without_options(verb, words):
    result = run(verb)
    assert result.exit_code == 0
    assert result.stderr == ""
    assert "This is a demo." in result.stdout
    folded = " ".join(result.stdout.split())
    for word in words:
        assert word in folded


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
    note, _, sheet = run_for_real("sheet").stdout.partition("\n")
    assert "demo" in note
    assert demo.stdout == sheet
    assert demo.returncode == 0


@pytest.mark.parametrize("writing", [["--language", "de"], ["--locale", "de-DE"], ["--customs", "us"]], ids=" ".join)
def test_options_of_writing_alone_keep_the_demo(writing):
    plain, written = (json.loads(run("sheet", *more, "--json").stdout) for more in ([], writing))
    for reply in (plain, written):
        assert reply["values"]["batch"]["parts_water"] == plain["values"]["batch"]["parts_water"]


# -- the short sheet ----------------------------------------------------------------------------------------------

ORDINARY = [
    [],
    ["--can", "2 x 9 L", "--kind", "oak", "--state", "aged", "--plant", "tomato", "--soil-ph", "6.2"],
    ["--ash", "1 cup", "--water", "5 L"],
    ["--can", "2 x 2 gal", "--customs", "us", "--start", "2026-05-01T09:00"],
]


@pytest.mark.parametrize("tongue", languages.LANGUAGES)
@pytest.mark.parametrize("options", ORDINARY, ids=" ".join)
def test_the_sheet_takes_at_most_sixty_lines_of_eighty_columns(options, tongue):
    result = run("sheet", *options, "--language", tongue)
    lines = result.stdout.splitlines()
    assert len(lines) <= 60
    assert max(map(text_width, lines)) <= 80


@pytest.mark.parametrize("tongue", languages.LANGUAGES)
def test_every_caution_of_the_danger_begins_a_line(tongue):
    _, words = calculate_markdown(json.dumps({**json.loads(demo_request()), "language": tongue}), "short")
    (cautions,) = (line.split("**!** ")[1:] for line in words.splitlines() if line.startswith("- **!** "))
    lines = [
        line.removeprefix("!\u00a0") for line in run("sheet", *ORDINARY[1], "--language", tongue).stdout.splitlines()
    ]
    for caution in cautions:
        assert any(line and caution.startswith(line) for line in lines), caution


def test_the_sheet_keeps_the_first_two_cautions_of_every_step():
    _, full = calculate_markdown(demo_request(), "sheet")
    cautions = [line.split("**!** ", 1)[1] for line in full.splitlines() if line.lstrip().startswith("- **!** ")]
    short = " ".join(run("sheet").stdout.split())
    assert len(cautions) > 15
    for caution in cautions:
        assert caution.split(". ")[0] in short, caution


def test_the_full_sheet_has_every_caution_table_and_source():
    full = run("sheet", "--full").stdout
    for words in ("More cautions", "What stays in the sludge", "Limits used", "What we assumed"):
        assert words in full


@pytest.mark.parametrize("width", ["40", "80"])
@pytest.mark.parametrize("verb", ["ladder", "delivery", "air", "settle", "sheet --full", "plants tomato"])
def test_nothing_is_cut_off_however_narrow_the_terminal(monkeypatch, width, verb):
    monkeypatch.setenv("COLUMNS", width)
    shown = run(*verb.split()).stdout
    assert "…" not in shown
    if width == "80":
        assert max(map(text_width, shown.splitlines())) <= 80
    for word in {"ladder": ["alkalinity", "established"], "delivery": ["potassium", "magnesium"]}.get(verb, []):
        assert word in shown


# -- saved and asked again ----------------------------------------------------------------------------------------


def test_a_saved_request_gives_the_same_answer_to_other_verbs(tmp_path):
    file = tmp_path / "batch.json"
    saved = run("sheet", "--can", "2 x 9 L", "--kind", "oak", "--save", str(file), "--json")
    assert f"Saved: {file}" in saved.stderr
    assert run("sheet", "--from", str(file), "--json").stdout == saved.stdout
    assert run("label", str(file)).exit_code == 0


def test_a_request_saved_to_standard_output_is_all_that_is_written_there():
    saved = run("sheet", "--ash", "1 cup", "--water", "5 L", "--save", "-")
    assert json.loads(saved.stdout) == {"schema": 1, "ash": {"amount": "1 cup"}, "water": {"amount": "5 L"}}


def test_a_request_saved_to_a_pipe_goes_through_it_and_leaves_it_there(tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        assert run("sheet", "--can", "9 L", "--save", str(pipe)).exit_code == 0
        assert json.loads(os.read(reader, 10_000))["cans"][0]["size"] == "9 L"
        assert pipe.is_fifo()
    finally:
        os.close(reader)


def test_a_safe_recipe_goes_to_standard_output(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    told = run("judge", "1 glass of ash to 10 litres", "--safe", "-").stdout
    assert json.loads(told[told.index("{") :])["ash"] == {"amount": "1 glass"}
    assert not any(tmp_path.iterdir())


def test_a_request_with_a_byte_order_mark_is_read():
    assert run("calculate", typed='\ufeff{"schema": 1, "ranges": "off"}').exit_code == 0


# -- language -----------------------------------------------------------------------------------------------------


def test_the_language_of_the_system_is_followed_unless_another_is_asked_for(monkeypatch):
    monkeypatch.setenv("LC_ALL", "de_DE.UTF-8")
    assert "Ansatzblatt" in run("sheet").stdout
    assert "2,8 L" in run("sheet").stdout.replace("\u00a0", " ")
    assert "Batch sheet" in run("sheet", "--language", "en").stdout
    assert "Etikett" in run("label").stdout or "ätzend" in run("label").stdout.casefold()
    assert json.loads(run("sheet", "--json").stdout) == json.loads(calculate(demo_request()))


def test_what_was_read_is_told():
    shown = " ".join(run("sheet", "--ash", "1 cup", "--water", "5 L", "--kind", "oak").stdout.split())
    assert "1 cup is 284.131 mL (UK cup)" in shown
    assert "oak: counted as hardwood" in shown


# -- refusals -----------------------------------------------------------------------------------------------------


def test_a_refused_request_ends_with_1_and_names_every_fault_on_standard_error():
    result = run("sheet", "--ash", "5", "--water", "five litres", "--kind", "painted pine")
    assert result.exit_code == 1
    assert result.stdout == ""
    for words in (
        *("--ash: The unit is missing.", "--water: There is no number here.", "--kind: ", "never use this ash"),
        "Accepted:",
    ):
        assert words in result.stderr


@pytest.mark.parametrize(
    ("options", "named"),
    [
        (["--can", "many"], "--can: "),
        (["--save", "/nowhere/batch.json"], "--save: This can't be written"),
        (["--my-ash", "none such"], "--my-ash: "),
        (["--acid", "vinegar"], "--target-ph: "),
        (["--texture", "loom"], "Did you mean loam?"),
        (["--kind", "lackiert"], "never use this ash"),
    ],
    ids=" ".join,
)
def test_a_refusal_names_the_option_that_was_typed(options, named, monkeypatch, tmp_path):
    monkeypatch.setenv("FEEDCALC_BOOK", str(tmp_path / "book.sqlite"))
    result = run("sheet", *options)
    assert result.exit_code == 1
    assert named in result.stderr


def test_a_refusal_of_what_a_file_says_names_its_field():
    result = run("sheet", "--from", "-", typed='{"schema": 1, "cans": [{"size": "many"}]}')
    assert "cans.0.size: " in result.stderr


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
    monkeypatch.setattr(languages, "_installed", lambda file_name: None)
    languages.language.cache_clear()
    render._templates.cache_clear()
    yield
    languages.language.cache_clear()
    render._templates.cache_clear()


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
    "words", [("--language", "de"), ("--locale", "fr-FR"), ("--language", "hi", "--customs", "uk")]
)
def test_the_demo_stays_the_demo_where_only_its_words_are_chosen(words):
    plain, told = (json.loads(run("sheet", *options, "--json").stdout)["values"] for options in ((), words))
    assert told["verdict"] == plain["verdict"]
    for name in ("water_volume", "parts_water", "cans"):
        assert told["batch"][name] == plain["batch"][name]
    # Cups of another size measure a little more or less ash.
    assert told["batch"]["ash_mass"]["value"] == pytest.approx(plain["batch"]["ash_mass"]["value"], rel=0.1)


def test_the_demo_with_us_customs_is_the_same_one_in_us_measures():
    plain, told = (json.loads(run("sheet", *words, "--json").stdout)["values"] for words in ((), ("--customs", "us")))
    assert (told["verdict"], told["batch"]["parts_water"]) == (plain["verdict"], plain["batch"]["parts_water"])
    for theirs, ours in zip(told["batch"]["cans"], plain["batch"]["cans"], strict=True):
        assert (theirs["size"], theirs["count"]) == (ours["size"], ours["count"])
    # A quarter of a US cup is the mark that the water is measured to.
    assert told["batch"]["water_volume"]["value"] == pytest.approx(plain["batch"]["water_volume"]["value"], rel=0.03)
    assert "2 × 10½ quarts" in " ".join(run("sheet", "--customs", "us").stdout.replace("\u00a0", " ").split())


def test_a_language_writes_the_numbers_of_the_demo_its_own_way():
    assert "2,8 L" in run("sheet", "--language", "de").stdout.replace("\u00a0", " ")
