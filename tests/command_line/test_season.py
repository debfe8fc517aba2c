"""``feedcalc season``: the table, the workers and the failures."""

from __future__ import annotations

import csv
import gc
import io
import os
import resource
import signal
import subprocess
import sys
import time
import tracemalloc
from concurrent.futures import Executor, Future
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner

from feedcalc.command_line.main import main
from feedcalc.command_line.plots import command as season_command
from feedcalc.command_line.plots import table as plot_table
from feedcalc.command_line.plots import workers as plot_workers
from feedcalc.command_line.plots.columns import PLAN_COLUMNS, header_of
from feedcalc.command_line.plots.failures import PlanningFailed
from feedcalc.command_line.plots.plan import plan_of
from feedcalc.command_line.plots.reading import TableRow, delimiter_of
from feedcalc.command_line.plots.table import PlanningJob, PlanningStopped, PlotChunk, plan_chunk, plan_plots
from feedcalc.command_line.plots.workers import hold_interrupts, map_in_order

SAMPLE = Path(__file__).parent.parent / "data" / "plots.csv"
TODAY = "2026-05-01"
HEADER = "plot,area,soil_ph,tested_with,texture,plant,ash,keeper\n"


def table(rows: int) -> str:
    """Plots of one ash on all sorts of ground; every tenth is of an ash that must not be used."""
    plants, textures = ("cabbage", "tomato", "potato", "leek"), ("sand", "loam", "clay")
    lines = (
        f"P{n},{4 + n % 7} m2,{5 + n % 23 / 10:.1f},meter,"
        f"{textures[n % 3]},{plants[n % 4]},{'coal' if n % 10 == 9 else 'mixed'},Ines\n"
        for n in range(rows)
    )
    return HEADER + "".join(lines)


def job_of(folder: Path, text: str | bytes, **more: object) -> PlanningJob:
    source = folder / "plots.csv"
    source.write_bytes(text.encode() if isinstance(text, str) else text)
    job = PlanningJob(source, folder / "plans.csv", folder / "plans.bad.csv", TODAY, customs="metric")
    return replace(job, **more)


def planned(job: PlanningJob) -> list[dict[str, str]]:
    plan_plots(job, lambda _: None, lambda _: None)
    return rows_of(job.out)


def rows_of(path: Path, delimiter: str = ",") -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as text:
        return list(csv.DictReader(text, delimiter=delimiter, strict=True))


def command(*arguments: str | Path):
    return CliRunner().invoke(main, ["season", *map(str, arguments)])


# -- the table ----------------------------------------------------------------------------------------------------


def test_the_sample_is_planned_row_by_row_and_its_bad_row_is_rejected(tmp_path):
    out = tmp_path / "plans.csv"
    done = command(SAMPLE, "--out", out, "--today", TODAY)
    assert done.exit_code == 3, done.output
    plots, plans = rows_of(SAMPLE), rows_of(out)
    assert [plan["plot"] for plan in plans] == [plot["plot"] for plot in plots if plot["plot"] != "11"]
    for plot, plan in zip(plots, plans, strict=False):
        assert {name: plan[name] for name in plot} == plot, "what stood in the table stands in the plans"
        expected = plan_of({name: text for name, text in plot.items() if name != "keeper"}, TODAY)
        for name in PLAN_COLUMNS:
            if isinstance(expected[name], float):
                assert float(plan[name]) == expected[name], name
            else:
                assert plan[name] == expected[name], name
    (bad,) = rows_of(tmp_path / "plans.bad.csv")
    assert (bad["aside_row"], bad["aside_line"], bad["plot"]) == ("12", "13", "11")
    assert "area: " in bad["aside_because"]
    assert "ash_kind: " in bad["aside_because"]
    assert "9 paces" in bad["aside_because"]
    assert "Plots planned: 11" in done.output
    assert "Rows left out: 1." in done.output


def test_corrected_rows_of_the_rejected_file_are_planned(tmp_path):
    job = job_of(tmp_path, table(10))
    planned(job)
    mended = job.rejected.read_text(encoding="utf-8").replace(",coal,", ",oak,")
    (plan,) = planned(job_of(tmp_path, mended))
    assert plan["plot"] == "P9"
    assert plan["verdict"]
    assert not any(name.startswith("aside_") for name in plan)


