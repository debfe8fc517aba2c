"""End a verb that was refused: every fault in a line on standard error, exit code 1."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping
from typing import NoReturn

import click

from feedcalc.words.errors import refusal_words
from feedcalc.words.messages import Speak


def refuse(errors: Iterable[Mapping[str, str]], speak: Speak) -> NoReturn:
    """Print the ``errors`` of a reply, in the words that ``speak`` gives them, and exit with 1."""
    for error in errors:
        click.echo(speak(refusal_words(**error)), err=True)
    sys.exit(1)
