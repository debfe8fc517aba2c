"""What batches of liquor gave to a season book, each computed from its own request.

* A batch is computed once for each distinct request, dilution and use of ranges. The few amounts that a book needs are
  cached; a whole answer is large and only the last few are.
* Batches are computed in slices. Work that is dropped between two slices leaves nothing in the caches.
* A batch that cannot be computed is refused with the name of the field. A failure of feedcalc on one batch never hides
  the rest of a book.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import wraps
from typing import TypeVar

from feedcalc.book.amounts import NutrientAmounts, SampledAsh, sampled_ash
from feedcalc.contract.request import read_request
from feedcalc.frozen import frozen
from feedcalc.liquor.answer import Answer, Outcome, answer_in_steps
from feedcalc.liquor.ash_evidence import ash_of_request
from feedcalc.liquor.figures import sludge_grams, sludge_lime
from feedcalc.uncertainty.estimates import Estimate, Steps, recalled
from feedcalc.words.errors import InputError, InputErrors, NoSolution
from feedcalc.words.json_text import json_object, parse_json
from feedcalc.words.messages import said

Result = TypeVar("Result")


def cached_steps(most: int) -> Callable[[Callable[..., Steps[Result]]], Callable[..., Steps[Result]]]:
    """Return the equivalent of ``lru_cache(most)`` for work in slices on texts."""

    def decorate(work: Callable[..., Steps[Result]]) -> Callable[..., Steps[Result]]:
        results: dict[tuple[str, ...], Result] = {}

        @wraps(work)
        def cached(*texts: str) -> Steps[Result]:
            return recalled(results, texts, most, lambda: work(*texts))

        return cached

    return decorate


@frozen
class AnsweredBatches:
    """The amounts of batches by their requests (JSON text); ``ranges`` is ``off`` for typical figures alone."""

    ranges: str = "on"

    def litre_of_feed(self, request: str, dilution: str) -> Steps[NutrientAmounts]:
        """Return a litre of feed as poured, in grams; raises `InputError` if the request is not a batch."""
        return _litre_of_feed(request, dilution, self.ranges)

    def whole_sludge(self, request: str) -> Steps[NutrientAmounts]:
        """Return all the sludge of a batch with the liquor left in it, in grams."""
        return _whole_sludge(request, self.ranges)

    def ash_of_batch(self, request: str) -> Steps[SampledAsh]:
        """Return the ash of a batch with all that was measured of it."""
        return _ash_of((yield from self.answer(request, "")))

    def kept_ash(self, evidence: str) -> Steps[SampledAsh]:
        """Return a kept ash; raises `InputError` if its evidence cannot be read."""
        return _kept_ash(evidence, self.ranges)

    def answer(self, request: str, dilution: str) -> Steps[Answer]:
        """Return the answer of a batch, with another dilution unless it is empty."""
        return _answer(request, dilution, self.ranges)


@cached_steps(256)
def _litre_of_feed(request: str, dilution: str, ranges: str) -> Steps[NutrientAmounts]:
    answer = yield from _answer(request, dilution, ranges)

    def grams(element: str) -> Estimate:
        return answer.spread(lambda outcome: outcome.own.liquor.milligrams_per_litre(element) / 1000)

    def lime(outcome: Outcome) -> float:
        return max(outcome.own.liquor.alkalinity, 0.0) / 1000

    return NutrientAmounts(
        potassium=grams("potassium"),
        calcium=grams("calcium"),
        magnesium=grams("magnesium"),
        lime_value=answer.spread(lime),
        ash=answer.spread(lambda outcome: _equivalent_ash(lime(outcome), outcome)),
    )


@cached_steps(256)
def _whole_sludge(request: str, ranges: str) -> Steps[NutrientAmounts]:
    answer = yield from _answer(request, "", ranges)

    def grams(element: str) -> Estimate:
        return answer.spread(lambda outcome: max(sludge_grams(outcome, element), 0.0))

    return NutrientAmounts(
        potassium=grams("potassium"),
        calcium=grams("calcium"),
        magnesium=grams("magnesium"),
        lime_value=answer.spread(lambda outcome: max(sludge_lime(outcome), 0.0)),
        ash=answer.spread(lambda outcome: outcome.batch.ash_grams),
    )


def _ash_of(answer: Answer) -> SampledAsh:
    return SampledAsh(answer.typical.sample, tuple(outcome.sample for outcome in answer.others))


@cached_steps(64)
def _kept_ash(evidence: str, ranges: str) -> Steps[SampledAsh]:
    """Return an ash by its evidence, a batch or a list: posterior samples if anything was measured, else the prior."""
    try:
        found = parse_json(evidence)
    except ValueError:
        found = None
    batches = found if isinstance(found, list) else [found]
    if not batches or not all(isinstance(batch, dict) and isinstance(batch.get("ash", {}), dict) for batch in batches):
        problem = said("What was learned about this ash can't be read.")
        raise InputError("ash", evidence[:60], problem, said("the evidence of a kept ash, as JSON"))
    newest = batches[-1]
    kind = {name: newest.get("ash", {}).get(name) for name in ("kind", "state")}
    reading = {name: newest[name] for name in ("locale", "customs") if name in newest}
    text = json.dumps({"schema": 1, **reading, "ash": {**kind, "earlier": batches}})
    if ranges == "on" and any(batch.get("measured") for batch in batches):
        return _ash_of((yield from _answer(text, "", ranges)))
    try:
        return sampled_ash(ash_of_request(read_request(text)))
    except InputErrors as errors:
        first = errors.errors[0]
        raise InputError("ash", first.given, first.problem, first.accepted) from None


def _equivalent_ash(lime: float, outcome: Outcome) -> float:
    """Return the grams of the batch's ash with this lime value in grams; 0 if the ash has none."""
    per_gram = outcome.sample.lime_value()
    return lime / per_gram if per_gram > 0 else 0.0


@cached_steps(8)
def _answer(text: str, dilution: str, ranges: str) -> Steps[Answer]:
    document = json_object(text)
    if document is None:
        raise InputError("request", text[:60], said("This is not a batch."), said("the request of a batch as JSON"))
    request = {name: given for name, given in document.items() if name not in ("ask", "ranges")}
    request |= {"schema": 1, "ranges": ranges} | ({"dilution": dilution} if dilution else {})
    try:
        answer = yield from answer_in_steps(read_request(json.dumps(request)))
        yield 1, 1  # a batch is a slice of its own, even without samples of its ash
        return answer
    except InputErrors as errors:
        first = errors.errors[0]
        where = "dilution" if first.field == "dilution" and dilution else f"request.{first.field}"
        raise InputError(where, first.given, first.problem, first.accepted) from None
    except NoSolution as reason:
        raise InputError("request", "", str(reason), said("less extreme amounts")) from None
    except Exception as fault:
        problem = said("feedcalc failed on this batch ({fault}), so it is not counted.", fault=type(fault).__name__)
        raise InputError("request", "", problem, said("a report of this batch to us")) from None