def test_rows_that_are_set_aside_again_have_their_reasons_once(tmp_path):
    job = job_of(tmp_path, table(10))
    plan_plots(job, lambda _: None, lambda _: None)
    once = job.rejected.read_bytes()
    plan_plots(job_of(tmp_path, once), lambda _: None, lambda _: None)
    again = rows_of(job.rejected)
    assert list(again[0]) == ["aside_row", "aside_line", "aside_because", *HEADER.strip().split(",")]
    assert again[0]["plot"] == "P9"


@pytest.mark.parametrize("name", ["kind", "Ash kind", "fuel", "Holzart", "bois"])
def test_a_painted_wood_is_never_planned_whatever_its_column_is_called(tmp_path, name):
    job = job_of(tmp_path, f"plot,{name},soil_ph\nA,painted wood,6\nB,oak,6\n")
    assert [plan["plot"] for plan in planned(job)] == ["B"]


def test_plans_go_into_a_pipe_that_has_a_name(tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        plan_plots(job_of(tmp_path, table(2), out=pipe), lambda _: None, lambda _: None)
        assert os.read(reader, 10_000).startswith(b"plot,area,")
        assert pipe.is_fifo()
    finally:
        os.close(reader)


def test_a_table_of_plans_can_be_planned_again(tmp_path):
    job = job_of(tmp_path, table(5))
    first = planned(job)
    warnings: list[str] = []
    plan_plots(job_of(tmp_path, job.out.read_bytes()), lambda _: None, warnings.append)
    assert rows_of(job.out) == first
    (told,) = warnings
    assert all(name in told for name in PLAN_COLUMNS)


@pytest.mark.parametrize(
    "text",
    [
        "plot;area;soil_ph\nNorth;4,5 m2;5,8\n",
        "plot\tarea\tsoil_ph\nNorth\t4.5 m2\t5.8\n",
        "\ufeffplot,area,soil_ph\r\nNorth,4.5 m2,5.8\r\n",
        'plot,"area","soil_ph"\n\nNorth,"4.5 m2","5.8"\n\n',
        "Plot,soil.area,Soil pH\nNorth,4.5 m2,5.8",
    ],
    ids=["semicolons and commas", "tabs", "mark of spreadsheets", "quotes and empty lines", "other names"],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_a_table_is_read_as_spreadsheets_write_it(tmp_path, text, encoding):
    job = job_of(tmp_path, text.removeprefix("\ufeff" if encoding == "utf-16" else "").encode(encoding))
    assert plan_plots(job, lambda _: None, lambda _: None).planned == 1
    (plan,) = rows_of(job.out, delimiter_of(text.splitlines()[0]))
    assert float(plan["dry_ash_g_per_m2"] or "nan") >= 0
    assert float(plan["feed_litres"] or 13.5) == 13.5  # 3 L on each of 4.5 m2


def workbook(path: Path, rows: list[list[object]]) -> Path:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    book.save(path)
    return path


def test_a_spreadsheet_gives_the_plans_of_the_same_table_as_csv(tmp_path):
    head = ["plot", "area", "soil_ph", "tested_on", "texture", "ash kind", "note", None]
    rows = [
        ["A", "6 m2", 6.125, date(2026, 3, 1), "loam", "oak", "=1+1", None],
        [None] * 8,
        ["B", "4 m2", 7, date(2026, 3, 2), "sand", "coal", None, None],
        [" C\nD", "4 m2", 5.5, datetime(2026, 3, 2), "sand", None, "-", None],
    ]
    source = workbook(tmp_path / "plots.xlsx", [head, *rows])
    same = [head[:-1]] + [[str(cell or "") for cell in row[:-1]] for row in rows]
    same[1][-1] = ""  # a formula that no program has worked out
    same[1][2] = "6.1250"  # 6.125 would be thousands in German
    same[4][0], same[4][3] = "C D", "2026-03-02"
    lines = [",".join(cells) for cells in same]
    expected = planned(job_of(tmp_path, "\n".join(lines), locale="de-DE"))
    done = command(
        source, "--out", tmp_path / "plans.xlsx", "--today", TODAY, "--customs", "metric", "--locale", "de-DE"
    )
    assert done.exit_code == 3, done.output
    sheet = openpyxl.load_workbook(tmp_path / "plans.xlsx").active
    names, *plans = [list(row) for row in sheet.iter_rows(values_only=True)]
    assert [plan[names.index("plot")] for plan in plans] == ["A", "C D"]
    for plan, other in zip(plans, expected, strict=True):
        for name, cell in zip(names, plan, strict=True):
            if name != "soil_ph":
                assert str("" if cell is None else cell).removesuffix(".0") == other[name].removesuffix(".0"), name
    assert isinstance(plans[0][names.index("dry_ash_g")], int | float)
    (bad,) = list(openpyxl.load_workbook(tmp_path / "plans.bad.xlsx").active.iter_rows(values_only=True))[1:]
    assert bad[:2] == (2, 4), "the row of the table, and the line where a spreadsheet shows it"
    assert sorted(path.name for path in tmp_path.iterdir() if path.suffix not in (".csv", ".xlsx")) == []


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"PK\x03\x04 and no more", "can't be read as a spreadsheet"), (b"\xd0\xcf\x11\xe0" * 4, "of an old kind")],
)
def test_a_damaged_or_old_spreadsheet_is_reported_in_one_line(tmp_path, content, words):
    (tmp_path / "plots.xlsx").write_bytes(content)
    done = command(tmp_path / "plots.xlsx", "--out", tmp_path / "plans.csv")
    assert done.exit_code == 1
    assert words in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_without_the_package_for_spreadsheets_the_command_says_what_to_install(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    done = command(SAMPLE, "--out", tmp_path / "plans.xlsx")
    assert done.exit_code == 1
    assert "pip install 'feedcalc[xlsx]'" in done.stderr
    assert not list(tmp_path.iterdir())


def test_a_name_may_contain_line_breaks_delimiters_and_quotes(tmp_path):
    name = 'the "long", old\nbed'
    job = job_of(tmp_path, 'plot,ash\n"the ""long"", old\nbed",oak\nnext,coal\n')
    assert [plan["plot"] for plan in planned(job)] == [name]
    assert [(bad["aside_row"], bad["aside_line"]) for bad in rows_of(job.rejected)] == [("2", "4")]


@pytest.mark.parametrize(
    "row", ["North,4 m2\n", "North,4 m2,5.8,6\n", 'North,4 m2,"5.8"x\n', f"North,{'4' * 30000},5\n"]
)
def test_a_row_that_does_not_fit_the_header_is_rejected_alone(tmp_path, row):
    job = job_of(tmp_path, f"plot,area,soil_ph\n{row}South,4 m2,5.8\n")
    assert [plan["plot"] for plan in planned(job)] == ["South"]
    (bad,) = rows_of(job.rejected) if row.count(",") == 2 else [next(iter(csv.DictReader(job.rejected.open())))]
    assert bad["aside_because"]


def test_an_unclosed_quote_costs_only_the_rows_inside_it(tmp_path):
    text = table(2000).replace("P5,", '"P5,', 1)
    done = plan_plots(job_of(tmp_path, text), lambda _: None, lambda _: None)
    assert done.planned > 1000


def test_no_cell_is_written_as_a_formula(tmp_path):
    evil = ["=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "\t=1", "＝1+1", " =1+1"]
    quoted = "".join(f'"{name}",oak,-4.5\n"{name}",coal,-4.5\n' for name in evil)
    job = job_of(tmp_path, "plot,ash,=height\n" + quoted)
    plans = planned(job)
    assert [plan["plot"] for plan in plans] == ["'" + name for name in evil]
    assert [bad["plot"] for bad in rows_of(job.rejected)] == ["'" + name for name in evil]
    assert {plan["'=height"] for plan in plans} == {"-4.5"}, "a number stays one"


def test_a_misspelt_column_is_named_once(tmp_path):
    source = tmp_path / "plots.csv"
    source.write_text("plot,soil_hp\na,5.8\nb,5.8\n")
    done = command(source, "--out", tmp_path / "plans.csv")
    assert done.stderr.count("soil_hp") == 1
    assert [plan["soil_hp"] for plan in rows_of(tmp_path / "plans.csv")] == ["5.8", "5.8"]


def test_the_delimiter_and_the_file_of_rejected_rows_can_be_chosen(tmp_path):
    source, aside = tmp_path / "plots.csv", tmp_path / "to mend.csv"
    source.write_text("plot|a,b|ash_kind\nNorth|1,2|oak\nSouth|3,4|coal\n")
    done = command(source, "--out", tmp_path / "plans.csv", "--delimiter", "|", "--aside", aside)
    assert done.exit_code == 3, done.output
    assert [plan["a,b"] for plan in rows_of(tmp_path / "plans.csv", "|")] == ["1,2"]
    assert [bad["plot"] for bad in rows_of(aside, "|")] == ["South"]
    source.write_text("plot\tsoil_ph\nNorth\t5.8\n")
    assert command(source, "--out", tmp_path / "plans.csv", "--delimiter", "tab").exit_code == 0
    assert command(source, "--out", tmp_path / "plans.csv", "--delimiter", "ab").exit_code == 2


def test_without_a_terminal_progress_is_shown_in_plain_lines(tmp_path, monkeypatch):
    monkeypatch.setattr(season_command, "SECONDS_BETWEEN_LINES", 0.0)
    source = tmp_path / "plots.csv"
    source.write_text(table(600))
    done = command(source, "--out", tmp_path / "plans.csv", "--processes", "1")
    lines = [line for line in done.stderr.splitlines() if "of these held back" in line]
    assert len(lines) == 3, "one for each chunk"
    assert lines[-1].startswith("Plots planned: 540")
    assert lines[-1].endswith("(100%)")
    assert "\x1b" not in done.output, "no terminal, no colours"


# -- who does the work --------------------------------------------------------------------------------------------


def test_one_process_and_many_and_a_cluster_write_the_same_bytes(tmp_path):
    written = {}
    for name, more in {"1": {}, "2": {"processes": 2}, "cluster": {"processes": 2, "cluster": "local"}}.items():
        folder = tmp_path / name
        folder.mkdir()
        job = job_of(folder, table(120), chunk_rows=10, **more)
        done = plan_plots(job, lambda _: None, lambda _: None)
        assert (done.planned, done.rejected, done.rows) == (108, 12, 120)
        written[name] = job.out.read_bytes(), job.rejected.read_bytes()
    assert written["1"] == written["2"] == written["cluster"]


class LazyExecutor(Executor):
    """An executor that works only when a result is asked for, and counts the most tasks that waited at once."""

    def __init__(self) -> None:
        self.waiting = self.most = 0

    def submit(self, work, /, *arguments, **named):
        self.waiting += 1
        self.most = max(self.most, self.waiting)
        executor = self

        class Asked(Future):
            def result(self, timeout=None):
                executor.waiting -= 1
                return work(*arguments, **named)

        return Asked()


def test_no_more_chunks_are_submitted_than_allowed():
    header = header_of(["plot"])
    chunks = [PlotChunk(header, (TableRow(n, n, (f"P{n}", "x"), "no"),), ",", TODAY, "", "", ".") for n in range(50)]
    taken = 0

    def taking():
        nonlocal taken
        for chunk in chunks:
            taken += 1
            yield chunk

    executor = LazyExecutor()
    for count, done in enumerate(map_in_order(plan_chunk, taking(), executor, 6)):
        assert f"P{count}," in done.rejected
        assert taken <= count + 7
    assert executor.most == 6
    assert executor.waiting == 0


def test_memory_does_not_grow_with_the_table(tmp_path):
    def peak(rows: int) -> int:
        job = job_of(tmp_path, table(rows), chunk_rows=25)
        gc.freeze()  # looking for garbage among all that other tests left would take twenty times as long
        tracemalloc.start()
        try:
            plan_plots(job, lambda _: gc.collect(), lambda _: None)  # what is garbage is not kept
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()
            gc.unfreeze()

    planned(job_of(tmp_path, table(1200)))  # what many plots share is worked out once, and kept, before
    small, large = peak(200), peak(1200)
    plans = (tmp_path / "plans.csv").stat().st_size
    assert large - small < plans / 4, "a run that kept its rows would grow by at least the plans it wrote"


def test_a_cluster_without_its_packages_says_what_to_install(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    done = command(SAMPLE, "--out", tmp_path / "plans.csv", "--cluster", "local")
    assert done.exit_code == 1
    assert "pip install 'feedcalc[cluster]'" in done.stderr
    assert done.stderr.count("\n") == 1


def test_a_cluster_that_does_not_answer_is_named(tmp_path, monkeypatch):
    monkeypatch.setattr(plot_workers, "CLUSTER_WAIT", "1s")
    with pytest.raises(PlanningFailed, match=r"tcp://127\.0\.0\.1:9"):
        plan_plots(job_of(tmp_path, table(3), cluster="tcp://127.0.0.1:9"), lambda _: None, lambda _: None)


# -- what goes wrong ----------------------------------------------------------------------------------------------


def test_where_no_row_can_be_planned_the_command_fails_and_keeps_the_reasons(tmp_path):
    source, out = tmp_path / "plots.csv", tmp_path / "plans.csv"
    source.write_text("plot,ash\na,coal\nb,painted pine\n")
    done = command(source, "--out", out)
    assert done.exit_code == 1
    assert [bad["plot"] for bad in rows_of(tmp_path / "plans.bad.csv")] == ["a", "b"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (b"", "empty"),
        (b"plot,soil_ph\n", "no plot"),
        (b"colour,shape\nred,round\n", "No column"),
        (b"plot,ph,soil_ph\na,5,6\n", "soil_ph: This column means the same as the column ph."),
        (b"plot,soil_ph\nWei\xdfe,5.8\n", "UTF-8"),
        (b"plot,soil_ph\n" + b"x" * 1_100_000, "never ends"),
        (b'plot,"soil_ph\na,5.8\n', "header"),
    ],
    ids=["empty", "header only", "unknown columns", "column twice", "not UTF-8", "endless line", "open quote"],
)
def test_an_unreadable_table_is_reported_in_one_line(tmp_path, text, expected):
    source = tmp_path / "plots.csv"
    source.write_bytes(text)
    done = command(source, "--out", tmp_path / "plans.csv")
    assert done.exit_code == 1
    assert expected in done.stderr
    assert done.stderr.count("\n") == 1
    assert not (tmp_path / "plans.csv").exists()


@pytest.mark.parametrize(
    ("source", "out", "expected"),
    [
        ("nowhere.csv", "plans.csv", "can't be read"),
        (".", "plans.csv", "can't be read"),
        ("plots.csv", "no such folder/plans.csv", "can't be written"),
        ("plots.csv", "plots.csv", "three different files"),
    ],
)
def test_an_unusable_path_is_reported_in_one_line(tmp_path, source, out, expected):
    (tmp_path / "plots.csv").write_text(table(3))
    done = command(tmp_path / source, "--out", tmp_path / out)
    assert done.exit_code == 1
    assert expected in done.stderr
    assert done.stderr.count("\n") == 1
    assert (tmp_path / "plots.csv").read_text() == table(3)


def test_a_full_disk_is_reported_and_keeps_earlier_plans(tmp_path):
    source, out = tmp_path / "plots.csv", tmp_path / "plans.csv"
    source.write_text(table(400))
    out.write_text("earlier")
    done = subprocess.run(
        [sys.executable, "-m", "feedcalc", "season", source, "--out", out, "--processes", "1"],
        capture_output=True,
        text=True,
        # The system's own limit stands for the disk: a write beyond it fails like one to a full disk.
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000)),
    )
    assert done.returncode == 1
    assert "can't be written" in done.stderr
    assert "Traceback" not in done.stderr
    assert out.read_text() == "earlier"


