"""Two thousand plots as advisers note them: nearly all are planned, and every other row is told why."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from click.testing import CliRunner

from feedcalc.command_line.main import main
from tests.data import ordinary_plots

TODAY = "2026-05-01"
pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def planned(tmp_path_factory) -> tuple[Path, str]:
    """The folder of the results, and what was told on the way."""
    folder = tmp_path_factory.mktemp("plots")
    files = ["--out", str(folder / "plans.csv"), "--picture", str(folder / "summary.svg")]
    arguments = [
        "season",
        str(ordinary_plots.TABLE),
        *files,
        "--today",
        TODAY,
        "--processes",
        "1",
        "--decimal",
        "comma",
    ]
    done = CliRunner().invoke(main, arguments)
    assert done.exit_code == 3, done.output
    return folder, done.output


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as text:
        return list(csv.DictReader(text))


def test_the_table_is_what_its_script_writes():
    before = ordinary_plots.TABLE.read_bytes()
    ordinary_plots.main()
    assert ordinary_plots.TABLE.read_bytes() == before


def test_at_least_95_of_100_rows_are_planned_and_every_other_is_told_why(planned):
    folder, _ = planned
    plans, rejected = rows_of(folder / "plans.csv"), rows_of(folder / "plans.bad.csv")
    assert len(plans) + len(rejected) == ordinary_plots.ROWS
    assert len(plans) >= 0.95 * ordinary_plots.ROWS
    assert all(row["aside_because"] for row in rejected)
    for plan in plans:
        assert plan["verdict"] in ("go", "go weaker", "hold back")
        assert plan["reason_codes"]


def test_a_plot_whose_ash_of_this_year_is_unknown_gets_no_dry_ash(planned):
    folder, _ = planned
    unknown = [plan for plan in rows_of(folder / "plans.csv") if plan["Ash this year"] == "some"]
    assert len(unknown) > 50
    assert {plan["dry_ash_verdict"] for plan in unknown} == {"hold back"}
    assert {plan["dry_ash"] for plan in unknown} == {""}


def test_numbers_of_the_plans_have_the_decimal_mark_that_was_asked_for(planned):
    folder, _ = planned
    figures = {plan["feed_ph"] for plan in rows_of(folder / "plans.csv")} - {""}
    assert figures
    assert all("." not in figure for figure in figures)


def test_the_summary_counts_every_row_and_says_why_and_how_much_ash(planned):
    folder, told = planned
    assert "Rows left out:" in told
    assert "Dry ash for all plots that may get it:" in told
    assert "soil_stop, such as: Soil at pH" in told
    picture = (folder / "summary.svg").read_text(encoding="utf-8")
    assert picture.startswith("<svg")
    assert "Hold back" in picture or "hold back" in picture


def test_a_table_goes_through_pipes():
    text = ordinary_plots.TABLE.read_text(encoding="utf-8").splitlines(keepends=True)[:4]
    done = CliRunner().invoke(main, ["season", "-", "--out", "-", "--today", TODAY], input="".join(text))
    assert done.exit_code == 0, done.stderr
    assert len(list(csv.DictReader(done.stdout.splitlines()))) == 3
    assert "Plots planned: 3" in done.stderr
