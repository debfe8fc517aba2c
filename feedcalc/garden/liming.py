"""Lime arithmetic: what a soil needs, what ash brings, and how far the pH moves.

Rules of this room:

* Everything counts in grams of CaCO3 to the square metre. Ash counts by its lime value (grams of CaCO3 that neutralise
  as much acid as a gram of it), liquor by its alkalinity, sludge by what the ash had less what was poured off.
* A soil gives way by its buffer: grams of CaCO3 for one pH unit and 15 cm of depth (``soil_buffers.csv``), taken as
  straight between pH 4.5 and 7. Published lime tables differ by a factor of two to four, and the ranges hold them.
* Low and high take the worst case of each factor together, so a range here is wider than 90 %.
* Over-liming takes years to undo, under-liming a season to mend: advice takes the end that can't pass the target.
"""

from __future__ import annotations

from dataclasses import dataclass

from feedcalc import published
from feedcalc.uncertainty.estimates import Estimate

# The depth that soil_buffers.csv is given for.
TABLE_DEPTH_CM = 15.0
# Above this, free lime stands in the soil and the pH hardly moves; below, aluminium takes up lime. Not covered.
LOWEST_PH, HIGHEST_PH = 4.5, 7.0


@dataclass(frozen=True, slots=True)
class UndoNote:
    """One thing to do for a bed that has had too much lime, with its source."""

    id: str
    text: str
    source: str
    status: str


def soil_buffer(texture: str, depth_cm: float) -> Estimate:
    """Grams of CaCO3 to the square metre that lift ``texture`` (sand, loam, clay, peat) by one pH unit.

    An unsaid texture (empty) is loam with the ends of sand and clay. ``depth_cm`` is how deep it is dug in, above 0.
    Raises ValueError for another texture or depth.

    >>> soil_buffer("loam", 15).typical, soil_buffer("loam", 30).typical
    (370.0, 740.0)
    """
    if not depth_cm > 0:
        raise ValueError(f"depth must be above 0 cm, got {depth_cm}")
    rows = {row["texture"]: published.estimate(row) for row in published.table("soil_buffers")}
    if texture and texture not in rows:
        raise ValueError(f"no such soil texture: {texture!r}")
    per_table = rows[texture] if texture else Estimate(rows["sand"].low, rows["loam"].typical, rows["clay"].high)
    return per_table.scaled(depth_cm / TABLE_DEPTH_CM)


def lime_requirement(soil_ph: Estimate, target_ph: float, texture: str, depth_cm: float) -> Estimate:
    """Grams of CaCO3 to the square metre that bring a soil from its pH to ``target_ph``; 0 where it is there already.

    Buffer times the pH step. Valid for targets up to 7 and soils from about pH 4.5; below that it comes out too small.

    >>> lime_requirement(Estimate.exactly(5.5), 6.5, "loam", 15).typical
    370.0
    """
    buffer = soil_buffer(texture, depth_cm)
    return Estimate(
        buffer.low * max(target_ph - soil_ph.high, 0.0),
        buffer.typical * max(target_ph - soil_ph.typical, 0.0),
        buffer.high * max(target_ph - soil_ph.low, 0.0),
    )


def expected_shift(lime: Estimate, texture: str, depth_cm: float) -> Estimate:
    """By how many pH units ``lime`` (g of CaCO3 to the square metre) lifts a soil, once it has all reacted.

    >>> round(expected_shift(Estimate.exactly(37.0), "loam", 15).typical, 3)
    0.1
    """
    buffer = soil_buffer(texture, depth_cm)
    return Estimate(lime.low / buffer.high, lime.typical / buffer.typical, lime.high / buffer.low)


def ash_that_meets(requirement: Estimate, lime_value: Estimate) -> Estimate:
    """Grams of ash to the square metre that hold the lime required; ``lime_value`` in g of CaCO3 to a gram of ash.

    Requirement over lime value. Raises ValueError where the ash may hold no lime at all.

    >>> ash_that_meets(Estimate.exactly(100.0), Estimate(0.25, 0.5, 1.0))
    Estimate(low=100.0, typical=200.0, high=400.0)
    """
    if not lime_value.low > 0:
        raise ValueError("an ash without lime value meets no requirement")
    return Estimate(
        requirement.low / lime_value.high, requirement.typical / lime_value.typical, requirement.high / lime_value.low
    )


def undo_notes() -> tuple[UndoNote, ...]:
    """What to do with a bed that is already too alkaline, in order."""
    rows = published.table("undo_notes")
    return tuple(UndoNote(row["id"], row["text"], row["source"], row["status"]) for row in rows)
