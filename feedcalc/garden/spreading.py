"""The answer to "how much dry ash may this ground have": figures of the contract, and the sheet that shows them.

Rules of this room: no chemistry and no limits of its own; it asks `feedcalc.garden.dry_ash`, `feedcalc.garden.liming`
and `feedcalc.garden.suitability`, and puts what they say under fixed names (``values.spread``) and into words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from feedcalc import published
from feedcalc.contract.cautions import Caution, cautions_for
from feedcalc.contract.figures import Figure, figure
from feedcalc.contract.numbers import write_number
from feedcalc.contract.request import Request
from feedcalc.garden.ash import Ash, ash_of
from feedcalc.garden.circumstances import circumstances_of
from feedcalc.garden.dry_ash import (
    Advice,
    AshContent,
    Cap,
    DryUse,
    advised_ash,
    ash_content,
    cap_for,
    dry_uses,
    loosest_cap,
)
from feedcalc.garden.liming import expected_shift, undo_notes
from feedcalc.garden.suitability import (
    HOLD,
    WEAKER,
    Verdict,
    soil_target,
    soil_test_error,
    suitability_limit,
    verdict_for,
)
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.messages import said

USUAL_DEPTH_CM = 15.0
# Of all that a request leaves unsaid, what bears on dry ash; and the steps whose cautions hold for it.
_ASSUMED = {"ash", "soil", "plant", "locale", "customs", "seed", "samples"}
_STEPS = {"burning", "sieving", "applying"}
TABLES_BEHIND_SPREADING = (
    "ash_composition",
    "ash_state",
    "ash_density",
    "ash_caps",
    "ash_spreading",
    "dry_practices",
    "plant_names",
    "plants",
    "plant_soil_ph",
    "soil_buffers",
    "suitability_limits",
    "suitability_reasons",
    "undo_notes",
)


@dataclass(frozen=True, slots=True)
class Had:
    """What ground has had since its soil test, to the square metre: g of ash, and g of CaCO3 as lime besides."""

    ash: float = 0.0
    lime: float = 0.0


NOTHING_YET = Had()


@dataclass(frozen=True, slots=True)
class GroundAnswer:
    """What one ground needs and may have: the verdict on dry ash there, ``need`` and ``advice`` of ``values.spread``.

    ``need`` is None where nobody knows the soil's pH.
    """

    verdict: Verdict
    need: Mapping[str, Figure] | None
    advice: Mapping[str, Any]
    texture: str
    depth_cm: float
    assumed: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class SpreadAnswer:
    """``values`` of the reply, what was assumed, the verdict they rest on, and what must be said of dry ash."""

    values: Mapping[str, Any]
    assumed: Mapping[str, str]
    verdict: Verdict
    cautions: tuple[Caution, ...]


def spread_answer(request: Request) -> SpreadAnswer:
    """How much dry ash a year the ground of a request may have, and what practice would give it."""
    ash = asked_ash(request)
    seed = round(request.known("seed"))
    worth = ash_content(ash, seed)
    ground = ground_answer(request, worth, ash.typical().density)
    verdict = ground.verdict
    cap = cap_for(request.number("soil.ph"))
    values: dict[str, Any] = {
        "ash": {"lime_value": figure(worth.lime, "1"), "potassium": figure(worth.potassium, "1")},
        "cap": {"ash": _cap_figure(cap), "source": cap.source, "status": cap.status},
        "uses": [_use(use, cap, ground.texture, ground.depth_cm) for use in dry_uses(ash, request.customs, seed)],
        "published": [_published(row) for row in published.table("ash_spreading")],
        "undo": [asdict(note) for note in undo_notes()],
        "need": ground.need,
        "advice": ground.advice,
    }
    return SpreadAnswer(
        {"spread": values, "verdict": verdict.word, "reasons": [asdict(reason) for reason in verdict.reasons]},
        {path: text for path, text in ground.assumed.items() if path.split(".")[0] in _ASSUMED},
        verdict,
        tuple(caution for caution in cautions_for(set()) if caution.where in _STEPS or caution.id == "ammonia"),
    )


def asked_ash(request: Request) -> Ash:
    """The ash of a request."""
    return ash_of(
        request.word("ash.kind"),
        request.word("ash.state"),
        request.group("ash.analysis"),
        request.number("ash.density"),
    )


def ground_answer(request: Request, worth: AshContent, density: float, had: Had = NOTHING_YET) -> GroundAnswer:
    """What the ground of a request needs and may have of an ash; ``density`` in g/mL tells cups of it as grams.

    What it ``had`` comes off the cap, and counts as having moved the soil already.
    """
    verdict = verdict_for(circumstances_of(request))
    assumed = dict(request.assumed)
    depth = _depth_cm(request, assumed)
    target = _target(request, assumed)
    texture = request.word("soil.texture")
    if not texture:
        assumed["soil.texture"] = said("unknown: loam, with the ends of sand and clay")
    soil_ph = request.number("soil.ph")
    if soil_ph is None:
        nothing = {"ash": figure(Estimate.exactly(0.0), "g/m2"), "limited_by": "held back", "covers": None}
        return GroundAnswer(verdict, None, nothing, texture, depth, assumed)
    cap = cap_for(soil_ph)
    error = soil_test_error(request.word("soil.tested_with"))
    moved = expected_shift(_lime_of(had, worth), texture, depth)
    known_ph = Estimate(soil_ph - error + moved.low, soil_ph + moved.typical, soil_ph + error + moved.high)
    allowed = max((cap.low if verdict.word == WEAKER else cap.high) - had.ash, 0.0)
    stop = suitability_limit("soil_stop")
    advice = advised_ash(known_ph, target, stop, texture, depth, worth.lime, allowed, verdict.word == HOLD)
    need = {
        "target_ph": figure(Estimate.exactly(target), "1"),
        "lime": figure(advice.need, "g CaCO3/m2"),
        "ash": figure(advice.need_in_ash, "g/m2"),
    }
    told = _advice(advice, worth, texture, depth, request.number("soil.area"))
    told["covers"] = _covers(request, advice, density)
    return GroundAnswer(verdict, need, told, texture, depth, assumed)


def _lime_of(had: Had, worth: AshContent) -> Estimate:
    ash = worth.lime.scaled(had.ash)
    return Estimate(ash.low + had.lime, ash.typical + had.lime, ash.high + had.lime)


def _depth_cm(request: Request, assumed: dict[str, str]) -> float:
    metres = request.number("soil.dug_depth")
    if metres is None:
        assumed["soil.dug_depth"] = said("{amount} cm", amount=f"{USUAL_DEPTH_CM:g}")
        return USUAL_DEPTH_CM
    return metres * 100


def _target(request: Request, assumed: dict[str, str]) -> float:
    """The pH to aim at: as asked, else by ground and plant."""
    asked = request.number("soil.target_ph")
    if asked is not None:
        return asked
    target = soil_target(request.word("soil.texture"), request.word("plant"))
    assumed["soil.target_ph"] = write_number(target, 6, request.locale, trim=True)
    return target


def _cap_figure(cap: Cap) -> Figure:
    return figure(Estimate(cap.low, cap.high, cap.high), "g/m2")


def _use(use: DryUse, cap: Cap, texture: str, depth: float) -> dict[str, Any]:
    measure = cap if cap.high > 0 else loosest_cap()
    return {
        "id": use.id,
        "label": use.label,
        "ash": figure(use.ash, "g/m2"),
        "ash_per_year": figure(use.ash_per_year, "g/m2"),
        "potassium": figure(use.potassium, "g/m2"),
        "lime_value": figure(use.lime, "g CaCO3/m2"),
        "shift": figure(expected_shift(use.lime, texture, depth), "1"),
        "times_the_cap": figure(use.ash_per_year.scaled(1 / measure.high), "1"),
        "cap": measure.high,
        "is_above_cap": use.ash_per_year.typical > cap.high,
        "source": use.source,
        "status": use.status,
        "note": use.note,
    }


def _published(row: Mapping[str, str]) -> dict[str, Any]:
    span = figure(published.estimate(row), row["unit"])
    return {"id": row["id"], "what": row["what"], "ash": span, "source": row["source"], "status": row["status"]}


def _advice(advice: Advice, worth: AshContent, texture: str, depth: float, area: float | None) -> dict[str, Any]:
    lime = worth.lime.scaled(advice.ash)
    return {
        "ash": figure(Estimate.exactly(advice.ash), "g/m2"),
        "limited_by": advice.limited_by,
        "lime_value": figure(lime, "g CaCO3/m2"),
        "potassium": figure(worth.potassium.scaled(advice.ash), "g/m2"),
        "shift": figure(expected_shift(lime, texture, depth), "1"),
        "ash_for_area": None if area is None else figure(Estimate.exactly(advice.ash * area), "g"),
    }


def _covers(request: Request, advice: Advice, density: float) -> Figure | None:
    """Square metres that the ash in hand, or the sludge of it, is a year's worth for; None where it is not said."""
    reading = request.readings.get("ash.amount")
    if reading is None or advice.ash == 0:
        return None
    grams = reading.value if reading.kind == "mass" else reading.value * 1000 * density
    return figure(Estimate.exactly(grams / advice.ash), "m2")
