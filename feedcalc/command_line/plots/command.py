"""The verb for many plots: ``feedcalc season PLOTS.csv --out PLANS.csv``.

It reads options, shows progress on standard error and reports the end; `feedcalc.command_line.plots.table` does the
work. Exit codes: 0 where every row was planned, 3 where some were set aside, 1 where none was planned or the run could
not be made, 130 where it was stopped, 2 for a wrong use of the command.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path

import click

from feedcalc.command_line.environment import usual_language
from feedcalc.command_line.files import is_stream, replace_file
from feedcalc.command_line.pdf import NoPdf, pdf_of
from feedcalc.command_line.plots.columns import COLUMNS
from feedcalc.command_line.plots.failures import PlanningFailed
from feedcalc.command_line.plots.reading import STANDARD
from feedcalc.command_line.plots.summary import summary_lines, summary_svg
from feedcalc.command_line.plots.table import PlanningJob, PlanningStopped, Progress, plan_plots
from feedcalc.command_line.plots.workbook import is_workbook
from feedcalc.command_line.refusals import refuse
from feedcalc.contract.units import CUSTOMS
from feedcalc.words.errors import InputErrors
from feedcalc.words.languages import LANGUAGES, LOCALES, USUAL_LOCALE
from feedcalc.words.languages import language as language_of
from feedcalc.words.messages import Speak, said, said_in

# Without a terminal, one line of progress in so many seconds.
SECONDS_BETWEEN_LINES = 10.0
# Exit code where plans were made, but not of every row.
ROWS_SET_ASIDE = 3

_COLUMN_LINES = "\n".join(f"  {column.name:<15} {column.meaning}" for column in COLUMNS)
EPILOG = f"""\b
Columns of PLOTS.csv, all optional; others are passed through:
{_COLUMN_LINES}

\b
Examples:
  feedcalc season plots.csv --out plans.csv
  feedcalc season plots.xlsx --out plans.xlsx --processes 2 --customs uk
  feedcalc season county.csv --out plans.csv --cluster tcp://10.0.0.5:8786"""


@click.command("season", epilog=EPILOG)
@click.argument("source", metavar="PLOTS.csv", type=click.Path(path_type=Path))
@click.option(
    "--out",
    required=True,
    metavar="PLANS.csv",
    type=click.Path(path_type=Path),
    help="Where plans go: a name in .csv or .xlsx, '-' for standard output.",
)
@click.option(
    "--aside",
    type=click.Path(path_type=Path),
    help="Where rows go that can't be planned, with their reasons. [default: PLANS.bad.csv beside the plans]",
)
@click.option("--delimiter", help="What parts the cells, 'tab' for a tab. [default: as the header shows]")
@click.option("--decimal", type=click.Choice(("point", "comma")), default="point", help="Decimal mark of the plans.")
@click.option("--picture", type=click.Path(path_type=Path), help="A picture of the summary: a name in .svg or .pdf.")
@click.option("--processes", type=click.IntRange(1, 256), help="Processes that share the work. [default: one a core]")
@click.option("--cluster", default="", help="A Dask cluster: an address, or 'local' for one started here.")
@click.option("--today", type=click.DateTime(["%Y-%m-%d"]), help="The day to plan from. [default: today]")
@click.option("--customs", type=click.Choice(tuple(CUSTOMS)), help="Whose cups and weights, where a row does not say.")
@click.option("--locale", type=click.Choice(LOCALES), help="How numbers are typed, where a row does not say.")
@click.option(
    "--language",
    type=click.Choice(list(LANGUAGES)),
    help="Language of the messages on the way; the plans themselves are in English.",
)
def season_verb(
    source: Path,
    out: Path,
    aside: Path | None,
    delimiter: str | None,
    decimal: str,
    picture: Path | None,
    processes: int | None,
    cluster: str,
    today: datetime | None,
    customs: str | None,
    locale: str | None,
    language: str | None,
) -> None:
    """Plan many plots: a table of plots in, a table of verdicts and plans out.

    Each row gets the verdict and the figures its own sheet would tell. Rows that can't be planned are set aside
    with their reasons, and the others go on. '-' as PLOTS.csv is standard input. A spreadsheet (.xlsx) will do too, if
    feedcalc[xlsx] is installed.
    """
    tongue = language or usual_language().get("language", "en")
    speak = language_of(tongue).speak
    if picture and picture.suffix.lower() not in (".svg", ".pdf"):
        raise click.UsageError(f"--picture {picture.name}: the name must end in .svg or .pdf.")
    name = out if out != STANDARD and not is_stream(out) else Path("plans.csv")
    job = PlanningJob(
        source=source,
        out=out,
        rejected=aside or name.with_name(f"{name.stem}.bad{name.suffix or '.csv'}"),
        decimal_mark="," if decimal == "comma" and not is_workbook(out) else ".",
        today=(today.date() if today else date.today()).isoformat(),
        customs=customs or "",
        locale=locale or "",
        delimiter=_one_sign(delimiter),
        processes=processes or os.cpu_count() or 1,
        cluster=cluster,
    )
    try:
        with _progress_display(speak) as on_progress:
            done = plan_plots(job, on_progress, lambda words: click.echo(speak(words), err=True))
    except PlanningStopped as stopped:
        click.echo(speak(said("{words} {out} was not touched.", words=stopped.args[0], out=str(out))), err=True)
        click.echo(speak(_summary(stopped.progress)), err=True)
        sys.exit(130)
    except InputErrors as refusal:
        refuse((error.as_dict() | {"given": ""} for error in refusal.errors), speak)
    except PlanningFailed as reason:
        raise click.ClickException(speak(reason.args[0])) from None
    summary = [speak(line) for line in summary_lines(done, locale or USUAL_LOCALE[tongue])]
    for line in summary:
        click.echo(line, err=out == STANDARD)
    if done.planned and out != STANDARD:
        click.echo(speak(said_in("said after it was done", "Plans: {path}", path=str(out))))
    if picture:
        _write_picture(picture, summary_svg(summary, done.verdicts, speak))
        click.echo(speak(said_in("said after it was done", "Picture: {path}", path=str(picture))), err=out == STANDARD)
    if done.rejected:
        click.echo(speak(said("Left out, with reasons: {path}", path=str(job.rejected))), err=True)
        sys.exit(ROWS_SET_ASIDE if done.planned else 1)
    if not done.planned:
        sys.exit(1)


