"""What readings say about unknowns that are known only roughly: Bayes' rule on weighted samples.

Rules of this room:

* An unknown is told by its share, 0 to 1, of what is plausible (`Estimate.quantile`), so that beforehand every share
  is as likely as any other. Here nothing is known of ash: a model turns shares into what each reading would show.
* A reading has a width, one standard deviation of everything that keeps it from the model: the instrument, the eye,
  and what the model leaves out.
* Where no plausible shares come near the readings they are doubted and change nothing.
* No chance: samples are stratified from a seed.

Method: importance sampling from a mixture of what was plausible beforehand and of draws moved towards the readings by a
straightened model; every sample is weighed against the whole mixture (the balance heuristic of Veach and Guibas 1995),
so that a poor straightening costs samples, not truth. The draws are moved as in an ensemble Kalman update with
perturbed readings (Evensen 2003); the middle is sought by iterated Gauss-Newton steps. All cited from memory.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist

from feedcalc.estimates import Steps, finished, stratified_shares

Shares = Mapping[str, float]
# What each reading would show if the shares were true; figures of interest may follow, the first orders the samples.
Model = Callable[[Shares], Sequence[float]]

# Draws before and after the readings are looked at, and the effective number that is enough to stop at.
PLAUSIBLE_DRAWS = 100
MOVED_DRAWS = 160
ENOUGH_EFFECTIVE = 55.0
# Work is told of after so many samples, and as part of so many.
SAMPLES_A_STEP = 10
SAMPLES_EXPECTED = PLAUSIBLE_DRAWS + MOVED_DRAWS
MOST_ROUNDS = 4
# The likeliest shares are sought in at most so many turns, while a turn still gains this much (in squared widths).
MOST_TURNS = 3
GAIN_WORTH_A_TURN = 0.3
# The moved draws allow the straightened model this many times the variance of a reading, and so reach past the truth.
ALLOWANCE = 3.0
# A reading this many widths beyond every plausible sample is doubted; so are readings that together no sample meets.
FURTHEST_WIDTHS = 4.0
WORST_MISFIT = 6.0
MISFIT_FOR_EACH_MORE = 3.0
# Step by which the slope of the model is taken, in standard deviations of an unknown.
_STEP = 0.8
_FURTHEST_SCORE = 2.5
_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class Reading:
    """One thing read off: ``value`` and ``width`` (one standard deviation), relative to the value or in its unit."""

    name: str
    value: float
    width: float
    is_relative: bool = False

    def misfit(self, shown: float) -> float:
        """How many widths the model's reading lies above this one; relative widths count on a logarithmic scale.

        >>> Reading("ph", 11.0, 0.2).misfit(11.4) > 1.99
        True
        """
        if not self.is_relative:
            return (shown - self.value) / self.width
        return math.log(max(shown, 1e-12) / max(self.value, 1e-12)) / self.width


@dataclass(frozen=True, slots=True)
class Updated:
    """What is left once readings are taken in.

    ``middle`` the shares of the sample whose figures lie nearest to their weighted medians, in standard deviations;
    without samples those that, moved least from ``start``, meet the readings. ``samples`` and ``weights`` (adding up
    to 1) the samples that may follow; ``figures`` what the model gave for each. ``plausible`` and
    ``plausible_figures`` the draws from before the readings. ``effective`` (sum of weights)^2 / sum of squares, the
    number of unweighted samples that would tell as much. ``doubted`` the readings that nothing plausible explains, as
    (name, +1 where it is too high, -1 too low, 0 where only the readings together do not fit); where there are any,
    all else is as it was beforehand.
    """

    middle: Shares
    samples: tuple[Shares, ...]
    weights: tuple[float, ...]
    figures: tuple[Sequence[float], ...]
    plausible: tuple[Shares, ...]
    plausible_figures: tuple[Sequence[float], ...]
    effective: float
    doubted: tuple[tuple[str, int], ...]

    def resampled(self, count: int, order_by: int) -> list[Shares]:
        """``count`` samples of equal weight, taken evenly along the figure at place ``order_by`` of the model.

        Systematic resampling (Kitagawa 1996); the order keeps the quantiles of that figure.
        """
        return [self.samples[index] for index in self.places_taken(count, order_by)]

    def places_taken(self, count: int, order_by: int) -> list[int]:
        """Where the samples that `resampled` takes stand among ``samples`` and ``figures``."""
        ordered = sorted(range(len(self.samples)), key=lambda index: self.figures[index][order_by])
        taken: list[int] = []
        passed = 0.0
        for index in ordered:
            passed += self.weights[index]
            while len(taken) < count and (len(taken) + 0.5) / count <= passed:
                taken.append(index)
        return taken + [ordered[-1]] * (count - len(taken))


def updated(
    names: Sequence[str], readings: Sequence[Reading], model: Model, start: Shares, seed: int, sampled: bool = True
) -> Updated:
    """Take ``readings`` in on the unknowns ``names``; ``start`` gives their usual shares, and those of all the others.

    Without ``sampled`` only ``middle`` is sought, for an answer while someone types. Raises ValueError without names
    or readings.

    >>> kilograms = lambda shares: [NormalDist(5.0, 1.0).inv_cdf(shares["sack"])]
    >>> left = updated(["sack"], [Reading("scale", 6.0, 1.0)], kilograms, {"sack": 0.5}, seed=1, sampled=False)
    >>> round(kilograms(left.middle)[0], 1)  # halfway between what was expected and what was read
    5.5
    """
    return finished(updated_in_steps(names, readings, model, start, seed, sampled))


def updated_in_steps(
    names: Sequence[str], readings: Sequence[Reading], model: Model, start: Shares, seed: int, sampled: bool = True
) -> Steps[Updated]:
    """`updated` in slices: a step, with the samples worked out so far and those expected, after every few samples."""
    if not names or not readings:
        raise ValueError("there is nothing to learn, or nothing to learn it from")
    return _Update(names, readings, model, start, seed).outcome(sampled)


def shares_of_spread(
    samples: Sequence[Shares], figures: Sequence[float], effective: float | None = None
) -> dict[str, float]:
    """Squared rank correlation (Spearman 1904) of each unknown with a figure: the share of its spread it explains.

    Unknowns drawn independently explain about 1 together where the figure rises or falls steadily with each; what
    chance alone would give, 1 / (number of samples - 1), is taken off; ``effective`` tells how many they are worth
    where some stand for others. What readings tie together each explains by itself, so that they come to more than 1.
    """
    by_figure = _ranks(figures)
    if not samples or len(set(figures)) < 2:
        return dict.fromkeys(samples[0] if samples else {}, 0.0)
    chance = min(1.0 / max((effective or len(samples)) - 1, 1.0), 0.5)
    found = {}
    for name in samples[0]:
        correlation = _correlation(_ranks([sample[name] for sample in samples]), by_figure)
        found[name] = max((correlation**2 - chance) / (1.0 - chance), 0.0)
    return found


def _ranks(values: Sequence[float]) -> list[float]:
    """Ranks from 0, ties sharing their mean."""
    order = sorted(range(len(values)), key=values.__getitem__)
    ranks = [0.0] * len(values)
    first = 0
    while first < len(order):
        last = first
        while last + 1 < len(order) and values[order[last + 1]] == values[order[first]]:
            last += 1
        for place in range(first, last + 1):
            ranks[order[place]] = (first + last) / 2
        first = last + 1
    return ranks


def _correlation(left: Sequence[float], right: Sequence[float]) -> float:
    middle_left, middle_right = sum(left) / len(left), sum(right) / len(right)
    both = sum((a - middle_left) * (b - middle_right) for a, b in zip(left, right, strict=True))
    spread = math.sqrt(sum((a - middle_left) ** 2 for a in left) * sum((b - middle_right) ** 2 for b in right))
    return both / spread if spread > 0 else 0.0


@dataclass(frozen=True, slots=True)
class _Straightened:
    """The model made straight at ``at`` (scores): misfits ``there`` and their slopes by name, for each reading.

    Misfits are in widths, so a reading's own variance is 1.
    """

    names: Sequence[str]
    at: Mapping[str, float]
    there: Sequence[float]
    slopes: Sequence[Mapping[str, float]]

    def misfits(self, scores: Mapping[str, float]) -> list[float]:
        """The straightened misfits at other scores."""
        return [
            there + sum(slope[name] * (scores[name] - self.at[name]) for name in self.names)
            for there, slope in zip(self.there, self.slopes, strict=True)
        ]

    def triangle(self, variance: float) -> list[list[float]]:
        """Cholesky factor of the misfits' covariance over what is plausible, a reading's own variance included."""
        size = len(self.slopes)
        lower = [[0.0] * size for _ in range(size)]
        for row in range(size):
            for column in range(row + 1):
                value = sum(self.slopes[row][name] * self.slopes[column][name] for name in self.names)
                value += variance if row == column else 0.0
                value -= sum(lower[row][k] * lower[column][k] for k in range(column))
                lower[row][column] = math.sqrt(value) if row == column else value / lower[column][column]
        return lower

    def moved(
        self, scores: Mapping[str, float], errors: Sequence[float], lower: Sequence[Sequence[float]]
    ) -> dict[str, float]:
        """Plausible scores moved to where the straightened misfits, with their ``errors``, vanish."""
        wanted = [-misfit - error for misfit, error in zip(self.misfits(scores), errors, strict=True)]
        pull = _solved(lower, wanted)
        return {
            name: scores[name] + sum(slope[name] * pulled for slope, pulled in zip(self.slopes, pull, strict=True))
            for name in self.names
        }


@dataclass(frozen=True, slots=True)
class _Proposal:
    """A straightened model as a density to draw from, told by its ratio to what was plausible beforehand."""

    straight: _Straightened
    lower: Sequence[Sequence[float]]
    log_constant: float

    @classmethod
    def around(cls, straight: _Straightened) -> _Proposal:
        lower = straight.triangle(ALLOWANCE)
        at_middle = straight.misfits(dict.fromkeys(straight.names, 0.0))
        half_solved = _forward(lower, at_middle)
        size = len(lower)
        log_evidence = -0.5 * sum(value**2 for value in half_solved) - sum(math.log(lower[k][k]) for k in range(size))
        return cls(straight, lower, -0.5 * size * math.log(ALLOWANCE) - log_evidence)

    def ratio(self, scores: Mapping[str, float]) -> float:
        """Density of this proposal over that of what was plausible beforehand."""
        squares = sum(misfit**2 for misfit in self.straight.misfits(scores))
        return math.exp(min(self.log_constant - 0.5 * squares / ALLOWANCE, 600.0))


class _Update:
    """One update under way; a sample is known by its scores (standard normal), shares and figures."""

    def __init__(
        self, names: Sequence[str], readings: Sequence[Reading], model: Model, start: Shares, seed: int
    ) -> None:
        self.names, self.readings, self.model, self.seed = names, readings, model, seed
        self.start = dict(start)
        self.scores: list[Mapping[str, float]] = []
        self.samples: list[Shares] = []
        self.figures: list[Sequence[float]] = []
        self.drawn: list[int] = []
        self.proposals: list[_Proposal] = []

    def outcome(self, sampled: bool) -> Steps[Updated]:
        if not sampled:
            likeliest, least = self._likeliest()
            doubted = self._together(least)
            shares = self.start if doubted else self._shares(likeliest)
            return Updated(shares, (), (), (), (), (), 0.0, doubted)
        yield from self._draw_plausible()
        plausible, plausible_figures = tuple(self.samples), tuple(self.figures)
        doubted = self._apart()
        nearest = min(range(PLAUSIBLE_DRAWS), key=lambda place: self._squares(self.figures[place]))
        straight = self._straightened(self.scores[nearest])
        weights: list[float] = []
        for _ in range(MOST_ROUNDS if not doubted else 0):
            yield from self._draw_moved(straight)
            weights = self._weights()
            if _effective(weights) >= ENOUGH_EFFECTIVE:
                break
            straight = self._straightened(self._mean_scores(weights))
        if not doubted:
            doubted = self._together(min((self._misfits(shown) for shown in self.figures), key=_sum_of_squares))
        if doubted:
            even = (1.0 / len(plausible),) * len(plausible)
            return Updated(
                self.start, plausible, even, plausible_figures, plausible, plausible_figures, len(plausible), doubted
            )
        return Updated(
            self.samples[self._middle(weights)],
            tuple(self.samples),
            tuple(weights),
            tuple(self.figures),
            plausible,
            plausible_figures,
            _effective(weights),
            (),
        )

    # -- the likeliest shares -----------------------------------------------------------------------------------

    def _likeliest(self) -> tuple[Mapping[str, float], Sequence[float]]:
        """Scores that meet the readings, moved least from the start, and their misfits."""
        origin = {name: _score(self.start[name]) for name in self.names}
        straight = self._straightened(origin)
        cost = self._cost(straight, origin)
        for _ in range(MOST_TURNS):
            target = straight.moved(origin, [0.0] * len(self.readings), straight.triangle(1.0))
            nearer = self._step(origin, straight, target, cost)
            if nearer is None:
                break
            straight, before = self._straightened(nearer), cost
            cost = self._cost(straight, origin)
            if before - cost < GAIN_WORTH_A_TURN:
                break
        return straight.at, straight.there

    def _cost(self, straight: _Straightened, origin: Mapping[str, float]) -> float:
        return _sum_of_squares(straight.there) + sum((straight.at[name] - origin[name]) ** 2 for name in self.names)

    def _step(
        self, origin: Mapping[str, float], straight: _Straightened, target: Mapping[str, float], cost: float
    ) -> dict[str, float] | None:
        """Scores on the way to ``target`` that cost less than ``cost``; None where even a short step does not."""
        for share in (1.0, 0.5, 0.25, 0.125):
            scores = {
                name: min(
                    max(straight.at[name] + share * (target[name] - straight.at[name]), -_FURTHEST_SCORE),
                    _FURTHEST_SCORE,
                )
                for name in self.names
            }
            squares = self._squares(self.model(self._shares(scores)))
            if squares + sum((scores[name] - origin[name]) ** 2 for name in self.names) < cost:
                return scores
        return None

    def _straightened(self, scores: Mapping[str, float]) -> _Straightened:
        there = self._misfits(self.model(self._shares(scores)))
        slopes: list[dict[str, float]] = [{} for _ in self.readings]
        for name in self.names:
            # To both sides: what stops at a limit, such as lime that no longer dissolves, is flat to one of them.
            above, below = (
                self._misfits(self.model(self._shares({**scores, name: scores[name] + step})))
                for step in (_STEP, -_STEP)
            )
            for slope, high, low in zip(slopes, above, below, strict=True):
                slope[name] = (high - low) / (2 * _STEP)
        return _Straightened(self.names, scores, there, slopes)

    # -- samples and weights ------------------------------------------------------------------------------------

    def _draw_plausible(self) -> Steps[None]:
        for shares in stratified_shares(self.names, PLAUSIBLE_DRAWS, self.seed):
            self._add({name: _score(shares[name]) for name in self.names})
            yield from self._step_done()
        self.drawn.append(PLAUSIBLE_DRAWS)

    def _draw_moved(self, straight: _Straightened) -> Steps[None]:
        proposal = _Proposal.around(straight)
        errors = [f"error of reading {place}" for place in range(len(self.readings))]
        draws = stratified_shares([*self.names, *errors], MOVED_DRAWS, self.seed + 1 + len(self.proposals))
        within = random.Random(self.seed + len(self.proposals))
        for shares in draws:
            # Anywhere in its stratum, not at its middle: a draw must be able to reach the tails.
            scores = {name: _score(share + (within.random() - 0.5) / MOVED_DRAWS) for name, share in shares.items()}
            misses = [scores[name] * math.sqrt(ALLOWANCE) for name in errors]
            self._add(straight.moved(scores, misses, proposal.lower))
            yield from self._step_done()
        self.proposals.append(proposal)
        self.drawn.append(MOVED_DRAWS)

    def _step_done(self) -> Steps[None]:
        """A step after every few samples; more rounds than one are not foreseen, so the count stops at what was."""
        if len(self.samples) % SAMPLES_A_STEP == 0:
            yield min(len(self.samples), SAMPLES_EXPECTED), SAMPLES_EXPECTED

    def _add(self, scores: Mapping[str, float]) -> None:
        shares = self._shares(scores)
        self.scores.append(scores)
        self.samples.append(shares)
        self.figures.append(self.model(shares))

    def _weights(self) -> list[float]:
        """Likelihood over the density of the mixture that the samples come from, adding up to 1."""
        squares = [self._squares(shown) for shown in self.figures]
        least = min(squares)
        weights = []
        for scores, square in zip(self.scores, squares, strict=True):
            ratios = [1.0, *(proposal.ratio(scores) for proposal in self.proposals)]
            mixture = sum(count * ratio for count, ratio in zip(self.drawn, ratios, strict=True))
            weights.append(math.exp(-0.5 * (square - least)) / mixture)
        total = sum(weights)
        return [weight / total for weight in weights]

    def _mean_scores(self, weights: Sequence[float]) -> dict[str, float]:
        return {
            name: sum(weight * scores[name] for weight, scores in zip(weights, self.scores, strict=True))
            for name in self.names
        }

    def _middle(self, weights: Sequence[float]) -> int:
        """Place of the sample nearest to the weighted median of every figure, in that figure's standard deviations."""
        columns = list(zip(*self.figures, strict=True))
        medians = [_median(column, weights) for column in columns]
        spreads = [
            sum(weight * (value - middle) ** 2 for weight, value in zip(weights, column, strict=True))
            for column, middle in zip(columns, medians, strict=True)
        ]
        return min(
            range(len(self.samples)),
            key=lambda place: sum(
                (value - middle) ** 2 / spread
                for value, middle, spread in zip(self.figures[place], medians, spreads, strict=True)
                if spread > 0.0
            ),
        )

    # -- doubts ---------------------------------------------------------------------------------------------------

    def _apart(self) -> tuple[tuple[str, int], ...]:
        """Readings that lie beyond every plausible sample, each by itself."""
        doubted = []
        for place, reading in enumerate(self.readings):
            misfits = [reading.misfit(shown[place]) for shown in self.figures]
            if min(misfits) > FURTHEST_WIDTHS:
                doubted.append((reading.name, -1))
            elif max(misfits) < -FURTHEST_WIDTHS:
                doubted.append((reading.name, 1))
        return tuple(doubted)

    def _together(self, least: Sequence[float]) -> tuple[tuple[str, int], ...]:
        """All readings, where the sample that meets them best, with these misfits, is still far off."""
        if _sum_of_squares(least) <= WORST_MISFIT + MISFIT_FOR_EACH_MORE * (len(self.readings) - 1):
            return ()
        if len(self.readings) == 1:
            return ((self.readings[0].name, 1 if least[0] < 0 else -1),)
        return tuple((reading.name, 0) for reading in self.readings)

    # -- small change ---------------------------------------------------------------------------------------------

    def _shares(self, scores: Mapping[str, float]) -> dict[str, float]:
        return {**self.start, **{name: _NORMAL.cdf(scores[name]) for name in self.names}}

    def _misfits(self, shown: Sequence[float]) -> list[float]:
        return [reading.misfit(value) for reading, value in zip(self.readings, shown, strict=False)]

    def _squares(self, shown: Sequence[float]) -> float:
        return _sum_of_squares(self._misfits(shown))