def test_the_plans_so_far_are_kept_when_a_run_is_stopped(tmp_path):
    job = job_of(tmp_path, table(100), chunk_rows=10)
    job.out.write_text("earlier")

    def on_progress(progress: plot_table.Progress) -> None:
        if progress.rows >= 50:
            raise KeyboardInterrupt

    with pytest.raises(PlanningStopped) as caught:
        plan_plots(job, on_progress, lambda _: None)
    assert caught.value.progress.rows == 50
    assert len(rows_of(caught.value.kept)) == 45
    assert job.out.read_text() == "earlier"


def allow_interrupts() -> None:
    """Let a child process be interrupted even if the tests run in the background, where a shell ignores interrupts."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@pytest.mark.parametrize("workers", [["2"], ["1", "--cluster", "local"]], ids=["processes", "cluster"])
def test_a_keyboard_interrupt_ends_the_run_with_a_message(tmp_path, workers):
    source, out, part = tmp_path / "plots.csv", tmp_path / "plans.csv", tmp_path / "plans.csv.part"
    source.write_text(table(60_000))
    running = subprocess.Popen(
        [sys.executable, "-m", "feedcalc", "season", source, "--out", out, "--processes", *workers],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=allow_interrupts,
    )
    while running.poll() is None and not (part.is_file() and part.stat().st_size > 5000):
        time.sleep(0.05)
    os.killpg(running.pid, signal.SIGINT)  # a terminal tells everyone
    _, words = running.communicate(timeout=60)
    assert running.returncode == 130
    assert "Stopped." in words
    assert str(part) in words
    assert "Traceback" not in words
    assert not out.exists()
    assert next(csv.DictReader(io.StringIO(part.read_text())))["verdict"]


def test_an_interrupt_is_held_until_it_is_asked_for_and_a_second_one_is_not():
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with hold_interrupts() as raise_held:
            raise_held()
            signal.raise_signal(signal.SIGINT)
            with pytest.raises(KeyboardInterrupt):
                raise_held()
            with pytest.raises(KeyboardInterrupt):
                signal.raise_signal(signal.SIGINT)
        assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
    finally:
        signal.signal(signal.SIGINT, before)


def test_an_interrupt_ends_the_wait_for_a_worker_that_never_answers():
    class Silent(Executor):
        def submit(self, work, /, *arguments, **named):
            signal.raise_signal(signal.SIGINT)
            return Future()

    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with hold_interrupts() as raise_held, pytest.raises(KeyboardInterrupt):
            next(map_in_order(plan_chunk, [None], Silent(), 4, raise_held))
    finally:
        signal.signal(signal.SIGINT, before)


def test_workers_do_not_outlive_a_run_that_is_killed(tmp_path):
    source, part = tmp_path / "plots.csv", tmp_path / "plans.csv.part"
    source.write_text(table(60_000))
    # Workers hold the run's standard error open, so that reading it ends only when the last of them has.
    running = subprocess.Popen(
        [sys.executable, "-m", "feedcalc", "season", source, "--out", tmp_path / "plans.csv", "--processes", "2"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    while running.poll() is None and not (part.is_file() and part.stat().st_size > 5000):
        time.sleep(0.05)
    running.kill()
    running.communicate(timeout=30)
    assert running.returncode == -signal.SIGKILL
    assert not (tmp_path / "plans.csv").exists()


def test_a_run_removes_the_rejected_rows_of_an_earlier_run(tmp_path):
    job = job_of(tmp_path, table(10))
    planned(job)
    assert job.rejected.exists()
    planned(job_of(tmp_path, table(10).replace("coal", "oak")))
    assert not job.rejected.exists()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["plans.csv", "plots.csv"]


def test_an_internal_error_in_a_row_rejects_only_that_row(tmp_path, monkeypatch):
    def failing(plot, *rest):
        if plot["plot"] == "P2":
            raise ZeroDivisionError
        return plan_of(plot, *rest)

    monkeypatch.setattr(plot_table, "plan_of", failing)
    job = job_of(tmp_path, table(5))
    assert [plan["plot"] for plan in planned(job)] == ["P0", "P1", "P3", "P4"]
    assert "ZeroDivisionError" in rows_of(job.rejected)[0]["aside_because"]
