"""Build ``values`` of the reply to a batch request, under the names and units of contract version 1.

* A figure is ``{"value", "unit", "low", "high"}``: ``low`` and ``high`` hold the middle 90 % of the plausible ashes.
  They equal ``value`` where nothing is uncertain.
* ``value`` is that of one ash, typical in everything, so that figures add up. The sample medians stand apart in
  ``evidence.medians``, by path.
* Figures keep six significant digits; the sheet rounds them for people. Names may be added here, never renamed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import Any

from feedcalc.chemistry import Equilibrium
from feedcalc.contract.figures import Figure, exact_figure, figure, flat_figures, six_digits
from feedcalc.contract.own_measures import by_customs
from feedcalc.contract.request import Request
from feedcalc.garden.ash import ELEMENTS
from feedcalc.liquor.answer import Answer, Outcome
from feedcalc.liquor.delivery import Delivered
from feedcalc.liquor.dilution import Feed, is_within
from feedcalc.liquor.planning import STAGES, WEAKEST_SENSIBLE_PARTS
from feedcalc.liquor.steeping import Liquor, dissolved_share
from feedcalc.liquor.verdict import sludge_area, verdict_on
from feedcalc.liquor.vessel import liquor_for_can, water_kilograms
from feedcalc.liquor.ways import ways_round
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.messages import said

# Five minutes, a quarter of an hour, one, four, twelve and twenty-four hours.
DISSOLVING_HOURS = (5 / 60, 0.25, 1.0, 4.0, 12.0, 24.0)

# Names and units of the figures of any solution, in the order of the sheet.
SOLUTION_FIGURES: tuple[tuple[str, str, Callable[[Liquor], float]], ...] = (
    ("ph", "1", lambda liquor: liquor.equilibrium.ph),
    ("ec", "mS/cm", lambda liquor: liquor.equilibrium.conductivity),
    ("potassium", "mg/L", lambda liquor: liquor.milligrams_per_litre("potassium")),
    ("calcium", "mg/L", lambda liquor: liquor.milligrams_per_litre("calcium")),
    ("magnesium", "mg/L", lambda liquor: liquor.milligrams_per_litre("magnesium")),
    ("sodium", "mg/L", lambda liquor: liquor.milligrams_per_litre("sodium")),
    ("sulfur", "mg/L", lambda liquor: liquor.milligrams_per_litre("sulfur")),
    ("chloride", "mg/L", lambda liquor: liquor.milligrams_per_litre("chloride")),
    ("phosphorus", "mg/L", lambda liquor: liquor.milligrams_per_litre("phosphorus")),
    ("alkalinity", "mg/L CaCO3", lambda liquor: liquor.alkalinity),
    ("ionic_strength", "mol/kg", lambda liquor: liquor.equilibrium.ionic_strength),
)


def values_of(answer: Answer) -> dict[str, Any]:
    """Return ``values`` of the reply to a batch request."""
    values: dict[str, Any] = {
        "liquor": {
            **_solution(answer, lambda outcome: outcome.steep.liquor),
            "ph_25": figure(answer.spread(lambda outcome: outcome.liquor_ph_25), "1"),
        },
        "batch": _batch(answer),
        "ladder": [_rung(answer, index, rung) for index, rung in enumerate(answer.typical.ladder)],
        "delivered": {
            "per_can": delivered_figures(answer, lambda outcome: outcome.per_can),
            "per_plant": delivered_figures(answer, lambda outcome: outcome.per_plant),
            "per_square_metre": delivered_figures(answer, lambda outcome: outcome.per_square_metre),
        },
        "sludge": _sludge(answer),
        "steeping": {"dissolving": [_dissolving(answer, hours) for hours in DISSOLVING_HOURS]},
        "settling": {
            "cleared_diameter": figure(answer.spread(lambda outcome: outcome.cleared_metres * 1e6), "um"),
            "dissolved_share": figure(answer.spread(lambda outcome: outcome.steep.dissolved_share), "1"),
        },
        "recommended": {stage: recommended(answer, stage) for stage in STAGES},
        "evidence": _evidence(answer),
    }
    if answer.typical.clouding_metres is not None:
        clouding = answer.spread(lambda outcome: (outcome.clouding_metres or 0.0) * 1e6)
        values["settling"]["clouding_diameter"] = figure(clouding, "um")
    verdict = verdict_on(answer)
    values["verdict"] = verdict.word
    values["reasons"] = [asdict(reason) for reason in verdict.reasons]
    values["ways"], values["gentler"] = ways_round(answer, verdict)
    values["suggestions"] = [asdict(suggestion) for suggestion in answer.suggestions]
    values["whose_measures"] = _whose_measures(answer.request)
    area = sludge_area(answer, verdict)
    if area is not None:
        values["sludge"]["area_at_cap"] = figure(area, "m2")
    if answer.typical.in_air is not None:
        values["liquor_in_air"] = _solution(answer, _in_air)
    return values


def _whose_measures(request: Request) -> list[dict[str, str]]:
    """Return what to ask about a measure that differs by country: a field, its values, and what each would mean."""
    unsure = request.unsure_measure
    if unsure is None:
        return []
    question = said("Which measure is “{typed}”? It was read as {reading}.", typed=unsure.text, reading=unsure.echo)
    return [{**choice, "because": question} for choice in by_customs(unsure.typed_unit, request.locale)]


def values_of_solution(equilibrium: Equilibrium) -> dict[str, Any]:
    """Return ``values`` of the reply to a request for chemistry alone."""
    liquor = Liquor(equilibrium)
    solution: dict[str, Any] = {name: exact_figure(of(liquor), unit) for name, unit, of in SOLUTION_FIGURES}
    solution["minerals"] = {mineral: exact_figure(mol * 1000, "mmol/kg") for mineral, mol in equilibrium.formed.items()}
    return {"solution": solution}


def _dissolving(answer: Answer, hours: float) -> dict[str, Figure]:
    """Return the share of the soluble potassium that has dissolved after some hours of a stirred steep."""
    share = answer.spread(lambda outcome: dissolved_share(hours, outcome.sample))
    return {"time": exact_figure(hours, "h"), "share": figure(share, "1")}


def _in_air(outcome: Outcome) -> Liquor:
    assert outcome.in_air is not None
    return outcome.in_air


def _solution(answer: Answer, liquor_of: Callable[[Outcome], Liquor]) -> dict[str, Figure]:
    return {
        name: figure(answer.spread(lambda outcome, of=of: of(liquor_of(outcome))), unit)  # type: ignore[misc]
        for name, unit, of in SOLUTION_FIGURES
    }


def _batch(answer: Answer) -> dict[str, Any]:
    plan = answer.plan
    weighed = plan.ash_grams is not None
    mass = answer.spread(lambda outcome: outcome.batch.ash_grams)
    volume = answer.spread(lambda outcome: outcome.batch.ash_grams / outcome.sample.density)
    return {
        "ash_mass": exact_figure(mass.typical, "g") if weighed else figure(mass, "g"),
        "ash_volume": figure(volume, "mL") if weighed else exact_figure(plan.ash_millilitres, "mL"),
        "water_volume": exact_figure(plan.water_litres, "L"),
        "liquor_volume": figure(answer.spread(lambda outcome: outcome.batch.liquor_litres), "L"),
        "sludge_volume": figure(answer.spread(lambda outcome: outcome.batch.sludge_litres), "L"),
        "guard_volume": figure(answer.spread(lambda outcome: outcome.batch.guard_litres), "L"),
        "surface_height": figure(answer.spread(lambda outcome: outcome.batch.surface * 100), "cm"),
        "pour_height": figure(answer.spread(lambda outcome: outcome.batch.pour_line * 100), "cm"),
        "sludge_height": figure(answer.spread(lambda outcome: outcome.batch.sludge_top * 100), "cm"),
        "settle_time": figure(answer.spread(lambda outcome: outcome.settle_hours), "h"),
        "liquor_per_can": exact_figure(plan.liquor_per_can[0], "L"),
        "water_per_can": exact_figure(plan.water_per_can[0], "L"),
        "goes": exact_figure(float(answer.typical.batch.goes), "1"),
        "cans_filled": figure(answer.spread(lambda outcome: outcome.batch.liquor_litres / plan.liquor_per_can[0]), "1"),
        "parts_water": exact_figure(plan.parts_water, "1"),
        "cans": [
            {
                "size": exact_figure(can.litres, "L"),
                "count": exact_figure(float(can.count), "1"),
                "liquor": exact_figure(liquor, "L"),
                "water": exact_figure(water, "L"),
            }
            for can, liquor, water in zip(plan.cans, plan.liquor_per_can, plan.water_per_can, strict=True)
        ],
    }


def _rung(answer: Answer, index: int, rung: Feed) -> dict[str, Any]:
    can = answer.plan.cans[0].litres
    liquor = liquor_for_can(can, rung.parts_water)
    return {
        "parts_liquor": exact_figure(1.0, "1"),
        "parts_water": exact_figure(rung.parts_water, "1"),
        **_solution(answer, lambda outcome: outcome.ladder[index].liquor),
        "ph_25": figure(_ph_25(answer, index, rung), "1"),
        "lime_haze": figure(answer.spread(lambda outcome: outcome.ladder[index].lime_haze), "mg/L"),
        "liquor_per_can": exact_figure(liquor, "L"),
        "water_per_can": exact_figure(can - liquor, "L"),
        "chosen": rung.parts_water == answer.plan.parts_water,
        "within_limits_for": [stage for stage in STAGES if is_within(answer.limits[stage], rung.liquor)],
    }


def _ph_25(answer: Answer, index: int, rung: Feed) -> Estimate:
    """Return the pH of a rung at 25 degC: that of the chosen one for every ash, the others moved as the typical one."""
    if rung.parts_water == answer.plan.parts_water:
        return answer.spread(lambda outcome: outcome.own_ph_25)
    shift = rung.liquor.ph_25 - rung.liquor.equilibrium.ph
    ph = answer.spread(lambda outcome: outcome.ladder[index].liquor.equilibrium.ph)
    return Estimate(ph.low + shift, ph.typical + shift, ph.high + shift)


def delivered_figures(answer: Answer, delivered: Callable[[Outcome], Delivered]) -> dict[str, Figure]:
    """Return the figures of what a feed supplies to a can, a plant or a square metre."""
    return {
        "volume": figure(answer.spread(lambda outcome: delivered(outcome).litres), "L"),
        "potassium": figure(answer.spread(lambda outcome: delivered(outcome).potassium), "mg"),
        "calcium": figure(answer.spread(lambda outcome: delivered(outcome).calcium), "mg"),
        "magnesium": figure(answer.spread(lambda outcome: delivered(outcome).magnesium), "mg"),
        "lime_value": figure(answer.spread(lambda outcome: delivered(outcome).lime_value), "g CaCO3"),
    }


def _sludge(answer: Answer) -> dict[str, Figure]:
    """Return the contents of the whole sludge: its solids and the liquor that stays between and above the grains."""
    contents = {
        element: figure(answer.spread(lambda outcome, element=element: sludge_grams(outcome, element)), "g")  # type: ignore[misc]
        for element in ELEMENTS
    }
    contents["lime_value"] = figure(answer.spread(sludge_lime), "g CaCO3")
    contents["lime_share"] = figure(
        answer.spread(
            lambda outcome: _share(sludge_lime(outcome), outcome.sample.lime_value() * outcome.batch.ash_grams)
        ),
        "1",
    )
    return contents


def _evidence(answer: Answer) -> dict[str, Any]:
    """Return the readings that were used, and the share of the spread (0 to 1) that each unknown explains."""
    evidence: dict[str, Any] = {
        "readings": list(answer.readings_used),
        "matters": [
            {
                "unknown": matter.unknown,
                "potassium": six_digits(matter.potassium),
                "ph": six_digits(matter.ph),
                "lime_value": six_digits(matter.lime_value),
            }
            for matter in answer.matters
        ],
    }
    if answer.request.earlier:
        evidence["earlier_batches"] = exact_figure(float(answer.earlier_batches), "1")
    if answer.effective_samples is not None:
        evidence["effective_samples"] = exact_figure(answer.effective_samples, "1")
    return evidence


def sludge_grams(outcome: Outcome, element: str) -> float:
    """Return the grams of an element in the whole sludge of an outcome, with the liquor left in it."""
    solids = outcome.steep.sludge.grams_per_gram[element] * outcome.batch.ash_grams
    return solids + outcome.steep.liquor.milligrams_per_litre(element) / 1000 * _left_behind(outcome)


def sludge_lime(outcome: Outcome) -> float:
    """Return the lime value (g CaCO3) of the whole sludge of an outcome, with the liquor left in it."""
    solids = outcome.steep.sludge.lime_value * outcome.batch.ash_grams
    return solids + outcome.steep.liquor.alkalinity / 1000 * _left_behind(outcome)


def _left_behind(outcome: Outcome) -> float:
    """Return the litres of liquor that are not poured off: in the guard layer and between the grains of the sludge.

    This is all the liquor less what is poured, so that the mass balance of the ash closes.
    """
    equilibrium = outcome.steep.liquor.equilibrium
    kilograms = water_kilograms(outcome.batch.water_litres, equilibrium.temperature_kelvin)
    return max(equilibrium.litres * kilograms - outcome.batch.liquor_litres, 0.0)


def _share(part: float, whole: float) -> float:
    return min(part / whole, 1.0) if whole > 0 else 0.0


def recommended(answer: Answer, stage: str) -> dict[str, Any] | None:
    """Return the parts of water for a stage by the published limits; None where no dilution meets them."""
    if answer.typical.recommended[stage] > WEAKEST_SENSIBLE_PARTS:
        return None
    parts = answer.spread(lambda outcome: min(outcome.recommended[stage], WEAKEST_SENSIBLE_PARTS))
    limits = answer.limits[stage]
    return {
        "parts_water": figure(parts, "1"),
        "limits": [
            {
                "quantity": limit.quantity,
                "at_most": limit.high,
                "unit": limit.unit,
                "source": limit.row["source"],
                "status": limit.row["status"],
            }
            for limit in limits
        ],
    }


def medians_taken(values: Mapping[str, Any]) -> dict[str, float]:
    """Remove the median from every sampled figure and return the medians by path."""
    return {path: found.pop("median") for path, found in flat_figures(values).items() if "median" in found}


# The tables that a batch answer depends on, for its list of sources.
TABLES_BEHIND_A_BATCH = (
    "ash_composition",
    "ash_soluble",
    "ash_state",
    "ash_density",
    "ash_dissolution",
    "ash_settling",
    "reading_widths",
    "reading_rules",
    "indicators",
    "crop_removal",
    "soil_layer",
    "trace_extracts",
    "trace_limits",
    "boron_sensitive",
    "water_kinds",
    "feed_limits",
    "feed_practice",
    "cautions",
    "hazard_classes",
    "element_masses",
    "plant_names",
    "plants",
    "plant_soil_ph",
    "suitability_reasons",
    "suitability_limits",
    "soil_buffers",
    "soil_ceiling",
)

TABLES_BEHIND_CHEMISTRY = (
    "chem_elements",
    "chem_species",
    "chem_minerals",
    "chem_gases",
    "chem_volume",
    "chem_conductivity",
)