def _score(share: float) -> float:
    """The standard normal score that stands at a share."""
    return _NORMAL.inv_cdf(min(max(share, 1e-6), 1.0 - 1e-6))


def _sum_of_squares(values: Sequence[float]) -> float:
    return sum(value**2 for value in values)


def _median(values: Sequence[float], weights: Sequence[float]) -> float:
    passed = 0.0
    for place in sorted(range(len(values)), key=values.__getitem__):
        passed += weights[place]
        if passed >= 0.5:
            return values[place]
    raise ValueError("weights add up to 1")


def _effective(weights: Sequence[float]) -> float:
    """Effective sample size (Kish 1965) of weights that add up to 1."""
    return 1.0 / sum(weight**2 for weight in weights)


def _forward(lower: Sequence[Sequence[float]], right: Sequence[float]) -> list[float]:
    found: list[float] = []
    for row, value in enumerate(right):
        found.append((value - sum(lower[row][k] * found[k] for k in range(row))) / lower[row][row])
    return found


def _solved(lower: Sequence[Sequence[float]], right: Sequence[float]) -> list[float]:
    """x of (L L^T) x = right."""
    half = _forward(lower, right)
    size = len(half)
    found = [0.0] * size
    for row in reversed(range(size)):
        later = sum(lower[k][row] * found[k] for k in range(row + 1, size))
        found[row] = (half[row] - later) / lower[row][row]
    return found
