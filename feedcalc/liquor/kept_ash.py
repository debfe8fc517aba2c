"""An ash kept under a name: what its batches taught, and what a person may count on with the next.

Rules of this room:

* What is kept is evidence, not a conclusion: the parts of each batch's request that bear on the ash, as typed. What it
  says is worked out anew whenever it is asked, by the chemistry of that day.
* Told are the ash's weight and the liquor of 100 g of it in 5 L of rainwater, so that kept ashes may be compared.
* A batch whose readings no plausible ash gives is refused, with the causes: it would teach something wrong.
* No clock: the date is handed in.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from feedcalc.contract.fields import MOST_EARLIER, REQUEST_FIELDS, SCHEMA
from feedcalc.contract.figures import Figure, Shown, figure, shown
from feedcalc.contract.numbers import write_number
from feedcalc.contract.request import Request, request_of
from feedcalc.contract.text import one_line
from feedcalc.liquor.air import hydroxide_share
from feedcalc.liquor.answer import Answer, Outcome, answer_in_steps, answer_to
from feedcalc.liquor.figures import medians_taken
from feedcalc.uncertainty.estimates import Estimate, Steps, estimate_of, percentile, within_progress
from feedcalc.words.errors import InputError, InputErrors
from feedcalc.words.messages import listed, said, said_of

# Besides the parts of a batch's request: what the ash is called and when the batch was made.
_OWN = ("ask", "name", "date")
_KEPT_GROUPS = ("water", "steep", "measured")
_KEPT_OF_ASH = ("kind", "state", "amount", "weighings", "weighed_measure", "density", "analysis")
# What of a batch tells of its ash.
_TELLING = ("measured.ec", "measured.ph", "measured.acid_drops", "ash.weighings", "ash.density")
# The batch by which kept ashes are compared.
_COMPARED: Mapping[str, Any] = {"water": {"kind": "rain", "amount": "5 L"}, "dilution": "1:10"}
_COMPARED_AMOUNT = "100 g"


@dataclass(frozen=True, slots=True)
class KeptAsh:
    """An ash with its evidence: ``text`` is what a record keeps, ``batches`` how many batches it holds."""

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
    """What a request with ``"ask": "learn"`` keeps: its own readings, if it has any, and those of ``ash.earlier``.

    In slices, because each ash it could be is run through every batch. Raises `InputErrors` where nothing was learned,
    or where no plausible ash gives what was read.
    """
    name, date = (one_line(key, document.get(key, "")) for key in ("name", "date"))
    asked = {key: value for key, value in document.items() if key not in _OWN}
    if date:
        asked["now"] = date
    request = request_of(asked)
    earlier = _told_earlier(asked)
    own = _own_evidence(asked, request)
    # An ash costs about as much in each batch; the own one is worked through alone first, then with the others.
    alone = 0
    if own is not None:
        alone = 1
        earlier = [*earlier, own]
        yield 0, 1
        yield from within_progress(_refuse_what_does_not_fit(request), 0, alone, alone + len(earlier))
    if not earlier:
        problem = said("Nothing was read, weighed or analysed that would tell of this ash.")
        accepted = said("a conductivity, a pH, vinegar counted, weighings, or an analysis")
        raise InputErrors([InputError("measured", "", problem, accepted)])
    if len(earlier) > MOST_EARLIER:
        earlier = earlier[-MOST_EARLIER:]
    compared = answer_in_steps(_compared(request, earlier))
    answer = yield from within_progress(compared, alone, len(earlier), alone + len(earlier))
    figures = _figures(answer)
    return KeptAsh(
        name,
        date or _date_of(request),
        json.dumps(earlier, ensure_ascii=False, separators=(",", ":")),
        len(earlier),
        request.word("ash.kind"),
        request.word("ash.state"),
        figures,
        answer.effective_samples,
        _words(figures, answer, earlier, request.locale),
        answer.warnings,
    )


def values_of_kept(kept: KeptAsh) -> dict[str, Any]:
    """``values.ash`` of the reply: the fields of its record and the figures by name."""
    told: dict[str, Any] = {
        "name": kept.name,
        "date": kept.date,
        "evidence": kept.text,
        "kind": kept.kind,
        "state": kept.state,
        "batches": figure(Estimate.exactly(float(kept.batches)), "1"),
        **kept.figures,
        "words": list(kept.words),
    }
    medians_taken(told)
    if kept.effective is not None:
        told["effective_samples"] = figure(Estimate.exactly(kept.effective), "1")
    return told


def _date_of(request: Request) -> str:
    return request.moment.date().isoformat() if request.moment else ""


def _told_earlier(asked: Mapping[str, Any]) -> list[Any]:
    ash = asked.get("ash")
    return list(ash.get("earlier") or []) if isinstance(ash, dict) else []


def _own_evidence(asked: Mapping[str, Any], request: Request) -> dict[str, Any] | None:
    """The parts of a batch's request that bear on its ash, amounts filled in where they were planned; None without."""
    measured = any(name in request.numbers for name in ("measured.ec", "measured.ph", "measured.acid_drops"))
    learned_of_ash = request.group("ash.weighings") or request.group("ash.analysis") or request.number("ash.density")
    if not measured and not learned_of_ash:
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


