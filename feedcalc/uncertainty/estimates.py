"""Uncertain quantities as low, typical and high; stratified samples; work in steps that can be shown or dropped.

* Low and high are 5 % and 95 % bounds unless the table they come from says otherwise.
* Nothing here is random: a sample follows from its seed.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

Key = TypeVar("Key")
Result = TypeVar("Result")
# Work in steps: yields (done, total) and returns its result. The caller may stop between two steps.
Steps = Generator[tuple[int, int], None, Result]

# The probability outside a range at either end.
TAIL = 0.05


@dataclass(frozen=True, slots=True)
class Estimate:
    """An uncertain quantity, ``low <= typical <= high``, in a unit that its owner names.

    ``median`` is set if the estimate comes from a sample. It can differ from ``typical``, the result for an ash that
    is typical in every property.

    >>> Estimate(1.5, 5.0, 12.0).scaled(10)
    Estimate(low=15.0, typical=50.0, high=120.0)
    """

    low: float
    typical: float
    high: float
    median: float | None = field(default=None, repr=False, compare=False)

    def __post_init__(self) -> None:
        if not self.low <= self.typical <= self.high:
            raise ValueError(f"an estimate must be ordered, got {self.low}, {self.typical}, {self.high}")

    @classmethod
    def exactly(cls, value: float) -> Estimate:
        """Return an estimate without spread, for a weighed or measured value."""
        return cls(value, value, value)

    def scaled(self, factor: float) -> Estimate:
        """Return the estimate multiplied by a non-negative factor."""
        median = None if self.median is None else self.median * factor
        return Estimate(self.low * factor, self.typical * factor, self.high * factor, median)

    def quantile(self, probability: float) -> float:
        """Return the value that the quantity stays below with a probability from 0 to 1.

        Triangular distribution with its mode at ``typical`` and ``low`` and ``high`` as 5 % and 95 % bounds. The tails
        are lumped at the bounds, so that no sample leaves the published range. Formula: the inverse of the triangular
        distribution function, as in any statistics handbook.

        >>> Estimate(0.0, 1.0, 2.0).quantile(0.5), Estimate(0.0, 1.0, 2.0).quantile(0.05)
        (1.0, 0.0)
        """
        width = self.high - self.low
        if width == 0.0:
            return self.typical
        within = min(max((probability - TAIL) / (1.0 - 2.0 * TAIL), 0.0), 1.0)
        if within * width <= self.typical - self.low:
            return float(self.low + (within * width * (self.typical - self.low)) ** 0.5)
        return float(self.high - ((1.0 - within) * width * (self.high - self.typical)) ** 0.5)

    @property
    def typical_quantile(self) -> float:
        """Return the probability at which `quantile` gives ``typical``.

        >>> known = Estimate(1.5, 5.0, 12.0)
        >>> known.quantile(known.typical_quantile)
        5.0
        """
        width = self.high - self.low
        return TAIL + (1.0 - 2.0 * TAIL) * (self.typical - self.low) / width if width else 0.5


def estimate_of(samples: Sequence[float], typical: float, independent: float | None = None) -> Estimate:
    """Return the range of the middle 90 % of ``samples``, widened if necessary to include ``typical``.

    For weighted samples, ``independent`` is their effective number. Each bound then moves outwards until a further
    draw lies beyond it with 5 % probability: the k-th of n draws has the plotting position k / (n + 1) (Weibull 1939,
    from memory). Stratified samples need no such correction.
    """
    ordered = sorted(samples)
    tail = TAIL if independent is None else max((TAIL * (independent + 1) - 0.5) / independent, 0.0)
    low, high = percentile(ordered, tail), percentile(ordered, 1.0 - tail)
    return Estimate(min(low, typical), typical, max(high, typical), percentile(ordered, 0.5))


def percentile(ordered: Sequence[float], probability: float) -> float:
    """Return the quantile of an ascending sequence at a probability from 0 to 1, interpolated linearly.

    Plotting positions (k - 0.5) / n, which suit stratified samples (Hazen 1914, from memory); beyond the outermost
    positions the outermost value is returned.

    >>> percentile([0.0, 1.0, 2.0], 0.5), percentile([0.0, 1.0, 2.0], 1 / 6), percentile([0.0, 1.0, 2.0], 0.0)
    (1.0, 0.0, 0.0)
    """
    position = min(max(probability * len(ordered) - 0.5, 0.0), len(ordered) - 1.0)
    below = int(position)
    above = min(below + 1, len(ordered) - 1)
    return ordered[below] + (ordered[above] - ordered[below]) * (position - below)


def latin_hypercube(names: Sequence[str], count: int, seed: int) -> list[dict[str, float]]:
    """Return ``count`` samples of the unit cube, a probability for each name: a Latin hypercube from a seed.

    For each name every one of the ``count`` equal strata contains exactly one sample, at its middle.
    Method: McKay, Beckman and Conover, Technometrics 21 (1979) 239-245.
    """
    order = random.Random(seed)
    columns = {}
    for name in names:
        strata = list(range(count))
        order.shuffle(strata)
        columns[name] = [(stratum + 0.5) / count for stratum in strata]
    return [{name: columns[name][index] for name in names} for index in range(count)]


def run_to_end(steps: Steps[Result]) -> Result:
    """Return the result of work in steps, without a pause."""
    while True:
        try:
            next(steps)
        except StopIteration as end:
            result: Result = end.value
            return result


def followed_by(steps: Steps[Result], more: int) -> Steps[Result]:
    """Return the same work with ``more`` added to its total, for work that follows it."""
    return _with_progress(steps, lambda done, total: (done, total + more))


def within_progress(steps: Steps[Result], before: int, own: int, parts: int) -> Steps[Result]:
    """Return the same work as ``own`` of ``parts`` equal parts of a longer one, with ``before`` parts already done.

    >>> def work():
    ...     yield 1, 2
    ...     yield 2, 2
    >>> list(within_progress(work(), 1, 3, 4))
    [(5, 8), (8, 8)]
    """
    return _with_progress(steps, lambda done, total: (before * total + own * done, parts * total))


def _with_progress(steps: Steps[Result], progress: Callable[[int, int], tuple[int, int]]) -> Steps[Result]:
    """Return the same work with (done, total) converted by ``progress``."""
    while True:
        try:
            done, total = next(steps)
        except StopIteration as end:
            result: Result = end.value
            return result
        yield progress(done, total)


def recalled(memory: dict[Key, Result], key: Key, most: int, work: Callable[[], Steps[Result]]) -> Steps[Result]:
    """Return what ``memory`` holds for a key, otherwise the result of ``work``, in steps.

    The memory keeps the ``most`` results used last. Work that is dropped before its end leaves nothing in it.

    >>> memory = {}
    >>> def work():
    ...     yield 1, 1
    ...     return "drawn"
    >>> [len(list(recalled(memory, key, 1, work))) for key in ("a", "a", "b", "a")], memory
    ([1, 0, 1, 1], {'a': 'drawn'})
    """
    result = memory.pop(key, None)
    if result is None:
        result = yield from work()
    memory[key] = result
    while len(memory) > most:
        del memory[next(iter(memory))]
    return result
