"""The verbs that read a text: `judge` a recipe, and say what `happened`."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import click

from feedcalc.command_line.batch import answer
from feedcalc.command_line.files import write_file
from feedcalc.command_line.options import BatchCommand, batch_options


@click.command("judge", cls=BatchCommand)
@click.argument("recipe", nargs=-1, required=True)
@batch_options
@click.option("--json", "as_json", is_flag=True, help="Write the whole reply as JSON.")
@click.option("--safe", metavar="FILE", help="Write the safe version as a request to FILE, for --from and label.")
def judge_verb(recipe: tuple[str, ...], safe: str | None, **options: Any) -> None:
    """Any recipe, judged: strength, danger, what a plant gets, and the nearest safe version.

    \b
    Example:
      feedcalc judge "1 glass of ash to 10 litres, a litre a bush" --soil-ph 6.2 --plant tomato
    """
    reply = _answer("judge", " ".join(recipe), "recipe", options)
    if safe:
        request = {"schema": 1, **reply["values"]["judge"].get("safe", {}).get("request", {})}
        text = f"{json.dumps(request, ensure_ascii=False, indent=2)}\n"
        if safe == "-":
            click.echo(text, nl=False)
        else:
            write_file(Path(safe), text.encode(), "--safe")


@click.command("happened", cls=BatchCommand)
@click.argument("text", nargs=-1, required=True)
@batch_options
@click.option("--json", "as_json", is_flag=True, help="Write the whole reply as JSON.")
def happened_verb(text: tuple[str, ...], **options: Any) -> None:
    """What happened: say what was put on and what is seen; causes, tests, and what to do today.

    \b
    Example:
      feedcalc happened "2 buckets of ash on 10 square metres, young leaves are pale" --texture loam
    """
    _answer("happened", " ".join(text), "happened", options)


def _answer(ask: str, text: str, field: str, options: dict[str, Any]) -> dict[str, Any]:
    """Show what is said of a text; nothing of the demo takes part in it."""
    own = {**options, "save": None, "source": options["source"] or io.StringIO('{"schema": 1}')}
    return answer(ask, own, {"ask": ask, field: text})
