"""The command ``feedcalc``: its verbs, each imported when it is used.

Exit codes of every verb: 0 for an answer, 1 where the request was refused (each fault is named on standard error), 2
for a wrong use of the command, 3 where a table was planned but for some of its rows, 130 where it was stopped.
"""

from __future__ import annotations

import os
import sys
from typing import Any

import click

from feedcalc import __version__
from feedcalc.command_line.lazy import LazyGroup
from feedcalc.command_line.options import EPILOG
from feedcalc.command_line.refusals import refuse
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.messages import Speak, said

# Name of a verb, its module, and the first sentence of its help, which is listed without importing the module.
VERBS = {
    "air": ("batch", "How the liquor's pH falls over the days, and what free lime in the ash makes of it."),
    "ash": ("ash", "Your ash by name: keep what readings of a batch taught, and start the next batch from it."),
    "book": ("book", "The season book: what each bed had, what it may still get, and when to test again."),
    "calculate": ("batch", "Read a request as JSON from FILE or standard input, write the reply as JSON."),
    "delivery": ("batch", "What a can, a plant and a square metre receive."),
    "happened": ("advice", "What happened: say what was put on and what is seen; causes, tests, and what to do today."),
    "judge": ("advice", "Any recipe, judged: strength, danger, what a plant gets, and the nearest safe version."),
    "label": ("label", "Labels for the bottles of the batches in FILE ('-' for standard input)."),
    "ladder": ("batch", "Every dilution from 1:1 to 1:20 and yours, and which plants it suits."),
    "mix": ("batch", "Whether the feed may share a can with a second thing: --with 'epsom salt'."),
    "neutralise": ("batch", "How much vinegar or citric acid brings the feed to a pH: --acid and --target-ph."),
    "page": ("page", "Open the page, which needs no network, in the browser."),
    "plants": (
        "plants",
        "Whether a plant bears ash and which soil pH it likes, by common or botanical NAME; all without one.",
    ),
    "season": ("plots.command", "Plan many plots: a table of plots in, a table of verdicts and plans out."),
    "settle": ("batch", "How long until the liquor is clear, and how much pours off."),
    "sheet": ("batch", "The batch sheet on one page: danger, steps with their cautions, dilution, verdict."),
    "spread": ("batch", "How much dry ash or sludge a year this ground may have, beside what gardeners use."),
    "wall": ("label", "The batch sheet for the wall: one page to tick off, in letters that are read at arm's length."),
}


STOPPED = 130  # as a shell tells of a program that was interrupted
_STOPPED = said("Stopped. No file was left half written.")


class _Main(LazyGroup):
    """Reports in words what no verb handles: a language that is not installed, a full disk."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except (InputError, InputErrors) as refusal:
            errors = refusal.errors if isinstance(refusal, InputErrors) else (refusal,)
            refuse([error.as_dict() for error in errors], self._speak())
        except KeyboardInterrupt:
            click.echo(self._speak()(_STOPPED), err=True)
            sys.exit(STOPPED)

    @staticmethod
    def _speak() -> Speak:
        """Return what translates into the system's language."""
        from feedcalc.command_line.environment import usual_language  # help is quick without these
        from feedcalc.words.languages import language

        return language(usual_language().get("language", "en")).speak

    def main(self, *arguments: Any, **options: Any) -> Any:
        try:
            return super().main(*arguments, **options)
        except OSError as reason:
            click.echo(f"Error: {reason.filename or 'what comes out'} can't be written: {reason.strerror}.", err=True)
            os._exit(1)  # what still waits to be written out would only fail once more


@click.group(cls=_Main, verbs=VERBS, epilog=EPILOG, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="feedcalc")
def main() -> None:
    """Liquid mineral feed from wood ash: what to weigh, pour, wait for and dilute, and what each can delivers.

    Without options each verb answers for the demo scenario.
    """
