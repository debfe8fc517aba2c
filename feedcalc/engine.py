"""The one door: a request as JSON in, a reply as JSON out (contract version 1).

The command line and the page call this same door, so they cannot disagree. No exception leaves it for anything a
person can type: a refusal is a reply with ``"ok": false`` and every faulty field.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, replace
from functools import cache, lru_cache
from importlib import resources
from typing import Any, TypeVar

from feedcalc.book.season import SeasonAnswer, season_answer_in_steps
from feedcalc.book.work import book_work
from feedcalc.chemistry import equilibrate
from feedcalc.contract.request import REQUEST_FIELDS, SCHEMA, Request, SolutionRequest, json_document, read_request
from feedcalc.garden.spreading import TABLES_BEHIND_SPREADING, SpreadAnswer, spread_answer
from feedcalc.liquor import answer as answers
from feedcalc.liquor import figures as report
from feedcalc.liquor.kept_ash import ASK as LEARN
from feedcalc.liquor.kept_ash import KeptAsh, kept_ash_in_steps, values_of_kept
from feedcalc.liquor.reactions import REACTIONS, with_reactions
from feedcalc.sheets.batch import Sheet, sheet_of
from feedcalc.sheets.paper.printing import PRINTS, Printed, printed
from feedcalc.sheets.render import (
    kept_ash_html,
    markdown,
    page_parts,
    season_html,
    season_markdown,
    spread_html,
    spread_markdown,
)
from feedcalc.sheets.season import SeasonSheet, season_sheet
from feedcalc.sheets.spread import SpreadSheet, spread_sheet
from feedcalc.uncertainty.estimates import Steps, run_to_end
from feedcalc.words.errors import InputError, InputErrors, NoSolution
from feedcalc.words.languages import LANGUAGES, language
from feedcalc.words.messages import said

Result = TypeVar("Result")

_MEANINGS = {field.path: field.meaning for field in REQUEST_FIELDS} | {
    "cans": said("the cans"),
    "dilution": said("liquor to water"),
    "customs": said("what a cup is"),
}


def calculate(request_json: str) -> str:
    """The reply to a request, both as JSON text.

    >>> reply = json.loads(calculate('{"schema": 1, "solution": {"totals": {"potassium": 10, "carbon": 5}}}'))
    >>> reply["ok"], round(reply["values"]["solution"]["ph"]["value"], 1)
    (True, 10.9)
    >>> json.loads(calculate('{"schema": 1, "water": {"amount": "five"}}'))["errors"][0]["field"]
    'water.amount'
    """
    return run_to_end(answer_in_steps(request_json))


def answer_in_steps(request_json: str) -> Steps[str]:
    """`calculate` in slices: yields (done, total) now and then and returns the reply, the same to the letter.

    Whoever drives it may look up between two slices, show how far it is, or drop it because something newer was asked.
    A slice is a few ashes or a batch or a bed of a season book; what takes no sample of ashes, and what is refused,
    comes at once.

    >>> steps = answer_in_steps('{"schema": 1, "samples": "10"}')
    >>> next(steps), next(steps)
    ((4, 10), (8, 10))
    """
    tongue = "en"
    try:
        document = json_document(request_json)
        tongue = _language_of(document)
        if document.get("ask") in PRINTS:
            return _written(_print_reply(printed(document, _sheet_to_print), document["ask"]), tongue)
        if document.get("ask") == LEARN:
            kept = yield from kept_ash_in_steps(document)
            return _written(_kept_reply(kept, tongue), tongue)
        reply, sheet = yield from _reply_and_sheet_in_steps(request_json)
        if sheet:
            reply["html"] = _parts(sheet, tongue)
        if isinstance(sheet, SeasonSheet):
            yield 1, 1
        return _written(reply, tongue)
    except Exception as fault:
        return _written(_refusal(fault), tongue)


def calculate_markdown(request_json: str, part: str) -> tuple[dict[str, Any], str]:
    """The reply without its HTML, and one part of the sheet as Markdown (empty where the reply is a refusal)."""

    tongue = "en"

    def written() -> tuple[dict[str, Any], str]:
        nonlocal tongue
        tongue = _language_of(json_document(request_json))
        reply, sheet = run_to_end(_reply_and_sheet_in_steps(request_json))
        if isinstance(sheet, SpreadSheet):
            return reply, spread_markdown(sheet, tongue)
        if isinstance(sheet, SeasonSheet):
            return reply, season_markdown(sheet, tongue)
        return reply, markdown(part, sheet, tongue) if sheet else ""

    result = _or_refused(written)
    reply, text = result if isinstance(result, tuple) else (result, "")
    return language(tongue).reply(reply), text


def calculate_print(request_json: str) -> tuple[list[dict[str, str]], Printed | None]:
    """What a request with ``"ask": "label"`` or ``"wall"`` prints: errors, or the print (see `printing`)."""
    tongue = "en"

    def print_() -> Printed:
        nonlocal tongue
        document = json_document(request_json)
        tongue = _language_of(document)
        return printed(document, _sheet_to_print)

    result = _or_refused(print_)
    return ([], result) if isinstance(result, Printed) else (language(tongue).reply(result["errors"]), None)


@cache
def demo_request() -> str:
    """Our own scenario: two ten-litre cans for a bed of tomatoes, from the ash of an oak-fed stove."""
    return (resources.files("feedcalc.contract") / "demo.json").read_text(encoding="utf-8")


@lru_cache(maxsize=32)
def _sheet_to_print(request_json: str) -> Sheet:
    """The sheet of one batch with its ranges, since the class of danger follows their upper end.

    Remembered, because another size of paper asks for the same sheet again.
    """
    request = read_request(request_json)
    if request.solution is not None or request.word("ask") == "spread":
        raise InputErrors([InputError("request", "", said("There is no bottle in this request."), said("a batch"))])
    _, sheet = run_to_end(_batch_reply_in_steps(replace(request, words={**request.words, "ranges": "on"})))
    return sheet


def _kept_reply(kept: KeptAsh, tongue: str) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "ok": True,
        "values": {"ash": values_of_kept(kept)},
        "assumed": {},
        "cautions": [],
        "warnings": list(kept.warnings),
        "sources": report.sources_behind(report.TABLES_BEHIND_A_BATCH),
        "html": {"ash": kept_ash_html(kept, tongue)},
    }


def _print_reply(print_: Printed, ask: str) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "ok": True,
        "values": {ask: print_.values},
        "assumed": {},
        "cautions": [],
        "warnings": list(print_.told),
        "sources": [],
        "html": {ask: "\n".join(svg for _, _, svg in print_.pages)},
        "print": {
            "title": print_.title,
            "text": print_.text,
            "pages": [{"width": width, "height": height} for width, height, _ in print_.pages],
        },
    }


def _language_of(document: Mapping[str, Any]) -> str:
    """The language to answer in, even where the rest of a document is refused."""
    wanted = document.get("language")
    return wanted.strip().casefold() if isinstance(wanted, str) and wanted.strip().casefold() in LANGUAGES else "en"


def _parts(sheet: Sheet | SpreadSheet | SeasonSheet, tongue: str) -> dict[str, str]:
    if isinstance(sheet, SpreadSheet):
        return {"spread": spread_html(sheet, tongue)}
    return season_html(sheet, tongue) if isinstance(sheet, SeasonSheet) else page_parts(sheet, tongue)


def _reply_and_sheet_in_steps(
    request_json: str,
) -> Steps[tuple[dict[str, Any], Sheet | SpreadSheet | SeasonSheet | None]]:
    """The reply without its HTML, and the sheet to show it with; raises where the request is refused."""
    request = read_request(request_json)
    if request.solution is not None:
        return _solution_reply(request.solution, request), None
    if request.word("ask") == "spread":
        return _spread_reply(request)
    if request.word("ask") == "season":
        return (yield from _season_reply_in_steps(request))
    if request.word("ask") == "book":
        return _book_reply(request), None
    return (yield from _batch_reply_in_steps(request))


def _or_refused(work: Callable[[], Result]) -> Result | dict[str, Any]:
    """What ``work`` gives, or the reply of a refusal."""
    try:
        return work()
    except Exception as fault:
        return _refusal(fault)


def _refusal(fault: Exception) -> dict[str, Any]:
    """The reply where work ended in a fault, the grower's or ours."""
    if isinstance(fault, InputErrors):
        return _refused([error.as_dict() for error in fault.errors])
    if isinstance(fault, NoSolution):
        accepted = said("less extreme amounts")
        return _refused([{"field": "request", "given": "", "problem": fault.args[0], "accepted": accepted}])
    # A fault of ours must reach a grower as a plain refusal, never as a figure and never as a traceback.
    problem = said("feedcalc failed on this ({fault}); no figure was computed.", fault=type(fault).__name__)
    return _refused(
        [{"field": "feedcalc", "given": "", "problem": problem, "accepted": said("a report of this request to us")}]
    )


