"""Build the figures of what liquor and feed do next: with acid, in air, with a second thing, as lime haze, in soil.

Names and units are those of the contract. Nothing is computed here: the chemistry is in `acid`, `air`, `mixing` and
`haze`. Only what the request asks for is included.
"""

from __future__ import annotations

from math import isfinite
from typing import Any

from feedcalc.contract.figures import exact_figure, figure, six_digits
from feedcalc.liquor.acid import Acid, Neutralisation, acid_dose, acid_for, acids, titration_curve
from feedcalc.liquor.air import caustic_switch, corrosive_ph, exposure_to_air, hydroxide_share
from feedcalc.liquor.answer import Answer, Outcome
from feedcalc.liquor.feeding import feeding
from feedcalc.liquor.haze import haze_in_can
from feedcalc.liquor.mixing import MINERAL_WORDS, mixing_check, second_things
from feedcalc.liquor.next_readings import KITCHEN_ASSAY, next_readings
from feedcalc.liquor.steeping import phosphorus_if_amorphous
from feedcalc.liquor.traces import traces
from feedcalc.liquor.vessel import water_kilograms
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.languages import MACHINE_WORDS
from feedcalc.words.messages import said

# The names of these parts in ``values``.
REACTIONS = ("acid", "air", "assay", "caustic", "feeding", "haze", "mixing", "traces")


