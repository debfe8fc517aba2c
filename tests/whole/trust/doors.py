"""What must hold at each door for any text at all: an answer that balances, or a refusal that names its field.

A door takes text, so that a corpus is a folder of files a person can read and mend. `check_*` returns normally or
raises `AssertionError`; anything else that comes out of it is a fault as well.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
from collections.abc import Callable, Mapping
from typing import Any

import pytest

from feedcalc.chemistry.formulas import molar_masses
from feedcalc.command_line.plots.columns import header_of
from feedcalc.command_line.plots.plan import plan_of
from feedcalc.contract.fields import REQUEST_FIELDS
from feedcalc.contract.numbers import read_number
from feedcalc.contract.quantities import read_dilution, read_quantity, write_quantity
from feedcalc.contract.request import read_request
from feedcalc.contract.units import CUSTOMS, QUANTITY_KINDS
from feedcalc.engine import calculate
from feedcalc.garden.ash import ELEMENTS
from feedcalc.liquor.answer import answer_to
from feedcalc.liquor.vessel import water_kilograms
from feedcalc.sheets.paper.options import LABEL_FIELDS
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.languages import LOCALES
from tests.asking import every_figure

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
    kind = words[0] if words[0] in QUANTITY_KINDS else "volume"
    quantity = _or_named_refusal(lambda: read_quantity(typed, kind, "field", locale, customs))
    if quantity is not None:
        assert math.isfinite(quantity.value)
        if kind == "volume" and 1e-6 < quantity.value < 1e6:
            again = read_quantity(write_quantity(quantity.value, "L", 12, locale), kind, "field", locale, customs)
            assert again.value == pytest.approx(quantity.value, rel=1e-9)


def _or_named_refusal(read: Callable[[], Any], fields: frozenset[str] | None = frozenset({"field"})) -> Any:
    try:
        return read()
    except InputError as error:
        faults = [error]
    except InputErrors as errors:
        faults = list(errors.errors)
    assert faults
    for fault in faults:
        _is_whole(fault.as_dict(), fields)
    return None


def _is_whole(error: Mapping[str, str], fields: frozenset[str] | None = None) -> None:
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


AT, BY = "2026-05-01T09:00:00.000Z", "one"


def check_book(text: str) -> None:
    """A file of a season book: read, shown, written and read again with nothing changed; or refused."""
    read = _asked_of_a_book("read file", text=text)
    if not read["ok"]:
        return
    _book_holds(read["values"]["book"]["changed"])


def check_table(text: str) -> None:
    """A table laid over an empty book: read twice, and written and read, it changes nothing more; or it is refused."""
    read = _asked_of_a_book("read csv", text=text)
    if not read["ok"]:
        return
    _book_holds(read["values"]["book"]["changed"])
    again = _asked_of_a_book("read csv", read["values"]["book"]["changed"], text=text)
    assert again["ok"], again
    assert again["values"]["book"]["changed"] == [], "a table read twice changes the book"


def _book_holds(records: list[dict[str, Any]]) -> None:
    written_out = _asked_of_a_book("write file", records)["values"]["book"]["text"]
    again = _asked_of_a_book("read file", text=written_out)
    assert again["ok"], again
    assert again["values"]["book"]["changed"] == records, "a book changes when saved and opened"
    table = _asked_of_a_book("write csv", records)["values"]["book"]["text"]
    laid_over = _asked_of_a_book("read csv", records, text=table)
    assert laid_over["ok"], laid_over
    assert laid_over["values"]["book"]["changed"] == [], "a book's own table changes it"
    shown = _told(
        {"schema": 1, "ask": "season", "ranges": "off", "now": "2026-05-01T09:00", "book": _envelope(records)}
    )
    if shown["ok"]:
        figures_are_sound(shown["values"])


def _envelope(records: list[dict[str, Any]]) -> dict[str, Any]:
    return {"format": "feedcalc season book", "version": 1, "records": records}


def _asked_of_a_book(do: str, records: list[dict[str, Any]] | None = None, **more: str) -> dict[str, Any]:
    asked = {"schema": 1, "ask": "book", "do": do, "at": AT, "by": BY, "book": _envelope(records or []), **more}
    return _told(asked)


def _told(request: dict[str, Any]) -> dict[str, Any]:
    reply: dict[str, Any] = json.loads(calculate(json.dumps(request)), parse_constant=_no_number)
    if not reply["ok"]:
        assert reply["errors"]
        for error in reply["errors"]:
            _is_whole(error)
    return reply


def check_plots(text: str) -> None:
    """A table of plots: a plan for a row, or every faulty column of it."""
    rows = list(csv.reader(io.StringIO(text.replace("\x00", ""), newline="")))[:20]
    header = _or_named_refusal(lambda: header_of(rows[0]), None) if rows else None
    if header is None:
        return
    for row in rows[1:]:
        if len(row) == len(header.cells):
            _or_named_refusal(lambda row=row: plan_of(header.plot_of(row), "2026-05-01", "metric", "en-GB"), None)


def check_print(text: str) -> None:
    """Lines ``path = typed`` of a label or, with ``ask = wall``, a sheet for the wall: pages with words, or refused."""
    reply = _told({"ask": "label", **request_of_lines(text)})
    if not reply["ok"] or "print" not in reply:
        return
    assert reply["print"]["pages"]
    for page in reply["print"]["pages"]:
        assert 0 < page["width"] < 2000
        assert 0 < page["height"] < 2000
    assert reply["print"]["text"].strip()
    for markup in reply["html"].values():
        assert not re.search(r"<(script|img|iframe|object|form)\b|\son\w+=|javascript:", _without_texts(markup)), markup


def _without_texts(markup: str) -> str:
    """The tags alone, and of them what is not between quotes: a person's words may say anything there."""
    return "".join(re.sub(r'"[^"]*"', '""', tag) for tag in re.findall(r"<[^>]*>", markup))


DOORS: dict[str, Callable[[str], None]] = {
    "numbers": check_number,
    "requests": check_request,
    "prints": check_print,
    "books": check_book,
    "tables": check_table,
    "plots": check_plots,
}

# Words worth trying at any place of a text.
WORDS = tuple(
    dict.fromkeys(
        [
            *(f"{field.path} = " for field in REQUEST_FIELDS),
            *(f"label.{name} = " for name in LABEL_FIELDS),
            *(choice for field in REQUEST_FIELDS for choice in field.choices),
            *(name for kind in QUANTITY_KINDS for name in (kind,)),
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
            *('"kind": "entry"', '"fields": {', '"text": "', '"at": "2026-05-01T09:00:00.000Z"', '"history": []'),
            *("bed,", "entry,", "soil test,", ",\r\n", '""', "dry ash", "liquid feed", "sludge", "removed", "\r", ";"),
            *("cans = ", "dilution = ", "locale = ", "customs = ", "schema = ", "solution.totals.potassium = "),
        ]
    )
)
