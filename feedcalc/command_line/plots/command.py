"""The verb for many plots: ``feedcalc season PLOTS.csv --out PLANS.csv``.

It reads options, shows how far the run is, and tells how it ended; `feedcalc.command_line.plots.table` does the work.
What is shown on the way goes to standard error. Exit codes: 0 where at least one plot was planned, 1 where none was or
the run could not be made, 130 where it was stopped, 2 for a wrong use of the command.
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

from feedcalc.command_line.plots.plan import COLUMNS
from feedcalc.command_line.plots.table import NoPlans, Progress, Run, Stopped, plan_plots
from feedcalc.contract.fields import LOCALES
from feedcalc.contract.units import CUSTOMS
from feedcalc.words.errors import InputErrors, refusal_words
from feedcalc.words.languages import LANGUAGES
from feedcalc.words.languages import language as language_of
from feedcalc.words.messages import Speak, said

# Without a terminal, a line of progress each so many seconds.
SECONDS_BETWEEN_LINES = 10.0

_COLUMNS_TOLD = "\n".join(f"  {column.name:<15} {column.meaning}" for column in COLUMNS)
EPILOG = f"""\b
Columns of PLOTS.csv, all optional; others are passed through:
{_COLUMNS_TOLD}

\b
Examples:
  feedcalc season plots.csv --out plans.csv
  feedcalc season plots.csv --out plans.csv --processes 2 --customs uk
  feedcalc season county.csv --out plans.csv --cluster tcp://10.0.0.5:8786"""


@click.command("season", epilog=EPILOG)
@click.argument("source", metavar="PLOTS.csv", type=click.Path(path_type=Path))
@click.option("--out", required=True, metavar="PLANS.csv", type=click.Path(path_type=Path), help="Where plans go.")
@click.option(
    "--aside",
    type=click.Path(path_type=Path),
    help="Where rows go that can't be planned, with their reasons. [default: PLANS.bad.csv beside the plans]",
)
@click.option("--delimiter", help="What parts the cells, 'tab' for a tab. [default: as the header shows]")
@click.option("--processes", type=click.IntRange(1, 256), help="Processes that share the work. [default: one a core]")
@click.option("--cluster", default="", help="A Dask cluster: an address, or 'local' for one started here.")
@click.option("--today", type=click.DateTime(["%Y-%m-%d"]), help="The day to plan from. [default: today]")
@click.option("--customs", type=click.Choice(tuple(CUSTOMS)), help="Whose cups and weights, where a row does not say.")
@click.option("--locale", type=click.Choice(LOCALES), help="How numbers are typed, where a row does not say.")
@click.option(
    "--language",
    type=click.Choice(list(LANGUAGES)),
    default="en",
    help="Words of what is told on the way; the plans themselves are in English.",
)
def season_verb(
    source: Path,
    out: Path,
    aside: Path | None,
    delimiter: str | None,
    processes: int | None,
    cluster: str,
    today: datetime | None,
    customs: str | None,
    locale: str | None,
    language: str,
) -> None:
    """Plan many plots: a table of plots in, a table of verdicts and plans out.

    Each row gets the verdict and the figures its own sheet would tell. Rows that can't be planned are set aside
    with their reasons, and the others go on.
    """
    speak = language_of(language).speak
    run = Run(
        source,
        out,
        aside or out.with_name(f"{out.stem}.bad{out.suffix or '.csv'}"),
        (today.date() if today else date.today()).isoformat(),
        customs or "",
        locale or "",
        _one_sign(delimiter),
        processes or os.cpu_count() or 1,
        cluster,
    )
    try:
        with _shown_on_the_way(speak) as told:
            done = plan_plots(run, told, lambda words: click.echo(speak(words), err=True))
    except Stopped as stopped:
        click.echo(speak(said("{words} {out} was not touched.", words=stopped.args[0], out=str(out))), err=True)
        click.echo(speak(_summary(stopped.progress)), err=True)
        sys.exit(130)
    except InputErrors as refusal:
        for error in refusal.errors:
            click.echo(speak(refusal_words(error.field, "", error.problem, error.accepted)), err=True)
        sys.exit(1)
    except NoPlans as reason:
        raise click.ClickException(speak(reason.args[0])) from None
    click.echo(speak(_summary(done)))
    if done.planned:
        click.echo(speak(said("Plans: {path}", path=str(out))))
    if done.set_aside:
        click.echo(speak(said("Set aside, with reasons: {path}", path=str(run.aside))), err=not done.planned)
    if not done.planned:
        sys.exit(1)


def _summary(done: Progress) -> str:
    return said(
        "Plots planned: {planned}, of which held back: {held}. Rows set aside: {aside}.",
        planned=done.planned,
        held=done.held_back,
        aside=done.set_aside,
    )


def _one_sign(delimiter: str | None) -> str:
    """A delimiter as given, checked to be one sign.

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
def _shown_on_the_way(speak: Speak) -> Iterator[Callable[[Progress], None]]:
    """Something to tell progress to: a bar on a terminal, else a plain line now and then."""
    if not sys.stderr.isatty():
        last = time.monotonic()

        def line(done: Progress) -> None:
            nonlocal last
            if time.monotonic() - last >= SECONDS_BETWEEN_LINES:
                last = time.monotonic()
                share = "" if done.share is None else f" ({done.share:.0%})"
                click.echo(f"{speak(_summary(done))}{share}", err=True)

        yield line
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
        task = bar.add_task(speak(said("Planning")), total=1.0)
        yield lambda done: bar.update(task, completed=done.share, description=speak(_summary(done)))
