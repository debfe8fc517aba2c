"""What happened: from what was put on and what is seen to the soil's pH now, likely causes, tests and what to do.

* The text is read as a recipe is (`feedcalc.garden.recipe_text`). An amount and its ground give the lime; without
  them the causes are told all the same, and what would narrow them is asked for.
* Lime lifts a soil no further than carbonate does (`feedcalc.garden.liming`). Recovery is the lime beyond pH 6.5 over
  what crops and rain use up in a year, end against end, so its range is wide.
* Causes, tests and what to do are rows of ``mishap_causes.csv``, the likeliest first for each sign.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from feedcalc import published
from feedcalc.contract.cautions import cautions_for
from feedcalc.contract.figures import exact_figure, figure
from feedcalc.contract.request import Request, request_of
from feedcalc.garden.dry_ash import cap_for, loosest_cap
from feedcalc.garden.liming import TABLE_DEPTH_CM, expected_shift, limed_ph, soil_buffer
from feedcalc.garden.recipe_text import RecipeText, recipe_text
from feedcalc.garden.suitability import soil_test_error
from feedcalc.liquor.judging import Judgement, Recipe, items_read
from feedcalc.uncertainty.estimates import Estimate, estimate_of, latin_hypercube
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.messages import said

SAMPLES = 40
TABLES_BEHIND_MISHAPS = ("mishap_rules", "mishap_causes", "soil_buffers", "ash_caps", "undo_notes")
MOST_YEARS = 50.0  # longer than this nobody waits: the soil is taken out
_FIRST_AID = ("first_aid_eyes", "first_aid_skin", "first_aid_swallowed", "dry_skin")
_SHOWN_FROM_PH = 6.9  # lime is not what happened where the soil is surely below


def mishap_answer(document: Mapping[str, Any]) -> Judgement:
    """Return what likely happened, for the text under ``happened`` of a request document.

    Raises `InputErrors` where the text says neither what was put on nor what is seen.
    """
    asked = request_of(document)
    typed = asked.word("happened")
    text = recipe_text(typed, asked.language, asked.customs)
    if not text.signs and text.ash is None and text.rate is None and text.soil_ph is None:
        problem = said("This does not say what was put on, or what is seen.")
        accepted = said("such as: 2 buckets of ash on 10 square metres, young leaves are pale")
        raise InputErrors([InputError("happened", typed, problem, accepted)])
    # Who is hurt comes before every plant.
    signs = tuple(sorted(text.signs, key=lambda sign: sign != "hurt")) or ("too_much",)
    soil = _soil(document, text, asked.locale)
    causes = _causes(signs, soil)
    pot = text.container.value if text.container else None
    values = {
        "read": items_read(text, asked.customs),
        "unread": list(text.unread),
        "signs": [{"id": sign, "label": published.row("mishap_signs", sign)["label"]} for sign in signs],
        "soil": soil,
        "asked": _asked(asked, text),
        "causes": [dict(row) for row in causes],
        "leach": _leach(pot, is_pot=pot is not None or "pot" in text.did or asked.word("place") == "pot"),
    }
    shown = _FIRST_AID if "hurt" in signs else ("dry_skin", "dry_eyes", "dry_wet_ash")
    cautions = [row for row in cautions_for({"dry"}) if row.id in shown]
    return Judgement(asked, {"happened": values}, {}, tuple(cautions))


def _soil(document: Mapping[str, Any], text: RecipeText, locale: str) -> dict[str, Any] | None:
    """Return ash and lime on a square metre, the pH now and the years to recover; None without amount and ground."""
    has_ground = text.rate is not None or text.area is not None or text.container is not None
    if not has_ground or (text.ash is None and text.rate is None):
        return None
    recipe = Recipe.of(document, text, locale)
    quantiles = latin_hypercube(sorted(recipe.ash.unknowns), SAMPLES, 1)
    typical = recipe.judged(recipe.ash.typical()).ground
    others = [recipe.judged(recipe.ash.sample_at(row)).ground for row in quantiles]
    lime = estimate_of([max(other.lime_value, 0.0) for other in others], max(typical.lime_value, 0.0))
    ash = estimate_of([other.ash for other in others], typical.ash)
    known, texture = recipe.request.number("soil.ph"), recipe.request.word("soil.texture")
    depth = 100 * (recipe.request.number("soil.dug_depth") or TABLE_DEPTH_CM / 100)
    before, error = _before(recipe.request)
    now = limed_ph(before, error, expected_shift(lime, texture, depth, before))
    cap = cap_for(known).high or loosest_cap().high
    return {
        "ash": figure(ash, "g/m2"),
        "lime": figure(lime, "g CaCO3/m2"),
        "times_the_cap": figure(ash.scaled(1 / cap), "1"),
        "ph_before": figure(Estimate(before - error, before, before + error), "1"),
        "is_tested": known is not None,
        "ph_now": figure(now, "1"),
        "years": figure(_years(lime, Estimate(before - error, before, before + error), texture, depth), "a"),
        "locks": [row["element"] for row in published.table("mishap_locks") if now.typical >= float(row["ph"])],
        "may_lock": [
            row["element"] for row in published.table("mishap_locks") if now.typical < float(row["ph"]) <= now.high
        ],
    }


def _before(request: Request) -> tuple[float, float]:
    """Return the pH of the soil before, and how far that may be off."""
    known = request.number("soil.ph")
    if known is not None:
        return known, soil_test_error(request.word("soil.tested_with"))
    untested = _rule("ph_untested")
    return untested.typical, untested.high - untested.typical


def _years(lime: Estimate, before: Estimate, texture: str, depth: float) -> Estimate:
    """Return the years, at most `MOST_YEARS`, until crops and rain have used up the lime beyond the recovered pH."""
    buffer, lost, target = soil_buffer(texture, depth), _rule("lime_lost"), _rule("recovered_ph").typical
    least = max(lime.low - buffer.high * max(target - before.low, 0.0), 0.0)
    usual = max(lime.typical - buffer.typical * max(target - before.typical, 0.0), 0.0)
    most = max(lime.high - buffer.low * max(target - before.high, 0.0), 0.0)
    years = least / lost.high, usual / lost.typical, most / lost.low
    return Estimate(*(min(value, MOST_YEARS) for value in years))


def _causes(signs: tuple[str, ...], soil: Mapping[str, Any] | None) -> list[Mapping[str, str]]:
    """Return the causes of all signs, the likeliest first; lime last where the soil is surely below pH 7."""
    rows = [published.row("mishap_signs", sign)["causes"].split("|") for sign in signs]
    places = range(max(map(len, rows)))
    found = dict.fromkeys(row[place] for place in places for row in rows if place < len(row))
    if soil and soil["ph_now"]["high"] < _SHOWN_FROM_PH and "lime" in found:
        found = {**{cause: None for cause in found if cause != "lime"}, "lime": None}
    return [published.row("mishap_causes", cause) for cause in found]


def _asked(request: Request, text: RecipeText) -> list[str]:
    """Return what would narrow the answer."""
    wanted: list[str] = []
    if text.ash is None and text.rate is None:
        wanted.append(said("how much ash, or what feed"))
    if text.rate is None and text.area is None and text.container is None:
        wanted.append(said("on how large a ground, or in how large a pot"))
    if text.soil_ph is None and request.number("soil.ph") is None:
        wanted.append(said("the pH of the soil before or now"))
    if not request.word("soil.texture"):
        wanted.append(said("sand, loam or clay"))
    return wanted


def _leach(pot_litres: float | None, is_pot: bool) -> dict[str, Any]:
    """Return the water that washes salt out, and the share that should run off later, by the leaching requirement.

    LR = EC of the water / (5 EC of the soil - EC of the water), FAO Irrigation and Drainage Paper 29.
    """
    soil_ec, water = _rule("soil_ec").typical, _rule("water_ec")

    def share(water_ec: float) -> float:
        return water_ec / (5 * soil_ec - water_ec)

    found: dict[str, Any] = {
        "is_pot": is_pot,
        "volumes": figure(_rule("pot_volumes"), "1"),
        "runoff_share": figure(Estimate(share(water.low), share(water.typical), share(water.high)), "1"),
        "half_of_salt": exact_figure(_rule("half_depth").typical, "L"),
        "most_of_salt": exact_figure(_rule("most_depth").typical, "L"),
    }
    if pot_litres is not None:
        found["pot_water"] = figure(_rule("pot_volumes").scaled(pot_litres), "L")
    return found


def _rule(rule: str) -> Estimate:
    return published.estimate(published.row("mishap_rules", rule))
