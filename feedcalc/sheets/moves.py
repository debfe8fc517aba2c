"""Moves: what a grower can do about a verdict or a reading with one tap, as the fields of a request that it changes."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from feedcalc import published
from feedcalc.frozen import frozen
from feedcalc.words.messages import said, said_in


@frozen
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
                return _move(said_in("button", "Use rainwater"), {"dilution_water.kind": "rain"})
            case "acid":
                return _move(said_in("button", "Add vinegar"), {"acid.kind": "vinegar", "acid.target_ph": "7"})
    return None


def suggested(suggestions: Sequence[Mapping[str, str]]) -> tuple[Move, ...]:
    """Return the moves that take a reading or a state as it fits (``suggestions`` of the contract)."""
    return tuple(
        _move(said_in("button", "Use this"), {each["field"]: each["value"].replace("\u00a0", " ")}, each["because"])
        for each in suggestions
    )


def countries(choices: Sequence[Mapping[str, str]]) -> tuple[Move, ...]:
    """Return the moves that say whose cups and gallons were typed (``whose_measures`` of the contract)."""
    return tuple(_move(each["text"], {each["field"]: each["value"]}, each["because"]) for each in choices)


def in_short(deciding: Sequence[Mapping[str, str]]) -> str:
    """Return a verdict's reason in a few words: those of the first that decides; without one, nothing is in the way."""
    if not deciding:
        return said("Soil and plants can take it.")
    return next(row["short"] for row in published.table("suitability_reasons") if row["id"] == deciding[0]["id"])


def _move(words: str, fields: Mapping[str, str], because: str = "") -> Move:
    return Move(words, json.dumps(fields), because)
