"""The answer to a request about dry ash: how much a soil needs and may receive, as ``values.spread`` of the reply.

The module has no chemistry and no limits of its own. It combines `feedcalc.garden.dry_ash`, `feedcalc.garden.liming`
and `feedcalc.garden.suitability` and puts their results under the fixed names of the contract.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any, NamedTuple

from feedcalc import published
from feedcalc.contract.cautions import Caution, cautions_for
from feedcalc.contract.figures import Figure, exact_figure, figure
from feedcalc.contract.measures import CLOSE_ENOUGH, measured_out
from feedcalc.contract.numbers import write_number
from feedcalc.contract.own_measures import depth_words
from feedcalc.contract.request import Request
from feedcalc.contract.units import converted
from feedcalc.frozen import frozen
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
from feedcalc.garden.liming import LOWEST_PH, expected_shift, limed_ph, notes
from feedcalc.garden.metals import countries, typical_years_to_limit
from feedcalc.garden.suitability import (
    HOLD,
    WEAKER,
    Circumstances,
    Verdict,
    soil_target,
    soil_test_error,
    suitability_limit,
    verdict_for,
)
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.messages import said

USUAL_DEPTH_CM = 15.0
# The crown of a tree or bush that is told as an example.
CROWN_METRES = 3.0
# The assumptions of a request that concern dry ash, and the steps whose cautions apply to it.
_ASSUMED = {"ash", "soil", "plant", "locale", "customs", "seed", "samples"}
_STEPS = {"burning", "sieving", "spreading"}
# Cautions of the drench that hold for dry ash as well.
_SHARED = {"ammonia", "soil_first", "no_seedbed", "wash_hands", "local_rules"}
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
    "soil_ceiling",
    "suitability_limits",
    "suitability_reasons",
    "ash_metals",
    "pest_claims",
    "undo_notes",
    "untested_notes",
)


@frozen
class Received:
    """Ash (g) and lime besides ash (g of CaCO3) that a square metre has received since the soil test."""

    ash: float = 0.0
    lime: float = 0.0


NOTHING_RECEIVED = Received()


class GroundAnswer(NamedTuple):
    """The verdict on dry ash for one soil, with ``need`` and ``advice`` of ``values.spread``, and what it is about.

    ``need`` is None if the pH of the soil is unknown; ``soil_ph`` is then the lowest that the tables reach.
    """

    circumstances: Circumstances
    verdict: Verdict
    need: Mapping[str, Figure] | None
    advice: Mapping[str, Any]
    texture: str
    depth_cm: float
    assumed: Mapping[str, str]
    soil_ph: float = LOWEST_PH


@frozen
class SpreadAnswer:
    """``values`` of the reply, the assumptions and the verdict behind them, and the cautions about dry ash."""

    values: Mapping[str, Any]
    assumed: Mapping[str, str]
    verdict: Verdict
    cautions: tuple[Caution, ...]
    locale: str
    level_measures: tuple[tuple[float, str], ...]


def spread_answer(request: Request) -> SpreadAnswer:
    """Return the yearly dry ash for the soil of a request, and the rates of common practice."""
    ash = asked_ash(request)
    seed = round(request.known("seed"))
    content = ash_content(ash, seed)
    ground = ground_answer(request, content, ash.typical().density)
    verdict = ground.verdict
    cap = cap_for(request.number("soil.ph"))
    values: dict[str, Any] = {
        "ash": {"lime_value": figure(content.lime, "1"), "potassium": figure(content.potassium, "1")},
        "cap": {"ash": _cap_figure(cap), "source": cap.source, "status": cap.status},
        "uses": [_use_figures(use, cap, ground) for use in dry_uses(ash, request.customs, seed)],
        "published": [_published_rate(row) for row in published.table("ash_spreading")],
        "metals": _metals_without_laboratory(ground.advice["ash"]["value"], request.word("country") or "EU"),
        "pests": [asdict(note) for note in notes("pest_claims")],
        "undo": [asdict(note) for note in notes("undo_notes", request.locale, request.own)],
        "untested": []
        if ground.need
        else [asdict(note) for note in notes("untested_notes", request.locale, request.own)],
        "need": ground.need,
        "advice": ground.advice,
    }
    return SpreadAnswer(
        {"spread": values, "verdict": verdict.word, "reasons": [asdict(reason) for reason in verdict.reasons]},
        {path: text for path, text in ground.assumed.items() if path.split(".")[0] in _ASSUMED},
        verdict,
        _cautions(),
        request.locale,
        _level_measures(ground.advice, request),
    )


def _level_measures(advice: Mapping[str, Any], request: Request) -> tuple[tuple[float, str], ...]:
    """Return the ash that may be given in level cups and spoons, never more than that; none where it is none.

    It is for the area of the request, else for a square metre, or for ten square feet where ground is told in feet.
    """
    most = advice.get("ash_volume")
    if not most or most["value"] <= 0:
        return ()
    in_feet = request.own.area == "ft^2" and request.number("soil.area") is None
    share = converted(10.0, "ft^2", "m^2") if in_feet else 1.0
    return measured_out(1000 * share * most["value"] / (1 + CLOSE_ENOUGH), request.customs)[1]


def _cautions() -> tuple[Caution, ...]:
    """Return the cautions about dry ash, the heaviest first."""
    found = [caution for caution in cautions_for({"dry"}) if caution.where in _STEPS or caution.id in _SHARED]
    return tuple(sorted(found, key=lambda caution: -caution.weight))


def asked_ash(request: Request) -> Ash:
    """Return the ash of a request."""
    return ash_of(
        request.word("ash.kind"),
        request.word("ash.state"),
        request.group("ash.analysis"),
        request.number("ash.density"),
    )


def ground_answer(
    request: Request, content: AshContent, density: float, received: Received = NOTHING_RECEIVED
) -> GroundAnswer:
    """Return what the soil of a request needs and may receive of an ash with this content and density (g/mL).

    The ash ``received`` is subtracted from the yearly limit, and its lime counts as having changed the pH already.
    """
    circumstances = circumstances_of(request)
    verdict = verdict_for(circumstances)
    assumed = dict(request.assumed)
    depth = _depth_cm(request, assumed)
    target = _target(request, assumed)
    texture = request.word("soil.texture")
    if not texture:
        assumed["soil.texture"] = said("unknown: loam, with a range from sand to clay")
    without_test = GroundAnswer(
        circumstances=circumstances,
        verdict=verdict,
        need=None,
        advice={"ash": exact_figure(0.0, "g/m2"), "limited_by": "held back", "covers": None, "tree": None},
        texture=texture,
        depth_cm=depth,
        assumed=assumed,
    )
    soil_ph = request.number("soil.ph")
    if soil_ph is None:
        return without_test
    cap = cap_for(soil_ph)
    error = soil_test_error(request.word("soil.tested_with"))
    known_ph = limed_ph(soil_ph, error, expected_shift(_lime_received(received, content), texture, depth, soil_ph))
    allowed = max((cap.low if verdict.word == WEAKER else cap.high) - received.ash, 0.0)
    stop = suitability_limit("soil_stop")
    advice = advised_ash(
        soil_ph=known_ph,
        target_ph=target,
        stop_ph=stop,
        texture=texture,
        depth_cm=depth,
        lime_value=content.lime,
        cap=allowed,
        is_held_back=verdict.word == HOLD,
    )
    need = {
        "target_ph": exact_figure(target, "1"),
        "lime": figure(advice.need, "g CaCO3/m2"),
        "ash": figure(advice.need_in_ash, "g/m2"),
    }
    figures = _advice_figures(advice, content, texture, depth, area=request.number("soil.area"), density=density)
    figures["covers"] = _covered_area(request, advice, density)
    crown = math.pi / 4 * CROWN_METRES**2
    figures["tree_area"] = exact_figure(crown, "m2")
    figures["tree"] = exact_figure(advice.ash * crown, "g") if advice.ash > 0 else None
    return without_test._replace(need=need, advice=figures, soil_ph=soil_ph)


def _lime_received(received: Received, content: AshContent) -> Estimate:
    lime, other = content.lime.scaled(received.ash), received.lime
    return Estimate(lime.low + other, lime.typical + other, lime.high + other)


def _depth_cm(request: Request, assumed: dict[str, str]) -> float:
    metres = request.number("soil.dug_depth")
    if metres is None:
        assumed["soil.dug_depth"] = depth_words(USUAL_DEPTH_CM, request.own, request.locale)
        return USUAL_DEPTH_CM
    return metres * 100


def _target(request: Request, assumed: dict[str, str]) -> float:
    """Return the target pH of the request, or else the usual one for soil and plant, as an assumption."""
    asked = request.number("soil.target_ph")
    if asked is not None:
        return asked
    target = soil_target(request.word("soil.texture"), request.word("plant"))
    assumed["soil.target_ph"] = write_number(target, 6, request.locale, trim=True)
    return target


def _cap_figure(cap: Cap) -> Figure:
    return figure(Estimate(cap.low, cap.high, cap.high), "g/m2")


def _use_figures(use: DryUse, cap: Cap, ground: GroundAnswer) -> dict[str, Any]:
    reference = cap if cap.high > 0 else loosest_cap()
    return {
        "id": use.id,
        "label": use.label,
        "ash": figure(use.ash, "g/m2"),
        "ash_per_year": figure(use.ash_per_year, "g/m2"),
        "potassium": figure(use.potassium, "g/m2"),
        "lime_value": figure(use.lime, "g CaCO3/m2"),
        "shift": figure(expected_shift(use.lime, ground.texture, ground.depth_cm, ground.soil_ph), "1"),
        "times_the_cap": figure(use.ash_per_year.scaled(1 / reference.high), "1"),
        "cap": reference.high,
        "is_above_cap": use.ash_per_year.typical > cap.high,
        "source": use.source,
        "status": use.status,
        "note": use.note,
    }


def _metals_without_laboratory(ash_per_year: float, country: str) -> dict[str, Any] | None:
    """Return the years until ash that was not analysed brings an ordinary soil to a country's limits of metals."""
    density = published.estimate(published.row("season_rules", "soil_density"))
    depth = float(published.row("season_rules", "metal_depth")["typical"])
    rows = typical_years_to_limit(ash_per_year, country, depth, density) if ash_per_year > 0 else ()
    if not rows:
        return None
    return {
        "country": country,
        "country_name": countries()[country]["name"],
        "rows": [
            {"metal": metal, "years": figure(years, "a"), "source": limit.source, "status": limit.status}
            for metal, years, limit in rows[:3]
        ],
    }