def _refuse_what_does_not_fit(request: Request) -> Steps[None]:
    """Raise where the readings were doubted."""
    answer = yield from answer_in_steps(replace(request, earlier=()))
    read = [name for name in ("measured.ec", "measured.ph", "measured.acid_drops") if name in request.numbers]
    missed = [name for name in read if name not in answer.readings_used]
    if missed:
        accepted = said("readings that an ash can give, or none")
        problem = " ".join(warning for warning in answer.warnings if "plausible ash" in warning)
        given = request.readings[missed[0]].text
        raise InputErrors([InputError(missed[0], given, problem, accepted)])


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
    """The figures by name; each is a median of its own, since nothing is made of them together."""

    def told(of: Callable[[Outcome], float], unit: str) -> Figure:
        values = sorted(of(outcome) for outcome in answer.others)
        return figure(estimate_of(values, percentile(values, 0.5), answer.effective_samples), unit)

    return {
        "density": told(lambda outcome: outcome.sample.density, "g/mL"),
        "potassium": told(lambda outcome: outcome.steep.liquor.milligrams_per_litre("potassium"), "mg/L"),
        "alkalinity": told(lambda outcome: outcome.steep.liquor.alkalinity, "mg/L CaCO3"),
        "ph": told(lambda outcome: outcome.steep.liquor.equilibrium.ph, "1"),
        "caustic_share": told(lambda outcome: hydroxide_share(outcome.steep.liquor), "1"),
    }


def _evidence_line(batch: Mapping[str, Any]) -> str:
    """What was read, weighed or analysed of a batch, as typed, and when."""
    parts = []
    for known in REQUEST_FIELDS:
        group, *rest = known.path.split(".")
        typed: Any = batch.get(group)
        for name in rest:
            typed = typed.get(name) if isinstance(typed, Mapping) else None
        told = known.path in _TELLING or known.path.startswith("ash.analysis.")
        if told and typed not in (None, "", []):
            text = "; ".join(map(str, typed)) if isinstance(typed, list) else str(typed)
            parts.append(said("{name} {figure}", name=known.meaning, figure=text))
    day = str(batch.get("now") or "")[:10]
    return said("{name}: {figure}", name=day, figure=listed(parts)) if day else listed(parts)


def _words(figures: Mapping[str, Figure], answer: Answer, earlier: Sequence[Any], locale: str) -> tuple[str, ...]:
    def told(path: str) -> Shown:
        return shown(path, figures[path.rsplit(".", 1)[-1]], locale)

    potassium = told("liquor.potassium")
    lines: list[str] = [
        said_of(len(earlier), "Learned from {count} batch.", "Learned from {count} batches."),
        *(line for line in map(_evidence_line, earlier) if line),
        said("Loose it weighs {figure}.", figure=told("density").likely),
        said("100 g of it in 5 L of rainwater gives {figure}.", figure=potassium.headline(said("potassium"))),
        said("The alkalinity of that liquor is {figure}, as CaCO₃.", figure=told("liquor.alkalinity").likely),
        said("Its pH is {figure}.", figure=told("liquor.ph").likely),
        said("Its caustic share is {figure}.", figure=told("caustic_share").likely),
    ]
    if answer.effective_samples is not None:
        count = write_number(answer.effective_samples, 2, locale)
        lines.append(said("This rests on about {count} ashes that agree with what was read.", count=count))
    return tuple(lines)