def _written(reply: Mapping[str, Any], tongue: str) -> str:
    """A reply as text in a language; half a character of UTF-16 that was typed could not be written to a file."""
    spoken = language(tongue).reply(reply)
    return json.dumps(spoken, ensure_ascii=False, allow_nan=False).encode("utf-8", "replace").decode("utf-8")


def _refused(errors: list[dict[str, str]]) -> dict[str, Any]:
    return {"schema": SCHEMA, "ok": False, "errors": errors}


def _solution_reply(asked: SolutionRequest, request: Request) -> dict[str, Any]:
    equilibrium = equilibrate(
        asked.totals, asked.temperature_celsius + 273.15, asked.minerals, asked.carbon_dioxide_atm
    )
    return {
        "schema": SCHEMA,
        "ok": True,
        "values": report.values_of_solution(equilibrium),
        "assumed": {"locale": request.locale},
        "cautions": [],
        "warnings": list(equilibrium.notes),
        "sources": report.sources_behind(report.TABLES_BEHIND_CHEMISTRY),
        "html": {},
    }


def _batch_reply_in_steps(request: Request) -> Steps[tuple[dict[str, Any], Sheet]]:
    answer = yield from answers.answer_in_steps(request)
    values, told = with_reactions(answer, report.values_of(answer))
    values["evidence"]["medians"] = report.medians_taken(values)
    sheet = sheet_of(answer, values, _MEANINGS)
    after = {name: values[name] for name in REACTIONS if name in values}
    sheet = replace(sheet, warnings=(*sheet.warnings, *told), after=after)
    reply = {
        "schema": SCHEMA,
        "ok": True,
        "values": values,
        "assumed": dict(answer.assumed),
        "read_as": {path: reading.echo for path, reading in request.readings.items() if reading.echo}
        | {suggestion.field: suggestion.because for suggestion in answer.suggestions},
        "cautions": [
            {"id": c.id, "where": c.where, "text": c.text, "source": c.source, "status": c.status}
            for c in sheet.cautions
        ],
        "warnings": [*answer.warnings, *told],
        "sources": report.sources_behind(report.TABLES_BEHIND_A_BATCH),
        "html": {},
    }
    return reply, sheet