def _published_rate(row: Mapping[str, str]) -> dict[str, Any]:
    span = figure(published.estimate(row), row["unit"])
    return {"id": row["id"], "what": row["what"], "ash": span, "source": row["source"], "status": row["status"]}


def _advice_figures(
    advice: Advice, content: AshContent, texture: str, depth: float, area: float | None, density: float
) -> dict[str, Any]:
    lime = content.lime.scaled(advice.ash)
    return {
        "ash": exact_figure(advice.ash, "g/m2"),
        "limited_by": advice.limited_by,
        "lime_value": figure(lime, "g CaCO3/m2"),
        "potassium": figure(content.potassium.scaled(advice.ash), "g/m2"),
        "shift": figure(expected_shift(lime, texture, depth), "1"),
        "ash_for_area": None if area is None else exact_figure(advice.ash * area, "g"),
        "ash_volume": exact_figure(advice.ash * (area or 1.0) / density / 1000, "L"),
    }


def _covered_area(request: Request, advice: Advice, density: float) -> Figure | None:
    """Return the area that the ash (or its sludge) suffices for a year; None if its amount is not given."""
    reading = request.readings.get("ash.amount")
    if reading is None or advice.ash == 0:
        return None
    grams = reading.value if reading.kind == "mass" else reading.value * 1000 * density
    return exact_figure(grams / advice.ash, "m2")
