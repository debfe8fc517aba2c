"""Uncertain quantities as low, typical and high; stratified samples; work in steps that can be shown or dropped.

* Low and high are 5 % and 95 % bounds unless the table they come from says otherwise.
* Nothing here is random: a sample follows from its seed.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import field
from functools import lru_cache
from math import log
from statistics import NormalDist
from typing import TypeVar

from feedcalc.frozen import frozen

Key = TypeVar("Key")
Result = TypeVar("Result")
# Work in steps: yields (done, total) and returns its result. The caller may stop between two steps.
Steps = Generator[tuple[int, int], None, Result]

# The probability outside a range at either end.
TAIL = 0.05
NORMAL = NormalDist()
_SCORE_OF_END = NORMAL.inv_cdf(1.0 - TAIL)


@frozen
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

    def share_below(self, value: float) -> float:
        """The share (0 to 1) of the plausible values that lie at or below ``value``: the inverse of `quantile`.

        >>> Estimate(0.0, 1.0, 2.0).share_below(1.0), Estimate(0.0, 1.0, 2.0).share_below(-0.1)
        (0.5, 0.0)
        """
        if value < self.low:
            return 0.0
        if value >= self.high:
            return 1.0
        width = self.high - self.low
        if value <= self.typical:
            within = (value - self.low) ** 2 / (width * (self.typical - self.low)) if self.typical > self.low else 0.0
        else:
            within = 1.0 - (self.high - value) ** 2 / (width * (self.high - self.typical))
        return TAIL + (1.0 - 2.0 * TAIL) * within

    @property
    def typical_quantile(self) -> float:
        """Return the probability at which `quantile` gives ``typical``.

        >>> known = Estimate(1.5, 5.0, 12.0)
        >>> known.quantile(known.typical_quantile)
        5.0
        """
        width = self.high - self.low
        return TAIL + (1.0 - 2.0 * TAIL) * (self.typical - self.low) / width if width else 0.5


@frozen
class SkewedEstimate(Estimate):
    """An estimate whose ``typical`` value is the median: for what is known by factors, such as 0.03 to 0.12 to 0.6.

    A two-piece log-normal distribution: on either side of the median the logarithm follows a normal distribution that
    reaches ``low`` at 5 % and ``high`` at 95 %. Where ``low`` is 0 the lower side is linear in the normal score.
    Beyond the two ends an end counts, as for any estimate.
    """

    def quantile(self, share: float) -> float:
        """The value below which ``share`` (0 to 1) of the plausible values lie.

        >>> known = SkewedEstimate(0.03, 0.12, 0.6)
        >>> known.quantile(0.5), round(known.quantile(0.95), 6), round(known.quantile(0.75), 3)
        (0.12, 0.6, 0.232)
        """
        score = NORMAL.inv_cdf(min(max(share, TAIL), 1.0 - TAIL)) / _SCORE_OF_END
        if score >= 0.0:
            return float(self.typical * (self.high / self.typical) ** score)
        if self.low <= 0.0:
            return self.typical + (self.typical - self.low) * score
        return float(self.typical * (self.typical / self.low) ** score)

    def share_below(self, value: float) -> float:
        """The share (0 to 1) of the plausible values that lie at or below ``value``."""
        if value < self.low:
            return 0.0
        if value >= self.high:
            return 1.0
        if value >= self.typical:
            score = log(value / self.typical) / log(self.high / self.typical)
        elif self.low <= 0.0:
            score = (value - self.typical) / (self.typical - self.low)
        else:
            score = log(value / self.typical) / log(self.typical / self.low)
        return NORMAL.cdf(score * _SCORE_OF_END)

    @property
    def typical_quantile(self) -> float:
        """One half: the typical value is the median."""
        return 0.5


@frozen
class Mixture(Estimate):
    """A value that follows one of several estimates, and nobody knows which: each has its weight.

    ``low``, ``typical`` and ``high`` are the 5, 50 and 95 % points of the whole. `quantile` inverts the weighted sum of
    the distribution functions, which is tabulated once (``points``, evenly spaced in probability).
    """

    points: tuple[float, ...] = field(default=(), kw_only=True)

    @classmethod
    def of(cls, weighted: Sequence[tuple[float, Estimate]], count: int = 201) -> Mixture:
        """The mixture of some estimates, each with a weight; the weights are brought to a sum of one.

        >>> either = Mixture.of([(1.0, Estimate(0.0, 1.0, 2.0)), (1.0, Estimate(8.0, 9.0, 10.0))])
        >>> round(either.quantile(0.25), 2), round(either.quantile(0.75), 2)
        (1.0, 9.0)
        """
        whole = sum(weight for weight, _ in weighted)
        values = sorted({known.quantile(i / 400) for _, known in weighted for i in range(401)})
        below = [sum(weight * known.share_below(value) for weight, known in weighted) / whole for value in values]
        points = []
        place = 0
        for i in range(count):
            share = i / (count - 1)
            while place < len(values) - 1 and below[place] < share:
                place += 1
            before = max(place - 1, 0)
            step = below[place] - below[before]
            part = min(max((share - below[before]) / step, 0.0), 1.0) if step > 0 else 0.0
            points.append(values[before] + (values[place] - values[before]) * part)
        low, typical, high = (_between(points, share) for share in (TAIL, 0.5, 1.0 - TAIL))
        return cls(low, typical, high, points=tuple(points))

    def quantile(self, share: float) -> float:
        """The value below which ``share`` (0 to 1) of the mixture lies."""
        return _between(self.points, share)

    @property
    def typical_quantile(self) -> float:
        """One half: the typical value is the median."""
        return 0.5


def _between(points: Sequence[float], share: float) -> float:
    position = min(max(share, 0.0), 1.0) * (len(points) - 1)
    below = min(int(position), len(points) - 2)
    return points[below] + (points[below + 1] - points[below]) * (position - below)


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


def latin_hypercube(names: Sequence[str], count: int, seed: int) -> Sequence[Mapping[str, float]]:
    """Return ``count`` samples of the unit cube, a probability for each name: a Latin hypercube from a seed.

    For each name every one of the ``count`` equal strata contains exactly one sample, at its middle.
    Method: McKay, Beckman and Conover, Technometrics 21 (1979) 239-245.
    """
    return _latin_hypercube(tuple(names), count, seed)


@lru_cache(maxsize=32)
def _latin_hypercube(names: tuple[str, ...], count: int, seed: int) -> tuple[Mapping[str, float], ...]:
    order = random.Random(seed)
    columns = {}
    for name in names:
        strata = list(range(count))
        order.shuffle(strata)
        columns[name] = [(stratum + 0.5) / count for stratum in strata]
    return tuple({name: columns[name][index] for name in names} for index in range(count))


@lru_cache(maxsize=32)
def spread_out(names: tuple[str, ...], count: int, seed: int, first: int, varied: frozenset[str]) -> tuple[int, ...]:
    """Return the places of ``first`` samples of a Latin hypercube that cover its whole width, for an early look at it.

    They are a part of `latin_hypercube`, so that what follows from them is refined and not replaced by the rest, as in
    a nested design (Qian, Biometrika 96 (2009) 957-970, from memory). One after the other the sample is taken that lies
    in the fewest strata, ``first`` to each of the names ``varied``, that hold one already.

    >>> rows = latin_hypercube(("ash",), 40, 1)
    >>> sorted(int(rows[place]["ash"] * 4) for place in spread_out(("ash",), 40, 1, 4, frozenset({"ash"})))
    [0, 1, 2, 3]
    """
    strata = [{(name, int(row[name] * first)) for name in varied} for row in _latin_hypercube(names, count, seed)]
    taken: set[tuple[str, int]] = set()
    places: list[int] = []
    for _ in range(min(first, count)):
        left = (place for place in range(count) if place not in places)
        places.append(min(left, key=lambda place: len(strata[place] & taken)))
        taken |= strata[places[-1]]
    return tuple(places)


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
