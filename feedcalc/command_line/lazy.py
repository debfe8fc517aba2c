"""A click group that imports a verb only when the verb is used, so that help and refusals are quick."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from typing import Any

import click


class LazyGroup(click.Group):
    """A group of verbs given as name -> (module beside this one, help).

    The verb ``soil-test`` is the attribute ``soil_test_verb`` of its module. Until it is used, a command without
    parameters stands in for it: click needs only its name and help to list it or to suggest it.
    """

    def __init__(self, *, verbs: Mapping[str, tuple[str, str]], **options: Any) -> None:
        listed = {name: click.Command(name, help=words) for name, (_, words) in verbs.items()}
        super().__init__(commands=listed, **options)
        self._modules = {name: module for name, (module, _) in verbs.items()}

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a verb, imported now; None where there is none of this name."""
        if cmd_name not in self._modules:
            return None
        module = import_module(f"{__package__}.{self._modules[cmd_name]}")
        verb: click.Command = getattr(module, f"{cmd_name.replace('-', '_')}_verb")
        return verb

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the verbs without importing them."""
        click.Group(commands=self.commands).format_commands(ctx, formatter)
