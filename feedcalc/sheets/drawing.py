"""The geometry of the drawings: coordinates of levels, bars and curves, calculated from the figures of a sheet.

* Drawings are to scale: each length is proportional to the figure it shows.
* This module calculates coordinates only. The SVG elements and the texts are in the templates.
* Coordinates are in units of the SVG viewBox; y grows downwards.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from feedcalc.frozen import frozen
from feedcalc.liquor.air import corrosive_ph
from feedcalc.sheets.batch import Sheet
from feedcalc.words.messages import said, said_in

_STAGES = ("seedling", "young", "established")
_TICKS = 5


@frozen
class BucketDrawing:
    """The whole bucket on the left, and its contents enlarged on the right (``close_``).

    ``labels`` are the y of the texts beside the enlargement, for surface, pour-off line, sludge and bottom. They keep
    a distance from each other where the levels themselves are close.
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


@frozen
class Curve:
    """Clear depth against time for one grain size: ``points`` is the value of that SVG attribute."""

    micrometres: float
    points: str


@frozen
class SettlingDrawing:
    """Clear depth against time; ``wait_x`` is the x of the chosen wait, ``ticks`` are pairs of x and hours."""

    curves: tuple[Curve, ...]
    wait_x: float
    pour_y: float
    ticks: tuple[tuple[float, float], ...]


@frozen
class Bar:
    """The bar of one dilution; ``within`` says whether it is within the limits for the chosen stage."""

    path: str
    y: float
    width: float
    chosen: bool
    within: bool


@frozen
class LadderDrawing:
    """Alkalinity of each dilution; ``limits`` are stage, x and mg/L; ``height`` is that of all bars."""

    bars: tuple[Bar, ...]
    limits: tuple[tuple[str, float, float], ...]
    height: float


def bucket_drawing(
    sheet: Sheet, height: float = 200.0, width_at_most: float = 132.0, top: float = 24.0
) -> BucketDrawing:
    """Return the bucket in its true proportions, at most ``height`` high and ``width_at_most`` wide."""
    metres = sheet.heights
    scale = min(height / metres["rim"], width_at_most / metres["width"])
    bottom = top + height

    def y_whole(metres_up: float) -> float:
        return bottom - metres_up * scale

    def y_close(metres_up: float) -> float:
        return bottom - metres_up / metres["surface"] * height

    levels = [y_close(metres[name]) for name in ("surface", "pour_line", "sludge_top")] + [bottom]
    return BucketDrawing(
        left=(width_at_most - metres["width"] * scale) / 2,
        width=metres["width"] * scale,
        rim=y_whole(metres["rim"]),
        bottom=bottom,
        surface=y_whole(metres["surface"]),
        pour_line=y_whole(metres["pour_line"]),
        sludge_top=y_whole(metres["sludge_top"]),
        close_surface=levels[0],
        close_pour_line=levels[1],
        close_sludge_top=levels[2],
        labels=_spread_out(levels, 19.0),
    )


def _spread_out(levels: Sequence[float], least: float) -> tuple[float, float, float, float]:
    """Return the levels, each moved up until it is at least ``least`` above the one below it."""
    placed: list[float] = []
    for level in reversed(levels):
        placed.append(min(level, placed[-1] - least) if placed else level)
    surface, pour, sludge, bottom = reversed(placed)
    return surface, pour, sludge, bottom


def settling_drawing(sheet: Sheet, left: float, right: float, top: float, bottom: float) -> SettlingDrawing | None:
    """Return the settling curves within these edges, or None if no liquor can be poured off."""
    if not sheet.traces:
        return None
    hours = sheet.traces[0].points[-1][0]
    depth = sheet.heights["surface"] - sheet.heights["pour_line"]

    def x(at: float) -> float:
        return left + at / hours * (right - left)

    def y(down: float) -> float:
        return top + down / depth * (bottom - top)

    return SettlingDrawing(
        curves=tuple(
            Curve(trace.micrometres, " ".join(f"{x(at):.1f},{y(down):.1f}" for at, down in trace.points))
            for trace in sheet.traces
        ),
        wait_x=x(min(sheet.wait_hours, hours)),
        pour_y=bottom,
        ticks=tuple((x(hours * quarter / 4), hours * quarter / 4) for quarter in range(_TICKS)),
    )


def ladder_drawing(sheet: Sheet, left: float, right: float, top: float, row: float) -> LadderDrawing:
    """Return a bar for each dilution between ``left`` and ``right``, each in a row of height ``row``."""
    rows = sheet.ladder
    limits = {
        advice.stage: next(limit.high for limit in advice.limits if limit.quantity == "alkalinity")
        for advice in sheet.advice
    }
    longest = max([rung["alkalinity"].value for rung in rows] + list(limits.values()))
    scale = (right - left) / longest
    bars = tuple(
        Bar(
            path=f"ladder.{index}",
            y=top + index * row,
            width=rung["alkalinity"].value * scale,
            chosen=rung["chosen"],
            within=sheet.stage in rung["within_limits_for"],
        )
        for index, rung in enumerate(rows)
    )
    marks = tuple((stage, left + limits[stage] * scale, limits[stage]) for stage in _STAGES)
    return LadderDrawing(bars, marks, row * len(rows))


@frozen
class PhCurve:
    """A curve of pH: ``line`` and the ``band`` of its range are values of the SVG attribute ``points``.

    ``name`` keeps the ids of curves on one page apart; ``across`` names the x axis. ``ticks`` are pairs of x and
    number, ``levels`` pairs of y and pH. ``corrosive_y`` is the y of the lowest corrosive pH, None if that
    is off the drawing.
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
    "air": (said("How the pH falls over time"), said_in("time", "days")),
    "caustic": (said("How quicklime in the ash changes the pH"), said("% of the ash's calcium that is quicklime")),
    "acid": (said("How the pH falls as acid is added"), said("mL or g of acid in a litre of feed")),
}


def ph_curve(sheet: Sheet, name: str, left: float, right: float, top: float, bottom: float) -> PhCurve:
    """Return the curve ``name`` of `CURVES` within these edges, from what `reactions` found."""
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
        name=name,
        title=title,
        across=across_words,
        line=" ".join(place(point) for point in points),
        band=" ".join(place(point) for point in [*low, *reversed(high)]),
        ticks=tuple((left + quarter / 4 * (right - left), longest * quarter / 4) for quarter in range(_TICKS)),
        levels=tuple((y(ph), ph) for ph in range(lowest, lowest + span + 1)),
        corrosive_y=y(corrosive_ph()) if lowest <= corrosive_ph() <= highest else None,
    )
