"""The door: a request as JSON text in, a reply as JSON text out (contract version 1).

* The command line and the page call the same functions, so they cannot disagree.
* No exception leaves the door for anything a person can type. A refusal is a reply with ``"ok": false`` that lists
  every faulty field.
* `feedcalc.contract.asks` lists what may be asked; each entry has its branch in `answer_in_steps`.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, replace
from functools import cache, lru_cache
from importlib import resources
from typing import Any

from feedcalc.book.season import SeasonAnswer, season_answer_in_steps
from feedcalc.book.winter import TABLES_BEHIND_SHARING, WinterAnswer, winter_answer_in_steps
from feedcalc.book.work import book_work
from feedcalc.chemistry import equilibrate
from feedcalc.contract.asks import (
    ASKS,
    BATCH,
    BOOK,
    HAPPENED,
    JUDGE,
    LEARN,
    PAGE_PARTS,
    PARTS_FIRST,
    PARTS_WITH_RANGES,
    SEASON,
    SHARE,
    SPREAD,
    ask_of,
)
from feedcalc.contract.fields import REQUEST_FIELDS
from feedcalc.contract.reply import Refusal, Reply
from feedcalc.contract.request import Request, SolutionRequest, json_document, read_request, request_of
from feedcalc.garden.spreading import TABLES_BEHIND_SPREADING, SpreadAnswer, spread_answer
from feedcalc.liquor import answer as answers
from feedcalc.liquor import figures
from feedcalc.liquor.judging import TABLES_BEHIND_JUDGING, Judgement, judged_in_steps
from feedcalc.liquor.kept_ash import KeptAsh, kept_ash_in_steps, values_of_kept
from feedcalc.liquor.mishap import TABLES_BEHIND_MISHAPS, mishap_answer
from feedcalc.liquor.reactions import REACTIONS, with_reactions
from feedcalc.physics.water import ZERO_CELSIUS_KELVIN
from feedcalc.sheets.advice import AdviceSheet, advice_sheet
from feedcalc.sheets.batch import Sheet, sheet_of
from feedcalc.sheets.paper.printing import Printed, printed
from feedcalc.sheets.render import (
    advice_html,
    advice_markdown,
    kept_ash_html,
    markdown,
    page_parts,
    season_html,
    season_markdown,
    share_html,
    share_markdown,
    spread_html,
    spread_markdown,
)
from feedcalc.sheets.season import SeasonSheet, season_sheet
from feedcalc.sheets.share import ShareSheet, share_sheet
from feedcalc.sheets.spread import SpreadSheet, spread_sheet
from feedcalc.uncertainty.estimates import Steps, recalled, run_to_end
from feedcalc.words.errors import InputError, InputErrors, NoSolution
from feedcalc.words.languages import LANGUAGES, language
from feedcalc.words.messages import any_of, said, said_in

AnySheet = Sheet | SpreadSheet | SeasonSheet | ShareSheet | AdviceSheet
Tell = Callable[[Reply, Sheet, bool], None]
# The last answered batch by its request, whatever parts of its HTML were wanted.
_ANSWERED: dict[str, tuple[Reply, AnySheet | None]] = {}
_SHOWN_ON_SHEETS = (BATCH, SPREAD, SEASON, BOOK, SHARE, JUDGE, HAPPENED)
_MEANINGS = {field.path: field.meaning for field in REQUEST_FIELDS} | {
    "cans": said_in("what is accepted", "the cans"),
    "dilution": said("liquor to water"),
    "customs": said("what a cup is"),
    "dose": said("to a plant"),
    "rate": said("on the ground"),
    "settled": said("how it is poured"),
}


def calculate(request_json: str) -> str:
    """Return the reply to a request, both as JSON text.

    >>> reply = json.loads(calculate('{"schema": 1, "solution": {"totals": {"potassium": 10, "carbon": 5}}}'))
    >>> reply["ok"], round(reply["values"]["solution"]["ph"]["value"], 1)
    (True, 10.9)
    >>> json.loads(calculate('{"schema": 1, "water": {"amount": "five"}}'))["errors"][0]["field"]
    'water.amount'
    """
    return run_to_end(answer_in_steps(request_json))


def answer_in_steps(request_json: str, early: Callable[[str], None] | None = None) -> Steps[str]:
    """Return the same text as `calculate` from a generator that yields (done, total) between slices of work.

    The caller can show progress or drop the work between two slices. A slice is a few ashes, a batch of a season book
    or a bed. Refusals and answers without sampled ashes take no slices. ``early`` is told two replies on the way to a
    batch with ranges. The first has no ranges, and no HTML but the `PARTS_FIRST`; it says ``"more": true`` where other
    parts are wanted. The second has these too, with the ranges of the first few ashes. Neither has `PARTS_WITH_RANGES`.

    >>> steps = answer_in_steps('{"schema": 1, "samples": "10"}')
    >>> next(steps), next(steps)
    ((4, 10), (8, 10))
    """
    tongue = "en"
    try:
        document = json_document(request_json)
        tongue = _language_of(document)
        ask = ask_of(document)
        if ask is not None and ask.is_printed:
            return _written(_print_reply(_printed(document), ask.name), tongue)
        if ask is LEARN:
            kept = yield from kept_ash_in_steps(document)
            return _written(_kept_reply(kept, tongue, document.get("html", True)), tongue)

        def written(reply: Reply, sheet: AnySheet | None, names: Sequence[str]) -> str:
            html = _parts(sheet, tongue, names) if sheet and names else {}
            return _written(replace(reply, html=html), tongue)

        def tell(reply: Reply, sheet: Sheet, has_ranges: bool) -> None:
            names = [name for name in _names_wanted(document) if name not in PARTS_WITH_RANGES]
            told = names if has_ranges else [name for name in names if name in PARTS_FIRST]
            if early:
                early(written(replace(reply, more=len(told) < len(names) or None), sheet, told))

        reply, sheet = yield from _reply_and_sheet_in_steps(document, tell if early else None)
        text = written(reply, sheet, _names_wanted(document))
        if isinstance(sheet, SeasonSheet):
            yield 1, 1
        return text
    except Exception as fault:
        return _written(_refusal(fault), tongue)


def calculate_markdown(request_json: str, part: str) -> tuple[dict[str, Any], str]:
    """Return the reply without its HTML, and one part of the sheet as Markdown (empty for a refusal)."""
    tongue, text = "en", ""
    reply: Reply | Refusal
    try:
        document = json_document(request_json)
        tongue = _language_of(document)
        reply, sheet = run_to_end(_reply_and_sheet_in_steps(document))
        if isinstance(sheet, SpreadSheet):
            text = spread_markdown(sheet, tongue)
        elif isinstance(sheet, SeasonSheet):
            text = season_markdown(sheet, tongue)
        elif isinstance(sheet, ShareSheet):
            text = share_markdown(sheet, tongue)
        elif isinstance(sheet, AdviceSheet):
            text = advice_markdown(sheet, tongue)
        elif sheet:
            text = markdown(part, sheet, tongue)
    except Exception as fault:
        reply, text = _refusal(fault), ""
    spoken: dict[str, Any] = language(tongue).reply(reply.as_dict())
    return spoken, text


def calculate_print(request_json: str) -> tuple[list[dict[str, str]], Printed | None]:
    """Return the errors of a request for a label or a wall sheet, and what it prints if there are none."""
    tongue = "en"
    try:
        document = json_document(request_json)
        tongue = _language_of(document)
        return [], _printed(document)
    except Exception as fault:
        return language(tongue).reply(_refusal(fault).as_dict()["errors"]), None


@cache
def demo_request() -> str:
    """Return the example request: two ten-litre cans for tomatoes, from the ash of a stove that burns oak."""
    return (resources.files("feedcalc.contract") / "demo.json").read_text(encoding="utf-8")


# -- what is asked ----------------------------------------------------------------------------------------------


def _language_of(document: Mapping[str, Any]) -> str:
    """Return the language to answer in, even if the rest of the document is refused; raise if it is not installed."""
    wanted = document.get("language")
    tag = wanted.strip().casefold() if isinstance(wanted, str) else "en"
    return language(tag if tag in LANGUAGES else "en").tag


def _reply_and_sheet_in_steps(
    document: Mapping[str, Any], tell: Tell | None = None
) -> Steps[tuple[Reply, AnySheet | None]]:
    """Return the reply without its HTML, and the sheet that shows it; raise if the request is refused.

    ``tell`` is given the same of earlier answers on the way, and whether they have ranges. The last answer is kept:
    other parts of its HTML may be wanted next.
    """
    request = request_of(document)
    ask = ASKS[request.word("ask") or BATCH.name]
    if ask not in _SHOWN_ON_SHEETS:
        accepted = said("one of {choices}", choices=any_of(known.name for known in _SHOWN_ON_SHEETS))
        raise InputError("ask", ask.name, said("This is not one of the choices."), accepted)
    if request.solution is not None:
        return _solution_reply(request.solution, request), None
    if ask is SPREAD:
        return _spread_reply(request)
    if ask is SEASON:
        return (yield from _season_reply_in_steps(request))
    if ask is SHARE:
        winter = yield from winter_answer_in_steps(request)
        shared = share_sheet(winter, request.locale, request.own)
        return _ground_reply(winter, _read_as(request), TABLES_BEHIND_SHARING), shared
    if ask is JUDGE:
        return _advice_reply(JUDGE.name, (yield from judged_in_steps(document)), TABLES_BEHIND_JUDGING)
    if ask is HAPPENED:
        return _advice_reply(HAPPENED.name, mishap_answer(document), TABLES_BEHIND_MISHAPS)
    if ask is BOOK:
        return _book_reply(request), None
    key = json.dumps({name: part for name, part in document.items() if name != "html"})
    return (yield from recalled(_ANSWERED, key, 1, lambda: _batch_reply_in_steps(request, tell)))


def _printed(document: Mapping[str, Any]) -> Printed:
    ask = ask_of(document)
    return printed({**document, "ask": ask.name} if ask else document, _sheet_to_print)


@lru_cache(maxsize=32)
def _sheet_to_print(request_json: str) -> Sheet:
    """Return the sheet of one batch with its ranges, because the hazard class follows their upper end.

    The cache serves requests that differ only in the size of the paper.
    """
    request = read_request(request_json)
    if request.solution is not None or request.word("ask") == SPREAD.name:
        raise InputError(
            "request", "", said("There is no bottle in this request."), said_in("what is accepted", "a batch")
        )
    _, sheet = run_to_end(_batch_reply_in_steps(replace(request, words={**request.words, "ranges": "on"})))
    return sheet


# -- replies ----------------------------------------------------------------------------------------------------


def _written(reply: Reply | Refusal, tongue: str) -> str:
    """Return a reply as JSON text in a language; unpaired surrogates are replaced, since no file can hold them."""
    spoken = language(tongue).reply(reply.as_dict())
    return json.dumps(spoken, ensure_ascii=False, allow_nan=False).encode("utf-8", "replace").decode("utf-8")


def _names_wanted(document: Mapping[str, Any]) -> Sequence[str]:
    wanted = document.get("html", True)
    return PAGE_PARTS if wanted is True else wanted or ()


def _parts(sheet: AnySheet, tongue: str, names: Sequence[str]) -> dict[str, str]:
    if isinstance(sheet, SpreadSheet):
        return {"spread": spread_html(sheet, tongue)}
    if isinstance(sheet, ShareSheet):
        return {"share": share_html(sheet, tongue)}
    if isinstance(sheet, AdviceSheet):
        return {sheet.name: advice_html(sheet, tongue)}
    return season_html(sheet, tongue) if isinstance(sheet, SeasonSheet) else page_parts(sheet, tongue, names)


def _refusal(fault: Exception) -> Refusal:
    """Return the refusal for an exception, whether the request or the program is at fault."""
    if isinstance(fault, InputErrors):
        return Refusal(fault.errors)
    if isinstance(fault, InputError):
        return Refusal([fault])
    if isinstance(fault, NoSolution):
        return Refusal([InputError("request", "", fault.args[0], said("less extreme amounts"))])
    # A fault of the program must reach a person as a plain refusal, never as a figure or a traceback.
    problem = said("feedcalc failed on this ({fault}), so no figure was worked out.", fault=type(fault).__name__)
    return Refusal([InputError("feedcalc", "", problem, said("a report of this request to us"))])


def _solution_reply(asked: SolutionRequest, request: Request) -> Reply:
    equilibrium = equilibrate(
        asked.totals, asked.temperature_celsius + ZERO_CELSIUS_KELVIN, asked.minerals, asked.carbon_dioxide_atm
    )
    return Reply(
        values=figures.values_of_solution(equilibrium),
        assumed={"locale": request.locale},
        warnings=equilibrium.notes,
        sources=figures.sources_behind(figures.TABLES_BEHIND_CHEMISTRY),
    )


def _batch_reply_in_steps(request: Request, tell: Tell | None = None) -> Steps[tuple[Reply, Sheet]]:
    def early(answer: answers.Answer) -> None:
        if tell:  # what takes long and only all ranges show is left to the last answer
            quick = replace(request, words={**request.words, "ranges": "off"})
            tell(*_batch_reply(replace(answer, request=quick)), bool(answer.others))

    return _batch_reply((yield from answers.answer_in_steps(request, early if tell else None)))


def _batch_reply(answer: answers.Answer) -> tuple[Reply, Sheet]:
    request = answer.request
    values, notes = with_reactions(answer, figures.values_of(answer))
    values["evidence"]["medians"] = figures.medians_taken(values) if answer.others else {}
    sheet = sheet_of(answer, values, _MEANINGS)
    after = {name: values[name] for name in REACTIONS if name in values}
    read_as = _read_as(request)
    typed = tuple(filter(None, (_as_typed(request, path, reading) for path, reading in read_as.items())))
    sheet = replace(sheet, warnings=(*sheet.warnings, *notes), after=after, read_as=typed)
    reply = Reply(
        values=values,
        assumed=answer.assumed,
        read_as=read_as | {suggestion.field: suggestion.because for suggestion in answer.suggestions},
        cautions=[
            {"id": c.id, "where": c.where, "text": c.text, "source": c.source, "status": c.status, "weight": c.weight}
            for c in sheet.cautions
        ],
        warnings=(*answer.warnings, *notes),
        sources=figures.sources_behind(figures.TABLES_BEHIND_A_BATCH),
    )
    return reply, sheet


def _read_as(request: Request) -> dict[str, str]:
    amounts = {path: quantity.echo for path, quantity in request.readings.items() if quantity.echo}
    return {**amounts, **request.echoes}


def _as_typed(request: Request, path: str, reading: str) -> str:
    """Return what was typed and how it was read, where the reading alone does not say both."""
    quantity = request.readings.get(path)
    has_unit = quantity is not None and any(map(str.isalpha, quantity.text))
    if quantity and has_unit and quantity.typed_unit.startswith("us_") and request.own.volume == "us":
        return ""  # who answers to US customs knows that gallon
    return said("{typed} is {reading}", typed=quantity.text, reading=reading) if quantity else reading


def _spread_reply(request: Request) -> tuple[Reply, SpreadSheet]:
    answer = spread_answer(request)
    return _ground_reply(answer, _read_as(request), TABLES_BEHIND_SPREADING), spread_sheet(
        answer, request.locale, request.own
    )


def _advice_reply(name: str, judgement: Judgement, tables: tuple[str, ...]) -> tuple[Reply, AdviceSheet]:
    figures.medians_taken(judgement.values)
    sheet = advice_sheet(name, judgement, _MEANINGS)
    reply = Reply(
        values=judgement.values,
        assumed=judgement.assumed,
        cautions=[asdict(caution) for caution in judgement.cautions],
        sources=figures.sources_behind((*tables, "suitability_reasons", "feed_limits")),
    )
    return reply, sheet


def _season_reply_in_steps(request: Request) -> Steps[tuple[Reply, SeasonSheet]]:
    answer = yield from season_answer_in_steps(request)
    yield 1, 1
    sheet = season_sheet(answer, request.locale, request.own)
    yield 1, 1
    return _ground_reply(answer, answer.read_as, answer.tables), sheet


def _ground_reply(
    answer: SpreadAnswer | SeasonAnswer | WinterAnswer, read_as: Mapping[str, str], tables: tuple[str, ...]
) -> Reply:
    return Reply(
        values=answer.values,
        assumed=answer.assumed,
        read_as=read_as,
        cautions=[asdict(caution) for caution in answer.cautions],
        sources=figures.sources_behind(tables),
    )


def _book_reply(request: Request) -> Reply:
    work = book_work(request)
    book = {
        "changed": [record.as_dict() for record in work.changed],
        "set_aside": [error.as_dict() for error in work.set_aside],
        "text": work.text,
        "reminders": [reminder.as_dict() for reminder in work.reminders],
    }
    return Reply(values={"book": book}, read_as={})


def _kept_reply(kept: KeptAsh, tongue: str, has_html: bool) -> Reply:
    return Reply(
        values={"ash": values_of_kept(kept)},
        warnings=kept.warnings,
        sources=figures.sources_behind(figures.TABLES_BEHIND_A_BATCH),
        html={"ash": kept_ash_html(kept, tongue)} if has_html else {},
    )


def _print_reply(print_: Printed, ask: str) -> Reply:
    return Reply(
        values={ask: print_.values},
        warnings=print_.told,
        html={ask: "\n".join(svg for _, _, svg in print_.pages)},
        print={
            "title": print_.title,
            "text": print_.text,
            "pages": [{"width": width, "height": height} for width, height, _ in print_.pages],
        },
    )