def _write_picture(file: Path, svg: str) -> None:
    """Write the summary as SVG or PDF."""
    try:
        replace_file(file, svg.encode() if file.suffix.lower() == ".svg" else pdf_of(f"<body>{svg}</body>"))
    except NoPdf as reason:
        raise click.ClickException(str(reason)) from None
    except OSError as reason:
        raise click.ClickException(f"{file} can't be written: {reason.strerror}.") from None


def _summary(done: Progress) -> str:
    return said(
        "Plots planned: {planned}, of these held back: {held}. Rows left out: {aside}.",
        planned=done.planned,
        held=done.held_back,
        aside=done.rejected,
    )


def _one_sign(delimiter: str | None) -> str:
    """Return the one character that a delimiter stands for; raises `click.UsageError`.

    >>> _one_sign("tab"), _one_sign(None)
    ('\\t', '')
    """
    if not delimiter:
        return ""
    sign = "\t" if delimiter.casefold() in ("tab", "\\t") else delimiter
    if len(sign) != 1 or sign in '"\r\n ':
        raise click.UsageError(f"--delimiter {delimiter!r}: one sign such as , or ; or 'tab'.")
    return sign


@contextmanager
def _progress_display(speak: Speak) -> Iterator[Callable[[Progress], None]]:
    """Yield a function that shows progress: as a bar on a terminal, else as a plain line now and then."""
    if not sys.stderr.isatty():
        last = time.monotonic()

        def print_line(done: Progress) -> None:
            nonlocal last
            if time.monotonic() - last >= SECONDS_BETWEEN_LINES:
                last = time.monotonic()
                share = "" if done.share is None else f" ({done.share:.0%})"
                click.echo(f"{speak(_summary(done))}{share}", err=True)

        yield print_line
        return
    from rich.console import Console  # slow to load, and of use on a terminal only
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    shown = (
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeElapsedColumn(),
    )
    with Bar(*shown, console=Console(stderr=True)) as bar:
        task = bar.add_task(speak(said_in("progress", "Planning")), total=1.0)
        yield lambda done: bar.update(task, completed=done.share, description=speak(_summary(done)))
