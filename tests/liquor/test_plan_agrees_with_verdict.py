"""The plan that is chosen automatically passes what it is judged by, or says what is in the way and the way round."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from itertools import product
from typing import Any

import pytest

from feedcalc import published
from feedcalc.contract.fields import PLACES
from feedcalc.contract.request import Request, read_request
from feedcalc.liquor import ways
from feedcalc.liquor.answer import answer_to
from feedcalc.liquor.verdict import verdict_on

KINDS = [row["kind"] for row in published.table("ash_kinds")]
WATERS = [row["kind"] for row in published.table("water_kinds")]
STATES = ("unknown", "fresh", "aged", "leached")
STAGES = ("seedling", "young", "established")
# They take turns, so that each kind, state, stage, water and place meets all of them.
CANS_AND_TEMPERATURES = tuple(product(("1 L", "9 L"), ("12 °C", "28 °C")))
SOILS = (None, 5.5, 6.2, 6.6, 6.9, 7.4)
# How a batch is planned depends on the plant only by whether it calls for half the strength.
PLANTS = {"tomato": ("", "tomato", "blueberry"), "something nobody lists": ("something nobody lists", "blackberry")}
# Where nothing may be given the plan is that of no place at all; test_plants_and_places.py holds those two places.
IN_THE_GROUND = ("open ground", "raised bed", "near pond or drain")
PLANNED_ALIKE = (("",), ("pot",), ("plug tray",), ("greenhouse",), IN_THE_GROUND)
# Reasons that no dilution mends: the plant, soil that is alkaline, the season, the place, and leaves.
WITHOUT_A_WAY = {
    *("plant_block", "plant_acid-loving", "plant_practice_conflict", "plant_above", "soil_stop", "soil_clubroot"),
    *("sowing", "sowing_conflict", "resting", "near_water"),
}


def request_of(**parts: Any) -> Request:
    return read_request(json.dumps({"schema": 1, "ranges": "off", **parts}))


def on_ground(request: Request, place: str, soil: float | None, plant: str, use: str) -> Request:
    """The same batch for other ground and plants: neither changes how it is made."""
    numbers = {path: value for path, value in request.numbers.items() if path != "soil.ph"}
    if soil is not None:
        numbers["soil.ph"] = soil
    return replace(request, numbers=numbers, words={**request.words, "place": place, "plant": plant, "use": use})


def worked_out_once(work: Callable[..., Any], liquor_of: Callable[[Any], Any]) -> Callable[..., Any]:
    """The same function, which keeps the last results for one liquor: other ground and plants ask for them again."""
    known: dict[Any, Any] = {}

    def remembered(first: Any, *more: Any) -> Any:
        if known.get("liquor") is not liquor_of(first):
            known.clear()
            known["liquor"] = liquor_of(first)
        if more not in known:
            known[more] = work(first, *more)
        return known[more]

    return remembered


@pytest.fixture(autouse=True)
def chemistry_of_the_ways_is_worked_out_once_for_a_feed(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("acid_dose", "days_in_air_until"):
        monkeypatch.setattr(ways, name, worked_out_once(getattr(ways, name), lambda liquor: liquor))
    fed = worked_out_once(ways._fed, lambda answer: answer.typical.steep.liquor)
    monkeypatch.setattr(ways, "_fed", fed)


# Every case in parts of a few seconds each; the quick run tries those that most growers have.
CASES = [
    pytest.param(*case, marks=() if case[0] == "mixed" and case[1] == "unknown" else pytest.mark.slow)
    for case in product(KINDS, STATES, STAGES)
]


def asked_in(kind: str, state: str, stage: str, water: str, plant: str, place: str) -> Request:
    group = next(number for number, places in enumerate(PLANNED_ALIKE) if place in places)
    turn = group + KINDS.index(kind) + STATES.index(state) + STAGES.index(stage) + WATERS.index(water)
    can, temperature = CANS_AND_TEMPERATURES[turn % len(CANS_AND_TEMPERATURES)]
    return request_of(
        ash={"kind": kind, "state": state}, water={"kind": water, "temperature": temperature}, stage=stage,
        place=place, plant=plant, cans=[{"size": can, "count": 2}],
    )  # fmt: skip


@pytest.mark.parametrize(("kind", "state", "stage"), CASES)
def test_every_automatic_plan_goes_or_names_what_is_in_the_way_and_the_way_round(
    kind: str, state: str, stage: str
) -> None:
    for places, water, plant in product(PLANNED_ALIKE, WATERS, PLANTS):
        asked = asked_in(kind, state, stage, water, plant, places[0])
        answer = answer_to(asked)
        assert answer.typical.batch.liquor_litres >= sum(
            liquor * can.count for liquor, can in zip(answer.plan.liquor_per_can, answer.plan.cans, strict=True)
        ) * (1 - 1e-6), "no plan pours more than pours off"
        for place, soil, use, same in product(places, SOILS, ("drench", "foliar"), PLANTS[plant]):
            judged = replace(answer, request=on_ground(asked, place, soil, same, use))
            verdict = verdict_on(judged)
            offered, _ = ways.ways_round(judged, verdict)
            told = (kind, state, stage, place, water, same, soil, use, answer.plan.parts_water, verdict)
            if verdict.word == "go":
                assert not offered, told
                continue
            deciding = {reason.id for reason in verdict.reasons if reason.towards == verdict.word}
            assert offered or deciding & WITHOUT_A_WAY, told
            assert verdict.word == "hold back", told
            for way in offered:
                figures = [part for part in way.values() if isinstance(part, dict)]
                assert way["text"], told
                assert len(figures) == 1, told
                assert figures[0]["value"] >= 0, told


@pytest.mark.parametrize("stage", STAGES)
def test_open_ground_of_any_kind_is_planned_alike(stage: str) -> None:
    assert {place for places in PLANNED_ALIKE for place in places} | {"hydroponics", "worm bin"} == {"", *PLACES}
    for water in WATERS:
        first, *others = (
            answer_to(asked_in("mixed", "unknown", stage, water, "tomato", place)) for place in IN_THE_GROUND
        )
        for other in others:
            assert (other.plan, other.typical) == (first.plan, first.typical)
