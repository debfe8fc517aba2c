"""Moves: what a grower can do about a verdict or a reading with one tap, as the fields of a request that it changes."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from feedcalc import published
from feedcalc.words.messages import said


@dataclass(frozen=True, slots=True)
class Move:
    """Words for a button, and the request fields it sets, as JSON; an empty value asks the grower for that field."""

    words: str
    fields: str
    because: str = ""


def next_move(ways: Sequence[Mapping[str, Any]]) -> Move | None:
    """Return the move for the first way round a verdict that a tap can begin; None if there is none.

    >>> next_move([{"id": "dilute", "parts_water": {"value": 30.0}}])
    Move(words='Go to 1:30', fields='{"dilution": "1:30"}', because='')
    """
    for way in ways:
        match way["id"]:
            case "dilute":
                ratio = f"1:{way['parts_water']['value']:g}"
                return _move(said("Go to {ratio}", ratio=ratio), {"dilution": ratio})
            case "test soil":
                return _move(said("Add the soil's pH"), {"soil.ph": ""})
            case "water":
                return _move(said("Take rainwater"), {"dilution_water.kind": "rain"})
            case "acid":
                return _move(said("Add vinegar"), {"acid.kind": "vinegar", "acid.target_ph": "7"})
    return None


def suggested(suggestions: Sequence[Mapping[str, str]]) -> tuple[Move, ...]:
    """Return the moves that take a reading or a state as it fits (``suggestions`` of the contract)."""
    return tuple(
        _move(said("Take it so"), {each["field"]: each["value"].replace("\u00a0", " ")}, each["because"])
        for each in suggestions
    )


def verdict_in_short(verdict: str, reasons: Sequence[Mapping[str, str]]) -> str:
    """Return why, in a few words: those of the first reason that decides."""
    deciding = next((reason["id"] for reason in reasons if reason["towards"] == verdict != "go"), "")
    words: str = _short_reasons().get(deciding) or said("Soil and plants can take it.")
    return words


def _short_reasons() -> dict[str, str]:
    return {row["id"]: row["short"] for row in published.table("suitability_reasons")}


def _move(words: str, fields: Mapping[str, str], because: str = "") -> Move:
    return Move(words, json.dumps(fields), because)
