"""Functions of the solver that were written out and compiled when the wheel was built; a source tree has none of them.

They are what `feedcalc.chemistry.arithmetic` and `feedcalc.chemistry.first_guess` would write out and compile while
they solve, which takes a sixth of the time of a quick sheet.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cache
from importlib import import_module
from typing import Any

from feedcalc.chemistry.system import System

# The module beside this one that the wheel brings.
MODULE = "prepared_functions"


def prepared(kind: str, system: System, active_minerals: tuple[int, ...] = ()) -> Callable[..., Any] | None:
    """Return the function of this kind for a system and its active minerals; None where the wheel brought none."""
    functions = _functions()
    return functions.get(_name(kind, system, active_minerals)) if functions else None


def module_text(texts: Iterable[tuple[str, System, tuple[int, ...], str]]) -> str:
    """Return the module to bring: a function for each kind, system and active minerals with the text that it has."""
    functions, names = [], []
    for place, (kind, system, active_minerals, text) in enumerate(texts):
        functions.append(text.replace("def written_out(", f"def _{place}(", 1))
        names.append(f"    {_name(kind, system, active_minerals)!r}: _{place},\n")
    head = '"""Made with the wheel, see `feedcalc.chemistry.prepared`."""\n\nfrom math import exp, sqrt\n\n'
    return f"{head}{chr(10).join(functions)}\nFUNCTIONS = {{\n{''.join(names)}}}\n"


def _name(kind: str, system: System, active_minerals: tuple[int, ...]) -> str:
    elements = " ".join(element.name for element in system.elements)
    place = f"{system.chosen.name}{', in air' if system.is_open else ''}"
    return f"{kind}, {place}: {elements}; {' '.join(system.minerals)}; {active_minerals}"


@cache
def _functions() -> Mapping[str, Callable[..., Any]]:
    try:
        functions: Mapping[str, Callable[..., Any]] = import_module(f"{__package__}.{MODULE}").FUNCTIONS
    except ModuleNotFoundError:
        return {}
    return functions
