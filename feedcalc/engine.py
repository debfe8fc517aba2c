"""The door: a request as JSON text in, a reply as JSON text out (contract version 1).

* The command line and the page call the same functions, so they cannot disagree.
* No exception leaves the door for anything a person can type. A refusal is a reply with ``"ok": false`` that lists
  every faulty field.
* `feedcalc.contract.asks` lists what may be asked; each has its module in `feedcalc.replies`, imported when asked.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING, Any

from feedcalc.contract.asks import ASKS, BATCH, LEARN, PAGE_PARTS, PARTS_FIRST, PARTS_WITH_RANGES, SEASON, ask_of
from feedcalc.contract.reply import Refusal, Reply
from feedcalc.contract.request import json_document, request_of
from feedcalc.replies import SHOWN_ON_SHEETS, answers_to
from feedcalc.replies.answered import Answered, Tell
from feedcalc.uncertainty.estimates import Steps, recalled, run_to_end
from feedcalc.words.errors import InputError, InputErrors, NoSolution
from feedcalc.words.languages import LANGUAGES, language
from feedcalc.words.messages import any_of, said
from feedcalc.words.package_files import package_file

if TYPE_CHECKING:
    from feedcalc.sheets.paper.printing import Printed

# The last answered batch by its request, whatever parts of its HTML were wanted.
_ANSWERED: dict[str, Answered] = {}


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
            from feedcalc.replies.prints import print_reply, printed_of

            return _written(print_reply(printed_of(document), ask.name), tongue)
        if ask is LEARN:
            from feedcalc.replies import kept_ash

            kept = yield from kept_ash.answered_in_steps(document)
            return _written_with(kept, tongue, [ask.name] if document.get("html", True) else ())

        def tell(answered: Answered, has_ranges: bool) -> None:
            names = [name for name in _names_wanted(document) if name not in PARTS_WITH_RANGES]
            told = names if has_ranges else [name for name in names if name in PARTS_FIRST]
            if early:
                reply = replace(answered.reply, more=len(told) < len(names) or None)
                early(_written_with(replace(answered, reply=reply), tongue, told))

        answered = yield from _answered_in_steps(document, tell if early else None)
        text = _written_with(answered, tongue, _names_wanted(document))
        if ask is SEASON:
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
        answered = run_to_end(_answered_in_steps(document))
        reply, text = answered.reply, answered.markdown(tongue, part)
    except Exception as fault:
        reply, text = _refusal(fault), ""
    spoken: dict[str, Any] = language(tongue).reply(reply.as_dict())
    return spoken, text


def calculate_print(request_json: str) -> tuple[list[dict[str, str]], Printed | None]:
    """Return the errors of a request for a label or a wall sheet, and what it prints if there are none."""
    from feedcalc.replies.prints import printed_of

    tongue = "en"
    try:
        document = json_document(request_json)
        tongue = _language_of(document)
        return [], printed_of(document)
    except Exception as fault:
        return language(tongue).reply(_refusal(fault).as_dict()["errors"]), None


@cache
def demo_request() -> str:
    """Return the example request: two ten-litre cans for tomatoes, from the ash of a stove that burns oak."""
    return package_file("feedcalc.contract", "demo.json").decode("utf-8")


# -- what is asked ----------------------------------------------------------------------------------------------


def _language_of(document: Mapping[str, Any]) -> str:
    """Return the language to answer in, even if the rest of the document is refused; raise if it is not installed."""
    wanted = document.get("language")
    tag = wanted.strip().casefold() if isinstance(wanted, str) else "en"
    return language(tag if tag in LANGUAGES else "en").tag


def _answered_in_steps(document: Mapping[str, Any], tell: Tell | None = None) -> Steps[Answered]:
    """Return the answer to a request that is shown on a sheet; raise if it is refused.

    ``tell`` is given earlier answers on the way. The last answer is kept: other parts of its HTML may be wanted next.
    """
    request = request_of(document)
    ask = ASKS[request.word("ask") or BATCH.name]
    if ask not in SHOWN_ON_SHEETS:
        accepted = said("one of {choices}", choices=any_of(known.name for known in SHOWN_ON_SHEETS))
        raise InputError("ask", ask.name, said("This is not one of the choices."), accepted)
    if request.solution is not None:
        from feedcalc.replies import solution

        return solution.answered(request.solution, request)
    answered_in_steps = answers_to(ask)
    if ask is not BATCH:
        return (yield from answered_in_steps(document, request))
    key = json.dumps({name: part for name, part in document.items() if name != "html"})
    return (yield from recalled(_ANSWERED, key, 1, lambda: answered_in_steps(document, request, tell)))


# -- replies ----------------------------------------------------------------------------------------------------


def _written(reply: Reply | Refusal, tongue: str) -> str:
    """Return a reply as JSON text in a language; unpaired surrogates are replaced, since no file can hold them."""
    spoken = language(tongue).reply(reply.as_dict())
    return json.dumps(spoken, ensure_ascii=False, allow_nan=False).encode("utf-8", "replace").decode("utf-8")


def _written_with(answered: Answered, tongue: str, names: Sequence[str]) -> str:
    """Return an answer as JSON text with some parts of its HTML."""
    html = answered.html(tongue, names) if names else {}
    return _written(replace(answered.reply, html=html), tongue)


def _names_wanted(document: Mapping[str, Any]) -> Sequence[str]:
    wanted = document.get("html", True)
    return PAGE_PARTS if wanted is True else wanted or ()


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
