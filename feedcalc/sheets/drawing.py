"""Where the lines of the pictures go: a sheet's figures as places on a drawing, in the drawing's own units.

Rules of this room:

* Everything is to scale: a length on a drawing is proportional to the figure it stands for.
* Nothing is worked out about liquor or gardens here, only places; words and marks stand in the templates.
* y grows downwards, as in SVG.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from feedcalc.book.totals import TimelineStep
from feedcalc.liquor.air import corrosive_ph
from feedcalc.sheets.batch import Sheet
from feedcalc.words.messages import said

STAGES_WEAKEST_FIRST = ("seedling", "young", "established")


@dataclass(frozen=True, slots=True)
class BucketDrawing:
    """The bucket whole, on the left, and what stands in it drawn larger, on the right; ``close_`` is the latter.

    ``labels`` are the places of the words beside the close-up for surface, pour-off line, sludge and bottom, moved
    apart where the lines are too near each other to be told apart.
    """

    left: float
    width: float
    rim: float
    bottom: float
    surface: float
    pour_line: float
    sludge_top: float
    close_surface: float
    close_pour_line: float
    close_sludge_top: float
    labels: tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Curve:
    """How deep the liquor is clear of grains of one size: ``points`` as SVG reads them."""

    micrometres: float
    points: str
    end_y: float


@dataclass(frozen=True, slots=True)
class SettlingDrawing:
    """Clear depth against hours; ``wait_x`` is the wait chosen, ``ticks`` pairs of place and hours."""

    curves: tuple[Curve, ...]
    wait_x: float
    pour_y: float
    hours: float
    ticks: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Bar:
    """One rung: its place and length, and whether the chosen stage can take it."""

    path: str
    y: float
    width: float
    chosen: bool
    within: bool


@dataclass(frozen=True, slots=True)
class LadderDrawing:
    """Bars of alkalinity, and for each stage where its limit stands; ``height`` of the rungs."""

    bars: tuple[Bar, ...]
    limits: tuple[tuple[str, float, float], ...]
    height: float


def bucket_drawing(
    sheet: Sheet, height: float = 200.0, width_at_most: float = 132.0, top: float = 24.0
) -> BucketDrawing:
    """The bucket at its true proportions, no higher than ``height`` and no wider than ``width_at_most``."""
    metres = sheet.heights
    scale = min(height / metres["rim"], width_at_most / metres["width"])
    bottom = top + height

    def whole(metres_up: float) -> float:
        return bottom - metres_up * scale

    def close(metres_up: float) -> float:
        return bottom - metres_up / metres["surface"] * height

    levels = [close(metres[name]) for name in ("surface", "pour_line", "sludge_top")] + [bottom]
    return BucketDrawing(
        left=(width_at_most - metres["width"] * scale) / 2,
        width=metres["width"] * scale,
        rim=whole(metres["rim"]),
        bottom=bottom,
        surface=whole(metres["surface"]),
        pour_line=whole(metres["pour_line"]),
        sludge_top=whole(metres["sludge_top"]),
        close_surface=levels[0],
        close_pour_line=levels[1],
        close_sludge_top=levels[2],
        labels=_apart(levels, 19.0),
    )


def _apart(levels: Sequence[float], least: float) -> tuple[float, float, float, float]:
    """Places for words at these levels, pushed upwards until each is ``least`` above the one below it."""
    placed: list[float] = []
    for level in reversed(levels):
        placed.append(min(level, placed[-1] - least) if placed else level)
    surface, pour, sludge, bottom = reversed(placed)
    return surface, pour, sludge, bottom


def settling_drawing(sheet: Sheet, left: float, right: float, top: float, bottom: float) -> SettlingDrawing | None:
    """The curves of the sheet inside these edges, or None where nothing pours off."""
    if not sheet.traces:
        return None
    hours = sheet.traces[0].points[-1][0]
    depth = sheet.heights["surface"] - sheet.heights["pour_line"]

    def x(at: float) -> float:
        return left + at / hours * (right - left)

    def y(down: float) -> float:
        return top + down / depth * (bottom - top)

    curves = tuple(
        Curve(
            trace.micrometres,
            " ".join(f"{x(at):.1f},{y(down):.1f}" for at, down in trace.points),
            y(trace.points[-1][1]),
        )
        for trace in sheet.traces
    )
    ticks = tuple((x(hours * quarter / 4), hours * quarter / 4) for quarter in range(5))
    return SettlingDrawing(curves, x(min(sheet.wait_hours, hours)), bottom, hours, ticks)


def ladder_drawing(sheet: Sheet, left: float, right: float, top: float, row: float) -> LadderDrawing:
    """A bar for each rung between ``left`` and ``right``, ``row`` high, to the scale of the longest of them."""
    rows = sheet.ladder
    limits = {
        advice.stage: next(limit.high for limit in advice.limits if limit.quantity == "alkalinity")
        for advice in sheet.advice
    }
    longest = max([rung["alkalinity"].value for rung in rows] + list(limits.values()))
    scale = (right - left) / longest
    bars = tuple(
        Bar(
            f"ladder.{index}",
            top + index * row,
            rung["alkalinity"].value * scale,
            rung["chosen"],
            sheet.stage in rung["within_limits_for"],
        )
        for index, rung in enumerate(rows)
    )
    marks = tuple((stage, left + limits[stage] * scale, limits[stage]) for stage in STAGES_WEAKEST_FIRST)
    return LadderDrawing(bars, marks, row * len(rows))


@dataclass(frozen=True, slots=True)
class PhCurve:
    """A curve of pH against something: the ``line`` and the ``band`` around it as points, ticks as (place, number).

    ``name`` tells curves on one page apart, ``title`` says what is seen, ``across`` what runs to the right;
    ``corrosive_y`` is where the line of pH 11.5 lies, None where it is off the drawing.
    """

    name: str
    title: str
    across: str
    line: str
    band: str
    ticks: tuple[tuple[float, float], ...]
    levels: tuple[tuple[float, int], ...]
    corrosive_y: float | None


CURVES = {
    "air": (said("How the pH falls as the liquor stands"), said("days")),
    "caustic": (said("What free lime makes of the liquor"), said("% of the ash's calcium that is free lime")),
    "acid": (said("How the pH falls as acid is added"), said("mL or g of acid in a litre of feed")),
}


def ph_curve(sheet: Sheet, name: str, left: float, right: float, top: float, bottom: float) -> PhCurve:
    """The curve ``name`` (see `CURVES`) of what `reactions` found, inside these edges."""
    found: Mapping[str, Any] = sheet.after[name]
    low: list[tuple[float, float]] = []
    high: list[tuple[float, float]] = []
    if name == "air":
        points = [(row["days"]["value"], row["ph"]["value"]) for row in found["days"]]
        low = [(row["days"]["value"], row["ph"]["low"]) for row in found["days"]]
        high = [(row["days"]["value"], row["ph"]["high"]) for row in found["days"]]
    else:
        scale = 100.0 if name == "caustic" else 1.0
        points = [(across * scale, ph) for across, ph in found["curve"]]
    longest = max(across for across, _ in points) or 1.0
    lowest = math.floor(min(ph for _, ph in [*points, *low]))
    highest = math.ceil(max(ph for _, ph in [*points, *high]))
    span = max(highest - lowest, 1)

    def place(point: tuple[float, float]) -> str:
        across, ph = point
        return f"{left + across / longest * (right - left):.1f},{y(ph):.1f}"

    def y(ph: float) -> float:
        return float(bottom - (ph - lowest) / span * (bottom - top))

    title, across_words = CURVES[name]
    return PhCurve(
        name,
        title,
        across_words,
        " ".join(place(point) for point in points),
        " ".join(place(point) for point in [*low, *reversed(high)]),
        tuple((left + quarter / 4 * (right - left), longest * quarter / 4) for quarter in range(5)),
        tuple((y(ph), ph) for ph in range(lowest, lowest + span + 1)),
        y(corrosive_ph()) if lowest <= corrosive_ph() <= highest else None,
    )


SHAPES = {
    "liquid feed": "circle",
    "dry ash": "square",
    "sludge": "diamond",
    "compost": "triangle",
    "lime": "wedge",
    "other": "cross",
}


@dataclass(frozen=True, slots=True)
class Mark:
    """An entry on a timeline: its place, the shape of its kind (`SHAPES`) and the letter that stands in the list."""

    x: float
    y: float
    shape: str
    letter: str


@dataclass(frozen=True, slots=True)
class TimelineDrawing:
    """Running totals of twelve months against days: ``ash``, ``lime`` and ``cap`` as paths that go in steps.

    ``band`` is the range of the ash as a closed path; ``days`` and ``levels`` are ticks as (place, what stands there).
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
    """The steps of a bed and its ``entries`` (as in the contract) inside these edges, or None where none are known."""
    if not steps:
        return None
    first, last = steps[0].day.toordinal(), steps[-1].day.toordinal()
    days = max(last - first, 1)
    highest = max(max(step.ash.high, step.lime.typical, step.cap) for step in steps) or 1.0
    level = float(10 ** math.floor(math.log10(highest)))
    level = next(size for size in (level / 2, level, level * 2.5, level * 5) if highest / size <= 4.5)
    most = max(highest * 1.08, level)

    def x(day: int) -> float:
        return left + (day - first) / days * (right - left)

    def y(grams: float) -> float:
        return bottom - grams / most * (bottom - top)

    def corners(of: Callable[[TimelineStep], float]) -> list[tuple[float, float]]:
        found: list[tuple[float, float]] = []
        for step in steps:
            at = x(step.day.toordinal())
            if found:
                found.append((at, found[-1][1]))
            found.append((at, y(of(step))))
        return found

    def path(points: Sequence[tuple[float, float]]) -> str:
        return "M" + "L".join(f"{across:.1f} {down:.1f}" for across, down in points)

    heights = {step.day.isoformat(): y(step.ash.typical) for step in steps}
    marks = tuple(
        Mark(
            x(date.fromisoformat(entry["date"]).toordinal()),
            heights[entry["date"]],
            SHAPES[entry["what"]],
            letter_of(place),
        )
        for place, entry in enumerate(entries)
        if entry["date"] in heights
    )
    years = range(steps[0].day.year + 1, steps[-1].day.year + 1)
    ticks = [(x(date(year, 1, 1).toordinal()), str(year)) for year in years]
    return TimelineDrawing(
        path(corners(lambda step: step.ash.typical)),
        path(corners(lambda step: step.lime.typical)),
        path(corners(lambda step: step.cap)),
        path([*corners(lambda step: step.ash.low), *reversed(corners(lambda step: step.ash.high))]) + "Z",
        marks,
        tuple(ticks[-8:]),
        tuple((y(level * count), level * count) for count in range(int(most / level) + 1)),
    )


def letter_of(place: int) -> str:
    """A, B, ... Z, AA, AB ... by place, counted from 0.

    >>> letter_of(0), letter_of(25), letter_of(26)
    ('A', 'Z', 'AA')
    """
    letters = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters
