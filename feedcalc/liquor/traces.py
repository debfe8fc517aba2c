"""Boron and chromium of liquor and feed, estimated from what water was found to take out of ash.

* Traces are proportional to the ash in the water. They are no part of the equilibrium.
* The limits are published for water given at every watering, so passing one is a warning, not a verdict.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from feedcalc import published
from feedcalc.contract.figures import figure
from feedcalc.contract.quantities import write_quantity
from feedcalc.garden.plants import Plant, plants_named
from feedcalc.liquor.answer import Answer
from feedcalc.uncertainty.estimates import Estimate
from feedcalc.words.messages import said

TRACES = ("boron", "chromium")


def traces(answer: Answer) -> tuple[dict[str, Estimate], dict[str, Any], tuple[str, ...]]:
    """Return the traces of the liquor in mg/L, ``values.traces`` of the feed, and warnings."""
    liquor = {element: _in_liquor(answer, element) for element in TRACES}
    feed = {element: known.scaled(1 / (1 + answer.plan.parts_water)) for element, known in liquor.items()}
    values = {
        element: {
            "feed": figure(known, "mg/L"),
            "effect": _effect(element, known.typical)["effect"],
            "limits": [
                {
                    "effect": row["effect"],
                    "above": float(row["above"]),
                    "source": row["source"],
                    "status": row["status"],
                }
                for row in _limits(element)
            ],
        }
        for element, known in feed.items()
    }
    return liquor, values, _boron_warnings(answer, feed["boron"])


def _in_liquor(answer: Answer, element: str) -> Estimate:
    """Return a trace of the liquor in mg/L. Strength and extract vary independently, so their log ranges add up."""
    strength = answer.spread(lambda outcome: outcome.batch.strength)
    extract = published.estimate(published.row("trace_extracts", element))
    typical = strength.typical * extract.typical / 1000
    if not answer.others:
        return Estimate.exactly(typical)
    down = math.hypot(math.log(strength.typical / strength.low), math.log(extract.typical / extract.low))
    up = math.hypot(math.log(strength.high / strength.typical), math.log(extract.high / extract.typical))
    return Estimate(typical * math.exp(-down), typical, typical * math.exp(up))


def _limits(element: str) -> list[Mapping[str, str]]:
    return [row for row in published.table("trace_limits") if row["element"] == element]


def _effect(element: str, milligrams_per_litre: float) -> Mapping[str, str]:
    return [row for row in _limits(element) if float(row["above"]) <= milligrams_per_litre][-1]


def boron_sensitive_plant(name: str) -> Plant | None:
    """Return the plant of this name that boron harms first, or None."""
    sensitive = {row["plant"] for row in published.table("boron_sensitive")}
    return next((plant for plant in plants_named(name or "") if plant.id in sensitive), None)


def _boron_warnings(answer: Answer, feed: Estimate) -> tuple[str, ...]:
    limit = float(_limits("boron")[1]["above"])
    if feed.high <= limit:
        return ()
    locale = answer.request.locale
    most, least = (write_quantity(value, "mg/L", 2, locale, trim=True) for value in (feed.high, limit))
    plant = boron_sensitive_plant(answer.request.word("plant"))
    if plant is None:
        warning = said(
            "The feed may hold up to {most} of boron. The limit for water given at every watering is {least}, so "
            "give no more feeds in a season than advised.",
            most=most,
            least=least,
        )
    else:
        warning = said(
            "The feed may hold up to {most} of boron. The limit for water given at every watering is {least}. This "
            "plant ({plant}) is one of those that boron harms first: dilute more or feed less often.",
            most=most,
            least=least,
            plant=plant.names[0],
        )
    return (warning,)