def _spread_reply(request: Request) -> tuple[dict[str, Any], SpreadSheet]:
    answer = spread_answer(request)
    read_as = {path: reading.echo for path, reading in request.readings.items() if reading.echo}
    return _ground_reply(answer, read_as, TABLES_BEHIND_SPREADING), spread_sheet(answer, request.locale)


def _season_reply_in_steps(request: Request) -> Steps[tuple[dict[str, Any], SeasonSheet]]:
    answer = yield from season_answer_in_steps(request)
    yield 1, 1
    sheet = season_sheet(answer, request.locale)
    yield 1, 1
    return _ground_reply(answer, answer.read_as, answer.tables), sheet


def _ground_reply(
    answer: SpreadAnswer | SeasonAnswer, read_as: Mapping[str, str], tables: tuple[str, ...]
) -> dict[str, Any]:
    """The reply about ground rather than a batch."""
    return {
        "schema": SCHEMA,
        "ok": True,
        "values": dict(answer.values),
        "assumed": dict(answer.assumed),
        "read_as": dict(read_as),
        "cautions": [asdict(caution) for caution in answer.cautions],
        "warnings": [],
        "sources": report.sources_behind(tables),
        "html": {},
    }


def _book_reply(request: Request) -> dict[str, Any]:
    work = book_work(request)
    return {
        "schema": SCHEMA,
        "ok": True,
        "values": {
            "book": {
                "changed": [record.as_dict() for record in work.changed],
                "set_aside": [error.as_dict() for error in work.set_aside],
                "text": work.text,
                "reminders": [reminder.as_dict() for reminder in work.reminders],
            }
        },
        "assumed": {},
        "read_as": {},
        "cautions": [],
        "warnings": [],
        "sources": [],
        "html": {},
    }
