"""Ask the door like a page or a program: a request in, a reply out, figures by path."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Any
from unittest import mock

from feedcalc.engine import calculate, calculate_markdown
from feedcalc.sheets.batch import Sheet

Reply = dict[str, Any]

# A known, weighed ash.
WEIGHED = {
    "ash": {"kind": "mixed", "state": "aged", "amount": "107 g"},
    "water": {"kind": "rain", "amount": "5 L", "temperature": "20 degC"},
    "dilution": "1:10",
}


def reply_to(*parts: Mapping[str, Any], ranges: str = "off", **more: Any) -> Reply:
    """Return the reply to the request that the merged ``parts`` make; without ranges unless they are requested."""
    request: dict[str, Any] = {"schema": 1, "ranges": ranges}
    for part in (*parts, more):
        _lay_over(request, part)
    return reply_to_text(json.dumps(request))


def values_of(*parts: Mapping[str, Any], ranges: str = "off", **more: Any) -> dict[str, Any]:
    """Return ``values`` of an answered request, for which no page is written."""
    reply = reply_to(*parts, ranges=ranges, html=False, **more)
    assert reply["ok"], reply["errors"]
    values: dict[str, Any] = reply["values"]
    return values


def reply_to_text(text: str) -> Reply:
    """Return the reply to a request in a text; fail if it has NaN or infinity, which are not JSON."""

    def refuse(constant: str) -> None:
        raise AssertionError(f"the reply holds {constant}, which is not JSON")

    reply: Reply = json.loads(_answered(text), parse_constant=refuse)
    return reply


@lru_cache(maxsize=256)
def _answered(text: str) -> str:
    """Return the reply, cached: the door is a pure function (see ``test_door_names``)."""
    return calculate(text)


def faults(*parts: Mapping[str, Any], **more: Any) -> dict[str, dict[str, str]]:
    """Return the errors of a refused request by field."""
    reply = reply_to(*parts, **more)
    assert not reply["ok"], "this should have been refused"
    return {error["field"]: error for error in reply["errors"]}


@lru_cache(maxsize=64)
def sheet_of_text(text: str) -> Sheet:
    """Return the sheet that the engine passes to its templates for an answered request."""
    handed: list[Sheet] = []
    with mock.patch("feedcalc.replies.batch.markdown", lambda part, sheet, *_: handed.append(sheet) or ""):
        reply, _ = calculate_markdown(text, "sheet")
    assert reply["ok"], reply["errors"]
    return handed[0]


def every_figure(values: Any, path: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield every figure (``value``, ``unit``, ``low``, ``high``) below ``values`` with its dotted path."""
    if isinstance(values, dict):
        if "value" in values and "unit" in values:
            yield path, values
            return
        for name, inner in values.items():
            yield from every_figure(inner, f"{path}.{name}" if path else name)
    elif isinstance(values, list):
        for index, inner in enumerate(values):
            yield from every_figure(inner, f"{path}.{index}")


def rung(values: Mapping[str, Any], parts_water: float) -> dict[str, Any]:
    """Return the row of the dilution table at 1:``parts_water``."""
    row: dict[str, Any] = next(row for row in values["ladder"] if row["parts_water"]["value"] == parts_water)
    return row


def _lay_over(below: dict[str, Any], above: Mapping[str, Any]) -> None:
    for key, value in above.items():
        if isinstance(value, Mapping) and isinstance(below.get(key), dict):
            _lay_over(below[key], value)
        else:
            below[key] = copy.deepcopy(value)


def listed_in(accepted: str) -> list[str]:
    """Return the choices of an English list such as ``sand, loam or clay``."""
    return accepted.replace(" or ", ", ").split(", ")