def with_reactions(answer: Answer, values: dict[str, Any]) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Return ``values`` with the reactions added, and the warnings about them."""
    found = dict(values)
    warnings: list[str] = []
    if answer.request.word("acid.kind"):
        acid, acid_warnings = _acid(answer)
        found["acid"] = acid
        if "volume" in acid:
            found["batch"] = {**found["batch"], "acid_volume": acid["volume"]}
        warnings += acid_warnings
    found["haze"] = _haze(answer)
    found["feeding"] = feeding(answer)
    in_liquor, found["traces"], trace_warnings = traces(answer)
    found["liquor"] = {**found["liquor"], **{name: figure(known, "mg/L") for name, known in in_liquor.items()}}
    warnings += trace_warnings
    if answer.request.word("mixing.with"):
        found["mixing"] = _mixing(answer)
        mixing = found["mixing"]
        verdict = MACHINE_WORDS.get(mixing["verdict"], mixing["verdict"])
        warnings.append(
            said("{thing}: {verdict}. {reason}", thing=mixing["words"], verdict=verdict, reason=mixing["reason"])
        )
    if answer.request.word("ranges") == "on":
        found["air"] = _air(answer)
        found["caustic"] = _caustic(answer)
        found["assay"] = _assay(answer)
        amorphous = answer.spread(lambda outcome: phosphorus_if_amorphous(outcome.steep.liquor))
        found["phosphate"] = {"phosphorus_if_amorphous": figure(amorphous, "mg/L")}
        apatite = found["liquor"]["phosphorus"]
        both_ends = {**apatite, "high": max(apatite["high"], found["phosphate"]["phosphorus_if_amorphous"]["high"])}
        found["liquor"] = {**found["liquor"], "phosphorus": both_ends}
    return found, tuple(warnings)


def _assay(answer: Answer) -> dict[str, Any]:
    """Return by how much each reading that is still open would narrow the ranges, and what the kitchen assay takes."""
    readings, vinegar = next_readings(answer)
    assay: dict[str, Any] = {
        "readings": [
            {
                "fields": list(reading.fields),
                "words": reading.words,
                "potassium": six_digits(reading.potassium),
                "ph": six_digits(reading.ph),
                "lime_value": six_digits(reading.lime_value),
            }
            for reading in readings
        ],
        "kitchen": KITCHEN_ASSAY if any(reading.fields == (KITCHEN_ASSAY,) for reading in readings) else "",
    }
    if vinegar is not None:
        assay["vinegar"] = figure(vinegar, "mL")
    return assay


def _as_asked(answer: Answer, known: Estimate) -> Estimate:
    """Return the estimate, or only its typical value where the request wants no ranges."""
    return known if answer.request.word("ranges") == "on" else Estimate.exactly(known.typical)


def _haze(answer: Answer) -> dict[str, Any]:
    """Return the lime haze of the chosen dilution in a can, and its effect on roses and strainers."""
    can = answer.plan.cans[0].litres
    haze = haze_in_can(answer.typical.own, can, answer.kelvin)
    return {
        "per_can": figure(answer.spread(lambda outcome: outcome.own.lime_haze).scaled(can / 1000), "g"),
        "visible": haze.is_visible,
        "time_to_sink": figure(_as_asked(answer, haze.hours_to_sink), "h"),
        "openings": [
            {
                "words": risk.words,
                "risk": risk.risk,
                "opening": figure(_as_asked(answer, risk.opening_micrometres), "um"),
                "filter_first": risk.filter_first,
                "source": risk.source,
                "status": risk.status,
            }
            for risk in haze.risks
        ],
    }


def _mixing(answer: Answer) -> dict[str, Any]:
    """Return the chosen feed with a second thing: the verdict, the precipitate and the gas."""
    request = answer.request
    thing = second_things()[request.word("mixing.with")]
    dose = request.number("mixing.dose")
    grams = None if dose is None else dose / 1000
    check = mixing_check(answer.typical.own.liquor, thing, answer.kelvin, dose=grams, locale=request.locale)
    values: dict[str, Any] = {
        "with": thing.id,
        "words": thing.words,
        "verdict": check.verdict,
        "reason": check.reason,
        "remarks": list(check.remarks),
        "source": thing.source,
        "status": thing.status,
        "ph_before": exact_figure(check.ph_before, "1"),
        "ph_after": exact_figure(check.ph_after, "1"),
        "fallen_out": {
            mineral: {"words": MINERAL_WORDS[mineral], "amount": exact_figure(amount, "mg/L")}
            for mineral, amount in check.fallen_out.items()
        },
    }
    if check.dose is not None:
        values["dose"] = exact_figure(check.dose, "g/L")
    if check.ammonia_nitrogen > 0:
        values["ammonia_share"] = exact_figure(check.ammonia_share, "1")
        values["ammonia_in_air"] = exact_figure(check.ammonia_ppm, "ppm")
    return values


# Days for which the pH is given: hours at first, then up to a month.
DAYS_IN_AIR = (0.0, 0.25, 1.0, 3.0, 7.0, 14.0, 30.0)


def _air(answer: Answer) -> dict[str, Any]:
    """Return the pH of the liquor left in its bucket, day by day and in the end."""
    request, batch = answer.request, answer.typical.batch
    is_covered = request.word("steep.air") == "covered"
    exposure = exposure_to_air(
        answer.typical.steep.liquor,
        surface_m2=answer.vessel.area,
        litres=max(batch.liquor_litres / batch.goes, 1e-6),
        temperature_kelvin=answer.kelvin,
        days=DAYS_IN_AIR,
        is_covered=is_covered,
    )
    soonest, usual, latest = exposure.days_until(corrosive_ph())
    values: dict[str, Any] = {
        "covered": is_covered,
        "ph_at_first": exact_figure(exposure.ph_at_first, "1"),
        "ph_in_the_end": exact_figure(exposure.ph_in_the_end, "1"),
        "days": [
            {
                "days": exact_figure(row.days, "d"),
                "ph": figure(row.ph, "1"),
                "alkalinity": figure(row.alkalinity, "mg/L CaCO3"),
            }
            for row in exposure.rows
        ],
    }
    if soonest is not None and usual and isfinite(usual):
        last = latest if latest is not None and isfinite(latest) else 10 * DAYS_IN_AIR[-1]
        values["days_until_mild"] = figure(Estimate(soonest, usual, max(last, usual)), "d")
    return values


def _caustic(answer: Answer) -> dict[str, Any]:
    """Return the effect of free lime on the liquor, and the share of it from which the liquor is corrosive."""
    request, typical = answer.request, answer.typical
    kelvin = answer.kelvin
    per_kilogram = typical.batch.strength / water_kilograms(1.0, kelvin)
    switch = caustic_switch(typical.sample, per_kilogram, answer.water, kelvin, hours=request.known("steep.time"))
    values: dict[str, Any] = {
        "free_lime": figure(answer.spread(lambda outcome: outcome.sample.free_lime), "1"),
        "hydroxide_share": figure(answer.spread(lambda outcome: hydroxide_share(outcome.steep.liquor)), "1"),
        "corrosive_ph": exact_figure(switch.corrosive_ph, "1"),
        "curve": [[share, ph] for share, ph, _ in switch.rows],
    }
    if switch.corrosive_from is not None:
        values["corrosive_from"] = exact_figure(switch.corrosive_from, "1")
    return values


def _acid(answer: Answer) -> tuple[dict[str, Any], list[str]]:
    """Return how acid brings the chosen feed to the wanted pH, with the warnings about it."""
    request = answer.request
    acid = acids()[request.word("acid.kind")]
    strength = request.number("acid.strength") or acid.strengths[1]
    target = request.known("acid.target_ph")
    kelvin = answer.kelvin
    typical = acid_for(
        answer.typical.own.liquor, acid, strength, target_ph=target, temperature_kelvin=kelvin, locale=request.locale
    )
    values: dict[str, Any] = {
        "kind": acid.id,
        "words": acid.words,
        "caution": acid.caution,
        "strength": exact_figure(strength, "1"),
        "target_ph": exact_figure(target, "1"),
        "ph_before": figure(answer.spread(lambda outcome: outcome.own.liquor.equilibrium.ph), "1"),
        "easily_overshot": typical.is_easily_overshot,
        "reason": typical.reason,
        "curve": [[dose, ph] for dose, ph in titration_curve(answer.typical.own.liquor, acid, strength, kelvin)],
    }
    if typical.dose is None:
        return values, [typical.reason]
    dose = answer.spread(lambda outcome: _dose(outcome, acid, strength, target, kelvin))
    values["volume" if acid.is_liquid else "mass"] = figure(dose, acid.unit)
    per_can = dose.scaled(answer.plan.cans[0].litres)
    values["per_can"] = figure(per_can, "mL" if acid.is_liquid else "g")
    values["ph_reached"] = exact_figure(typical.ph_reached, "1")
    values["ph_gas_gone"] = exact_figure(typical.ph_gas_gone, "1")
    values["carbon_dioxide"] = exact_figure(typical.carbon_dioxide_millilitres_per_litre, "mL/L")
    if typical.dose_gas_gone:
        values["dose_gas_gone"] = exact_figure(typical.dose_gas_gone, acid.unit)
    if typical.dose_half_ph_past is not None:
        values["half_ph_past"] = exact_figure(typical.dose_half_ph_past, acid.unit)
    return values, _acid_warnings(typical)


def _dose(outcome: Outcome, acid: Acid, strength: float, target: float, kelvin: float) -> float:
    dose = acid_dose(outcome.own.liquor, acid, strength, target_ph=target, temperature_kelvin=kelvin)
    return acid.most_per_litre if dose is None else dose


def _acid_warnings(typical: Neutralisation) -> list[str]:
    warnings = [typical.reason] if typical.reason else []
    if typical.is_easily_overshot:
        warnings.append(
            said("The last drops of acid change the pH fast. Add half, stir and measure, then add a little at a time.")
        )
    return warnings
