"""The solver's search as machine code, where the surroundings bring it; without it the same texts work in Python.

The page brings WebAssembly that its build makes of the very texts of `feedcalc.chemistry.arithmetic` and
`feedcalc.chemistry.first_guess`. It stands beside this module with a list of what it was made from,
``machine_code.json``, and works in this process's memory.
"""

from __future__ import annotations

import hashlib
import json
from array import array
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from itertools import chain
from math import exp, sqrt
from typing import Any

from feedcalc.words.package_files import package_file

# Takes the place of a function and the address of its numbers in memory; leaves the result at that address.
Machine = Callable[[int, int], object]

MEMORY_SIZE = 256  # numbers; about 100 are used
_memory = array("d", [0.0] * MEMORY_SIZE)
_machines: list[Machine] = []


def connect(machine: Machine) -> None:
    """Let ``machine`` take the steps of every text it was made from, from now on."""
    _machines[:] = [machine]


def digest(text: str) -> str:
    """Return the name of a text in ``machine_code.json``."""
    return hashlib.sha256(text.encode()).hexdigest()[:16]


@lru_cache(maxsize=512)
def compiled(text: str) -> Callable[..., Any]:
    """Return the function with this text in Python."""
    names: dict[str, Any] = {"exp": exp, "sqrt": sqrt}
    exec(text, names)
    function: Callable[..., Any] = names["written_out"]
    return function


def machine_newton(text: str) -> Callable[..., Any] | None:
    """Return the function of a text from `newton_text` as machine code, or None if none was made of it.

    It works in Python until a machine is connected.
    """
    place = _places().get(digest(text))
    if place is None:
        return None

    def newton(
        ln_k: Sequence[float],
        laws: Sequence[Sequence[float]],
        totals: Sequence[float],
        water_total: float,
        mineral_ln_k: Sequence[float],
        x: Sequence[float],
        strength: float,
        ln_kg: float,
        ln_water: float,
        solids: Sequence[float],
        *more: float,
    ) -> tuple[Any, ...]:
        if not _machines:
            result: tuple[Any, ...] = compiled(text)(
                ln_k, laws, totals, water_total, mineral_ln_k, x, strength, ln_kg, ln_water, solids, *more
            )
            return result
        numbers = [*ln_k, *chain.from_iterable(laws), *totals, water_total, *mineral_ln_k]
        count, amounts, species = len(x), len(solids), len(ln_k)
        told = _run(place, [*numbers, *x, strength, ln_kg, ln_water, *solids, *more], count + amounts + species + 6)
        return (
            int(told[0]),
            int(told[1]),
            told[2 : count + 2],
            *told[count + 2 : count + 5],
            told[count + 5 : count + amounts + 5],
            told[count + amounts + 5 : -1],
            told[-1],
        )

    return newton


def machine_guess(text: str) -> Callable[..., Any]:
    """Return the function of a text from `guess_text`, as machine code if some was made of it.

    It works in Python until a machine is connected.
    """
    place = _places().get(digest(text))
    if place is None:
        return compiled(text)

    def guess(
        ln_k: Sequence[float], laws: Sequence[Sequence[float]], totals: Sequence[float], mineral_ln_k: Sequence[float]
    ) -> tuple[Any, ...]:
        if not _machines:
            result: tuple[Any, ...] = compiled(text)(ln_k, laws, totals, mineral_ln_k)
            return result
        ions = len(totals) - 1
        numbers = [*ln_k, *chain.from_iterable(laws), *totals, *mineral_ln_k]
        told = _run(place, numbers, 2 * ions + 2)
        return told[:ions], told[ions:-2], told[-2], told[-1]

    return guess


def _run(place: int, numbers: list[float], size: int) -> list[float]:
    """Return the first ``size`` numbers that the machine leaves."""
    _memory[: len(numbers)] = array("d", numbers)
    _machines[0](place, _memory.buffer_info()[0])
    return _memory[:size].tolist()


@lru_cache(maxsize=1)
def _places() -> Mapping[str, int]:
    """Return the places of the functions by the digests of their texts."""
    try:
        made_from = package_file("feedcalc.chemistry", "machine_code.json")
    except OSError:
        return {}
    return {name: place for place, name in enumerate(json.loads(made_from))}
