"""The geometry of the timeline of a bed, calculated from its running totals as `drawing` does for a batch."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from itertools import pairwise
from typing import Any

from feedcalc.book.totals import TimelineStep
from feedcalc.frozen import frozen

SHAPES = {
    "liquid feed": "circle",
    "dry ash": "square",
    "sludge": "diamond",
    "compost": "triangle",
    "lime": "wedge",
    "other": "cross",
}


@frozen
class Mark:
    """An entry on a timeline: its place, the shape of its kind (`SHAPES`) and its letter in the list of entries."""

    x: float
    y: float
    shape: str
    letter: str


@frozen
class TimelineDrawing:
    """Running totals of twelve months against days: ``ash``, ``lime`` and ``cap`` are SVG paths of step functions.

    ``band`` is the range of the ash as a closed path; ``days`` and ``levels`` are ticks as pairs of place and text.
    """

    ash: str
    lime: str
    cap: str
    band: str
    marks: tuple[Mark, ...]
    days: tuple[tuple[float, str], ...]
    levels: tuple[tuple[float, float], ...]


def timeline_drawing(
    steps: Sequence[TimelineStep],
    entries: Sequence[Mapping[str, Any]],
    left: float,
    right: float,
    top: float,
    bottom: float,
) -> TimelineDrawing | None:
    """Return the timeline of a bed within these edges, or None if there are no steps (the bed's area is unknown).

    ``entries`` are those of the bed, as in the contract.
    """
    if not steps:
        return None
    first, last = steps[0].day, steps[-1].day
    days = max((last - first).days, 1)
    highest = max(max(step.ash.high, step.lime.typical, step.cap) for step in steps) or 1.0
    level = _level_step(highest)
    most = max(highest * 1.08, level)

    def x(day: date) -> float:
        return left + (day - first).days / days * (right - left)

    def y(grams: float) -> float:
        return bottom - grams / most * (bottom - top)

    def corners(quantity: Callable[[TimelineStep], float]) -> list[tuple[float, float]]:
        return _corners([(x(step.day), y(quantity(step))) for step in steps])

    heights = {step.day.isoformat(): y(step.ash.typical) for step in steps}
    ticks = [(x(date(year, 1, 1)), str(year)) for year in range(first.year + 1, last.year + 1)]
    return TimelineDrawing(
        ash=_path(corners(lambda step: step.ash.typical)),
        lime=_path(corners(lambda step: step.lime.typical)),
        cap=_path(corners(lambda step: step.cap)),
        band=_path([*corners(lambda step: step.ash.low), *reversed(corners(lambda step: step.ash.high))]) + "Z",
        marks=tuple(
            Mark(
                x=x(date.fromisoformat(entry["date"])),
                y=heights[entry["date"]],
                shape=SHAPES[entry["what"]],
                letter=letter_of(place),
            )
            for place, entry in enumerate(entries)
            if entry["date"] in heights
        ),
        days=tuple(ticks[-8:]),
        levels=tuple((y(level * count), level * count) for count in range(int(most / level) + 1)),
    )


def _level_step(highest: float) -> float:
    """Return a round distance between grid lines, so that at most five of them lie below ``highest``."""
    tens = float(10 ** math.floor(math.log10(highest)))
    return next(step for step in (tens / 2, tens, tens * 2.5, tens * 5) if highest / step <= 4.5)


def _corners(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return the corners of the step function that jumps to each of these points."""
    found = [points[0]]
    for (_, before), (x, y) in pairwise(points):
        found += [(x, before), (x, y)]
    return found


def _path(points: Sequence[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def letter_of(place: int) -> str:
    """Return the letter of a place counted from 0: A, B, ... Z, AA, AB ...

    >>> letter_of(0), letter_of(25), letter_of(26)
    ('A', 'Z', 'AA')
    """
    letters = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters
