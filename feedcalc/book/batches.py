"""What batches of liquor gave to a season book, each worked out by its own request.

Rules of this room:

* A batch is worked through once for each distinct request, dilution and use of ranges, and the few figures that a book
  needs are kept; a whole answer is large and is not.
* It is worked through in slices, and what is dropped between two of them leaves nothing behind.
* What can't be worked through is refused in words that name the field, and a fault of ours with one batch never hides
  the rest of a book.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import TypeVar

from feedcalc.book.amounts import Ashes, NutrientAmounts, drawn_from
from feedcalc.contract.request import read_request
from feedcalc.liquor.answer import Answer, Outcome, answer_in_steps
from feedcalc.liquor.ash_evidence import ash_of_request
from feedcalc.liquor.figures import sludge_grams, sludge_lime
from feedcalc.uncertainty.estimates import Estimate, Steps, recalled
from feedcalc.words.errors import InputError, InputErrors, NoSolution
from feedcalc.words.json_text import parse_json
from feedcalc.words.messages import said

Result = TypeVar("Result")


def remembered(most: int) -> Callable[[Callable[..., Steps[Result]]], Callable[..., Steps[Result]]]:
    """What ``lru_cache`` is, for work in slices: of ``most`` results asked for last none is worked out again."""

    def remembering(work: Callable[..., Steps[Result]]) -> Callable[..., Steps[Result]]:
        known: dict[tuple[str, ...], Result] = {}

        @wraps(work)
        def asked(*told: str) -> Steps[Result]:
            return recalled(known, told, most, lambda: work(*told))

        return asked

    return remembering


@dataclass(frozen=True, slots=True)
class AnsweredBatches:
    """What batches gave, worked out by their own requests; ``ranges`` ``off`` for typical figures alone."""

    ranges: str = "on"

    def litre_of_feed(self, request: str, dilution: str) -> Steps[NutrientAmounts]:
        """A litre of feed as poured, in grams; raises `InputError` where the request is no batch."""
        return _litre_of_feed(request, dilution, self.ranges)

    def whole_sludge(self, request: str) -> Steps[NutrientAmounts]:
        """All the sludge of a batch with the liquor left in it, in grams."""
        return _whole_sludge(request, self.ranges)

    def ash_of_batch(self, request: str) -> Steps[Ashes]:
        """The ash of a batch, by all that was read of it."""
        return _ashes_of((yield from self.answer(request, "")))

    def kept_ash(self, evidence: str) -> Steps[Ashes]:
        """A kept ash; raises `InputError` where its evidence is none."""
        return _kept_ash(evidence, self.ranges)

    def answer(self, request: str, dilution: str) -> Steps[Answer]:
        """The batch worked through, with another dilution where one is given."""
        return _answered(request, dilution, self.ranges)


@remembered(256)
def _litre_of_feed(request: str, dilution: str, ranges: str) -> Steps[NutrientAmounts]:
    answer = yield from _answered(request, dilution, ranges)

    def grams(element: str) -> Estimate:
        return answer.spread(lambda outcome: outcome.own.liquor.milligrams_per_litre(element) / 1000)

    def lime(outcome: Outcome) -> float:
        return max(outcome.own.liquor.alkalinity, 0.0) / 1000

    return NutrientAmounts(
        grams("potassium"),
        grams("calcium"),
        grams("magnesium"),
        answer.spread(lime),
        answer.spread(lambda outcome: _as_ash(lime(outcome), outcome)),
    )


@remembered(256)
def _whole_sludge(request: str, ranges: str) -> Steps[NutrientAmounts]:
    answer = yield from _answered(request, "", ranges)

    def held(element: str) -> Estimate:
        return answer.spread(lambda outcome: max(sludge_grams(outcome, element), 0.0))

    return NutrientAmounts(
        held("potassium"),
        held("calcium"),
        held("magnesium"),
        answer.spread(lambda outcome: max(sludge_lime(outcome), 0.0)),
        answer.spread(lambda outcome: outcome.batch.ash_grams),
    )


def _ashes_of(answer: Answer) -> Ashes:
    return Ashes(answer.typical.sample, tuple(outcome.sample for outcome in answer.others))


@remembered(64)
def _kept_ash(evidence: str, ranges: str) -> Steps[Ashes]:
    """By its evidence, a list of batches or one: ashes weighed by what was read of them, if anything was."""
    try:
        told = parse_json(evidence)
    except ValueError:
        told = None
    batches = told if isinstance(told, list) else [told]
    if not batches or not all(isinstance(batch, dict) and isinstance(batch.get("ash", {}), dict) for batch in batches):
        problem = said("Nothing that was learned of this ash can be read.")
        raise InputError("ash", evidence[:60], problem, said("the evidence of a kept ash, as JSON"))
    newest = batches[-1]
    kind = {name: newest.get("ash", {}).get(name) for name in ("kind", "state")}
    asked = {name: newest[name] for name in ("locale", "customs") if name in newest}
    text = json.dumps({"schema": 1, **asked, "ash": {**kind, "earlier": batches}})
    if ranges == "on" and any(batch.get("measured") for batch in batches):
        return _ashes_of((yield from _answered(text, "", ranges)))
    try:
        return drawn_from(ash_of_request(read_request(text)))
    except InputErrors as errors:
        first = errors.errors[0]
        raise InputError("ash", first.given, first.problem, first.accepted) from None


def _as_ash(lime: float, outcome: Outcome) -> float:
    """Grams of the batch's ash that hold as much lime value; none where the ash holds none."""
    per_gram = outcome.sample.lime_value()
    return lime / per_gram if per_gram > 0 else 0.0


# Whole answers are large; what a book asks again and again is kept by the two above.
@remembered(8)
def _answered(text: str, dilution: str, ranges: str) -> Steps[Answer]:
    try:
        document = parse_json(text)
        if not isinstance(document, dict):
            raise ValueError("a batch is an object")
    except ValueError:
        raise InputError(
            "request", text[:60], said("This is not a batch."), said("the request of a batch as JSON")
        ) from None
    asked = {name: given for name, given in document.items() if name not in ("ask", "ranges")}
    asked |= {"schema": 1, "ranges": ranges} | ({"dilution": dilution} if dilution else {})
    try:
        answer = yield from answer_in_steps(read_request(json.dumps(asked)))
        yield 1, 1  # a batch by itself is a slice, even where it takes no sample of ashes
        return answer
    except InputErrors as errors:
        first = errors.errors[0]
        where = "dilution" if first.field == "dilution" and dilution else f"request.{first.field}"
        raise InputError(where, first.given, first.problem, first.accepted) from None
    except NoSolution as reason:
        raise InputError("request", "", str(reason), said("less extreme amounts")) from None
    except Exception as fault:
        # A fault of ours with one batch must not hide the rest of a book.
        problem = said("feedcalc failed on this batch ({fault}); it is not counted.", fault=type(fault).__name__)
        raise InputError("request", "", problem, said("a report of this batch to us")) from None
