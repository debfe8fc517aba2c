"""The functions that a wheel brings are those that the solver would write out itself."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import pytest

from feedcalc.chemistry import arithmetic, equilibrate, first_guess, machine_code, prepared
from feedcalc.liquor.dilution import FEED_MINERALS
from feedcalc.liquor.often_solved import texts_often_needed

LIQUOR = ("potassium", "sodium", "chloride", "magnesium", "calcium", "sulfur", "phosphorus", "carbon")
WATER = dict.fromkeys(LIQUOR, 0.005)


@pytest.fixture
def brought(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[], None]]:
    """Returns what installs the functions; they are gone after the test."""

    def forget() -> None:
        for cache in (arithmetic.arithmetic_of, first_guess._simplified, machine_code.compiled):
            cache.cache_clear()

    def install() -> None:
        names: dict[str, Any] = {}
        exec(prepared.module_text(texts_often_needed()), names)
        functions: Mapping[str, Callable[..., Any]] = names["FUNCTIONS"]
        monkeypatch.setattr(prepared, "_functions", lambda: functions)
        forget()

    forget()
    yield install
    forget()


def compiled() -> int:
    """How many functions were compiled since the last were forgotten."""
    return machine_code.compiled.cache_info().misses


def test_what_a_wheel_brings_gives_the_same_to_the_last_bit_and_next_to_nothing_is_compiled(brought):
    draw = random.Random(3)
    waters = [{name: 10.0 ** draw.uniform(-5.0, -1.0) for name in LIQUOR} for _ in range(40)]
    own = [equilibrate(water, 288.15, FEED_MINERALS) for water in waters]
    without = compiled()
    brought()
    assert [equilibrate(water, 288.15, FEED_MINERALS) for water in waters] == own
    assert compiled() < without


def test_another_set_of_constants_gets_none_of_them(brought):
    own = {name: equilibrate(WATER, 288.15, constants=name).ph for name in ("chosen", "database")}
    brought()
    assert equilibrate(WATER, 288.15).ph == own["chosen"]
    assert compiled() == 0
    assert equilibrate(WATER, 288.15, constants="database").ph == own["database"]
    assert compiled() > 0
