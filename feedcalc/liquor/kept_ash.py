"""An ash kept under a name: the evidence from its batches, and what that evidence says about the next batch.

* Evidence is kept, not conclusions: the parts of each batch's request that depend on the ash, as typed. What they say
  is computed again with the current chemistry whenever it is asked.
* The figures are the density of the ash and the liquor of 100 g of it in 5 L of rainwater, so that kept ashes compare.
* A batch whose readings no plausible ash explains is refused with likely causes. Dates come from the caller.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from feedcalc.contract.fields import MOST_EARLIER, REQUEST_FIELDS, SCHEMA
from feedcalc.contract.figures import Figure, Shown, exact_figure, figure, shown
from feedcalc.contract.numbers import write_number
from feedcalc.contract.request import Request, request_of
from feedcalc.contract.text import one_line
from feedcalc.frozen import frozen
from feedcalc.liquor.air import hydroxide_share
from feedcalc.liquor.answer import Answer, Outcome, Suggestion, answer_in_steps, answer_to
from feedcalc.liquor.figures import medians_taken
from feedcalc.uncertainty.estimates import Steps, estimate_of, percentile, within_progress
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.messages import listed, said, said_of

# Fields of this ask that are no part of a batch's request.
_OWN = ("ask", "name", "date")
_KEPT_GROUPS = ("water", "steep", "measured")
_KEPT_OF_ASH = ("kind", "state", "amount", "weighings", "weighed_measure", "density", "analysis")
_MEASURED = ("measured.ec", "measured.ph", "measured.acid_drops", "measured.colour")
_EVIDENCE = (*_MEASURED, "ash.weighings", "ash.density")
# The batch for which kept ashes are compared.
_COMPARED: Mapping[str, Any] = {"water": {"kind": "rain", "amount": "5 L"}, "dilution": "1:10"}
_COMPARED_AMOUNT = "100 g"


@frozen
class KeptAsh:
    """An ash with its evidence: ``text`` is the JSON text that a record keeps, of ``batches`` batches."""

    name: str
    date: str
    text: str
    batches: int
    kind: str
    state: str
    figures: Mapping[str, Figure]
    effective: float | None
    words: tuple[str, ...]
    warnings: tuple[str, ...]


def kept_ash_in_steps(document: Mapping[str, Any]) -> Steps[KeptAsh]:
    """Return in slices what a request with ``"ask": "learn"`` keeps: its own evidence and that of ``ash.earlier``.

    Raises `InputErrors` where there is no evidence, or where no plausible ash explains the readings.
    """
    name, date = (one_line(key, document.get(key, "")) for key in ("name", "date"))
    asked = {key: value for key, value in document.items() if key not in _OWN}
    if date:
        asked["now"] = date
    request = request_of(asked)
    earlier = _earlier_of(asked)
    own = _own_evidence(asked, request)
    # Progress counts in batches: the own batch is checked alone, then all are computed together.
    alone = 0 if own is None else 1
    suggestions: tuple[Suggestion, ...] = ()
    if own is not None:
        yield 0, 1
        checked = within_progress(_refuse_implausible(request), 0, alone, alone + len(earlier) + 1)
        suggestions = yield from checked
        own, request = _as_taken(own, request, suggestions)
        earlier = [*earlier, own]
    if not earlier:
        problem = said("No test, weight or reading here says anything about this ash.")
        accepted = said(
            "how well it conducts (EC), its pH, how much vinegar it took, what you weighed, or a lab's figures"
        )
        raise InputErrors([InputError("measured", "", problem, accepted)])
    earlier = earlier[-MOST_EARLIER:]
    compared = answer_in_steps(_compared(request, earlier))
    answer = yield from within_progress(compared, alone, len(earlier), alone + len(earlier))
    figures = _figures(answer)
    return KeptAsh(
        name=name,
        date=date or _date_of(request),
        text=json.dumps(earlier, ensure_ascii=False, separators=(",", ":")),
        batches=len(earlier),
        kind=request.word("ash.kind"),
        state=request.word("ash.state"),
        figures=figures,
        effective=answer.effective_samples,
        words=_words(figures, answer, earlier, request.locale),
        warnings=(*(suggestion.because for suggestion in suggestions), *answer.warnings),
    )


def values_of_kept(kept: KeptAsh) -> dict[str, Any]:
    """Return ``values.ash`` of the reply: the fields of the record and the figures by name."""
    values: dict[str, Any] = {
        "name": kept.name,
        "date": kept.date,
        "evidence": kept.text,
        "kind": kept.kind,
        "state": kept.state,
        "batches": exact_figure(float(kept.batches), "1"),
        **kept.figures,
        "words": list(kept.words),
    }
    medians_taken(values)
    if kept.effective is not None:
        values["effective_samples"] = exact_figure(kept.effective, "1")
    return values


def _date_of(request: Request) -> str:
    return request.moment.date().isoformat() if request.moment else ""


def _earlier_of(asked: Mapping[str, Any]) -> list[Any]:
    ash = asked.get("ash")
    return list(ash.get("earlier") or []) if isinstance(ash, dict) else []


def _own_evidence(asked: Mapping[str, Any], request: Request) -> dict[str, Any] | None:
    """Return the parts of a request that depend on the ash, with the planned amounts; None without evidence."""
    measured = any(name in request.numbers or request.words.get(name) for name in _MEASURED)
    of_ash = request.group("ash.weighings") or request.group("ash.analysis") or request.number("ash.density")
    if not measured and not of_ash:
        return None
    plan = answer_to(replace(request, words={**request.words, "ranges": "off"}, earlier=())).plan
    given = asked.get("ash") or {}
    ash = {key: given[key] for key in _KEPT_OF_ASH if given.get(key) not in (None, "", {}, [])}
    ash |= {"kind": request.word("ash.kind"), "state": request.word("ash.state")}
    kept: dict[str, Any] = {"locale": request.locale, "customs": request.customs, "ash": ash}
    kept |= {key: dict(asked[key]) for key in _KEPT_GROUPS if asked.get(key)}

    def written(value: float) -> str:
        return write_number(value, 6, request.locale, trim=True)

    if "ash.amount" not in request.readings:
        millilitres = f"{written(plan.ash_millilitres)} mL"
        ash["amount"] = millilitres if plan.ash_grams is None else f"{written(plan.ash_grams)} g"
    if "water.amount" not in request.readings:
        kept["water"] = {**kept.get("water", {}), "amount": f"{written(plan.water_litres)} L"}
    if request.word("measured.of") == "feed":
        kept["dilution"] = f"1:{written(plan.parts_water)}"
        if asked.get("dilution_water"):
            kept["dilution_water"] = asked["dilution_water"]
    if request.moment:
        kept["now"] = _date_of(request)
    return kept


def _as_taken(
    own: dict[str, Any], request: Request, suggestions: Sequence[Suggestion]
) -> tuple[dict[str, Any], Request]:
    """Return evidence and request with the state or the unit that the readings fit, as the answer took them."""
    for suggestion in suggestions:
        group, name = suggestion.field.split(".")
        own = {**own, group: {**own[group], name: suggestion.value}}
        if suggestion.field in request.words:
            request = replace(request, words={**request.words, suggestion.field: suggestion.value})
    return own, request


def _refuse_implausible(request: Request) -> Steps[tuple[Suggestion, ...]]:
    """Return what the readings contradict. Raises `InputErrors` where a reading was rejected."""
    answer = yield from answer_in_steps(replace(request, earlier=()))
    read = [name for name in _MEASURED if name in request.numbers or request.words.get(name)]
    missed = [name for name in read if name not in answer.readings_used]
    if missed:
        accepted = said("readings that an ash can give, or none")
        problem = listed(answer.doubts, " ")
        given = request.readings[missed[0]].text if missed[0] in request.readings else request.word(missed[0])
        raise InputErrors([InputError(missed[0], given, problem, accepted)])
    return answer.suggestions


def _compared(request: Request, earlier: list[Any]) -> Request:
    return request_of(
        {
            **_COMPARED,
            "schema": SCHEMA,
            "locale": request.locale,
            "customs": request.customs,
            "seed": request.known("seed"),
            "now": request.moment.isoformat() if request.moment else None,
            "ash": {
                "kind": request.word("ash.kind"),
                "state": request.word("ash.state"),
                "amount": _COMPARED_AMOUNT,
                "earlier": earlier,
            },
        }
    )


def _figures(answer: Answer) -> dict[str, Figure]:
    """Return the figures by name, each with its own median as value, because no batch is planned on them."""

    def median_of(of: Callable[[Outcome], float], unit: str) -> Figure:
        values = sorted(of(outcome) for outcome in answer.others)
        return figure(estimate_of(values, percentile(values, 0.5), answer.effective_samples), unit)

    return {
        "density": median_of(lambda outcome: outcome.sample.density, "g/mL"),
        "potassium": median_of(lambda outcome: outcome.steep.liquor.milligrams_per_litre("potassium"), "mg/L"),
        "alkalinity": median_of(lambda outcome: outcome.steep.liquor.alkalinity, "mg/L CaCO3"),
        "ph": median_of(lambda outcome: outcome.steep.liquor.equilibrium.ph, "1"),
        "caustic_share": median_of(lambda outcome: hydroxide_share(outcome.steep.liquor), "1"),
    }


def _evidence_line(batch: Mapping[str, Any]) -> str:
    """Return a line with the date of a batch and what was read, weighed or analysed of it, as typed."""
    parts = []
    for known in REQUEST_FIELDS:
        group, *rest = known.path.split(".")
        typed: Any = batch.get(group)
        for name in rest:
            typed = typed.get(name) if isinstance(typed, Mapping) else None
        is_evidence = known.path in _EVIDENCE or known.path.startswith("ash.analysis.")
        if is_evidence and typed not in (None, "", []):
            text = "; ".join(map(str, typed)) if isinstance(typed, list) else str(typed)
            parts.append(said("{name} {figure}", name=known.meaning, figure=text))
    day = str(batch.get("now") or "")[:10]
    return said("{name}: {figure}", name=day, figure=listed(parts)) if day else listed(parts)


def _words(figures: Mapping[str, Figure], answer: Answer, earlier: Sequence[Any], locale: str) -> tuple[str, ...]:
    def shown_at(path: str) -> Shown:
        return shown(path, figures[path.rsplit(".", 1)[-1]], locale)

    potassium = shown_at("liquor.potassium")
    lines: list[str] = [
        said_of(len(earlier), "Learned from {count} batch.", "Learned from {count} batches."),
        *(line for line in map(_evidence_line, earlier) if line),
        said("When loose it weighs {figure}.", figure=shown_at("density").likely),
        said("100 g of it in 5 L of rainwater gives {figure}.", figure=potassium.headline(said("potassium"))),
        said("The alkalinity of that liquor is {figure}, as CaCO₃.", figure=shown_at("liquor.alkalinity").likely),
        said("Its pH is {figure}.", figure=shown_at("liquor.ph").likely),
        said("The share of it that is caustic is {figure}.", figure=shown_at("caustic_share").likely),
    ]
    if answer.effective_samples is not None:
        count = write_number(answer.effective_samples, 2, locale)
        lines.append(said("This comes from likely ashes that agree with your readings: about {count}.", count=count))
    return tuple(lines)
