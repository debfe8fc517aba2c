"""What must hold at each door for any text at all: an answer that balances, or a refusal that names its field.

A door takes text, so that a corpus is a folder of files a person can read and mend. `check_*` returns normally or
raises `AssertionError`; anything else that comes out of it is a fault as well.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from typing import Any

import pytest

from feedcalc.answer import answer_to
from feedcalc.ash import ELEMENTS
from feedcalc.batch import water_kilograms
from feedcalc.engine import calculate
from feedcalc.errors import InputError
from feedcalc.formulas import molar_masses
from feedcalc.quantities import CUSTOMS, KINDS, read_dilution, read_number, read_quantity, write_quantity
from feedcalc.request import FIELDS, LOCALES, read_request
from tests.contract.asking import every_figure

MAY_BE_NEGATIVE = ("ph", "alkalinity", "lime_value", "shift")


def check_number(text: str) -> None:
    """``kind locale customs`` on the first line, what was typed below it."""
    head, _, typed = text.partition("\n")
    words = [*head.split(), "", "", ""]
    locale = words[1] if words[1] in LOCALES else "en-GB"
    customs = words[2] if words[2] in CUSTOMS else "metric"
    if words[0] in ("number", "dilution"):
        read = read_number if words[0] == "number" else read_dilution
        number = _or_named_refusal(lambda: read(typed, "field", locale))
        assert number is None or math.isfinite(number)
        return
    kind = words[0] if words[0] in KINDS else "volume"
    quantity = _or_named_refusal(lambda: read_quantity(typed, kind, "field", locale, customs))
    if quantity is not None:
        assert math.isfinite(quantity.value)
        if kind == "volume" and 1e-6 < quantity.value < 1e6:
            again = read_quantity(write_quantity(quantity.value, "L", 12, locale), kind, "field", locale, customs)
            assert again.value == pytest.approx(quantity.value, rel=1e-9)


def _or_named_refusal(read: Callable[[], Any]) -> Any:
    try:
        return read()
    except InputError as error:
        _is_whole(error.as_dict(), {"field"})
        return None


def _is_whole(error: Mapping[str, str], fields: set[str] | None = None) -> None:
    assert set(error) == {"field", "given", "problem", "accepted"}, error
    assert error["problem"].strip(), error
    assert error["accepted"].strip(), error
    assert error["field"].strip(), error
    assert error["field"] != "feedcalc", error
    assert fields is None or error["field"] in fields, error


def check_request(text: str) -> None:
    """JSON as it is, or lines ``path = typed``; ranges are left out unless a line asks for them."""
    request = text if text.lstrip().startswith(("{", "[")) else json.dumps(request_of_lines(text))
    reply = json.loads(calculate(request), parse_constant=_no_number)
    if not reply["ok"]:
        assert reply["errors"]
        for error in reply["errors"]:
            _is_whole(error)
        return
    figures_are_sound(reply["values"])
    if "batch" in reply["values"]:
        nothing_is_lost_or_made(request)


def _no_number(constant: str) -> None:
    raise AssertionError(f"the reply holds {constant}, which is not JSON")


def request_of_lines(text: str) -> dict[str, Any]:
    """A request from lines such as ``ash.amount = 1 cup``; cans as ``cans = 9 L, 2``."""
    request: dict[str, Any] = {"schema": 1, "ranges": "off"}
    for line in text.splitlines()[:60]:
        path, equals, typed = (part.strip() for part in line.partition("="))
        if not equals or not path:
            continue
        if path == "cans":
            size, _, count = typed.rpartition(",")
            request.setdefault("cans", [])
            if isinstance(request["cans"], list):
                request["cans"].append({"size": size.strip(), "count": count.strip()})
            continue
        *groups, name = path.split(".")
        place = request
        for group in groups[:5]:
            inner = place.get(group)
            if not isinstance(inner, dict):
                inner = place[group] = {}
            place = inner
        place[name] = typed
    return request


def figures_are_sound(values: Any) -> None:
    """Every figure is a number, in its range, and nothing that can't be negative is."""
    for path, figure in every_figure(values):
        if figure["value"] is None:
            continue
        assert all(math.isfinite(figure[name]) for name in ("value", "low", "high")), path
        assert figure["low"] <= figure["value"] <= figure["high"], path
        assert figure["low"] >= 0 or path.rsplit(".", 1)[-1] in MAY_BE_NEGATIVE, path


def nothing_is_lost_or_made(request: str) -> None:
    """Mass of every element and charge balance in the typical batch of a request."""
    found = answer_to(read_request(request))
    batch, steep = found.typical.batch, found.typical.steep
    kilograms = water_kilograms(batch.water_litres, found.request.known("water.temperature") + 273.15)
    masses = molar_masses()
    for element in ELEMENTS:
        had = batch.ash_grams * found.typical.sample.grams_per_kilogram[element] / 1000
        had += found.water.totals.get(element, 0.0) * kilograms * masses[element]
        dissolved = steep.liquor.equilibrium.dissolved[element] * kilograms * masses[element]
        solids = steep.sludge.grams_per_gram[element] * batch.ash_grams
        assert dissolved + solids == pytest.approx(had, rel=1e-5, abs=1e-9), element
    assert steep.liquor.equilibrium.balance_error <= 1e-8


DOORS: dict[str, Callable[[str], None]] = {"numbers": check_number, "requests": check_request}

# Words worth trying at any place of a text.
WORDS = tuple(
    dict.fromkeys(
        [
            *(f"{field.path} = " for field in FIELDS),
            *(choice for field in FIELDS for choice in field.choices),
            *(name for kind in KINDS for name in (kind,)),
            *LOCALES,
            *("1 cup", "5 L", "1:10", "1 1/2", "½", "2,5", "1.234", "9 L, 2", "1e400", "nan", "-0", "inf", "٣", "１"),
            *(
                "g",
                "kg",
                "mL",
                "°C",
                "mS/cm",
                "g/kg",
                "mg/L",
                "%",
                "m2",
                "\u00a0",
                "\u202e",
                "\ufeff",
                "\x00",
                "{",
                '"',
            ),
            *("cans = ", "dilution = ", "locale = ", "customs = ", "schema = ", "solution.totals.potassium = "),
        ]
    )
)
