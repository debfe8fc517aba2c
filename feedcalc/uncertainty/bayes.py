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
so that a poor straightening costs samples, not truth. The model is made straight by regression on the samples there
are, weighed by how near they come, and what the line misses widens the draws (statistical linear regression, as in
posterior linearisation: Garcia-Fernandez and others 2015). The draws are moved as in an ensemble Kalman update with
perturbed readings (Evensen 2003). The middle is sought by Gauss-Newton steps, each step mending the slopes (Broyden
1965). All cited from memory.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from operator import mul
from statistics import NormalDist

from feedcalc.uncertainty.estimates import Steps, latin_hypercube, run_to_end

Quantiles = Mapping[str, float]
# What each reading would show if the shares were true; figures of interest may follow, the first orders the samples.
Model = Callable[[Quantiles], Sequence[float]]

# Draws before the readings are looked at, draws a round after, and the effective number that is enough to stop at.
PRIOR_SAMPLES = 80
PROPOSAL_SAMPLES = 40
TARGET_EFFECTIVE_SAMPLE_SIZE = 80.0
MAX_ROUNDS = 9
# Work is told of after so many samples, and as part of so many: a few rounds mostly do.
SAMPLES_A_STEP = 10
SAMPLES_EXPECTED = PRIOR_SAMPLES + 5 * PROPOSAL_SAMPLES
# Samples count for a regression by how near they come, evened out until they are worth so many.
REGRESSION_SAMPLES = 60.0
# What regression adds to the squares of every score, so that a slope that nothing tells of stays flat.
_RIDGE = 0.1
# The likeliest shares are sought in at most so many turns, until one gains less than this (in squared widths).
MAX_ITERATIONS = 12
MIN_GAIN = 0.05
MAX_FAILED_STEPS = 4
# The moved draws allow the straightened model this many times the variance of a reading, and beside it at most so much
# for what the line misses, and so reach past the truth.
ALLOWANCE = 1.5
MOST_MISSED = 9.0
# A reading this many widths beyond every plausible sample is doubted; so are readings that together no sample meets.
FURTHEST_WIDTHS = 4.0
MAX_RESIDUAL = 6.0
RESIDUAL_PER_EXTRA_READING = 3.0
_FURTHEST_SCORE = 2.5
_NEAREST_SCORE = 1e-4
_HALVINGS = 15
_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class Reading:
    """One thing read off: ``value`` and ``width`` (one standard deviation), relative to the value or in its unit."""

    name: str
    value: float
    standard_deviation: float
    is_relative: bool = False

    def residual(self, predicted: float) -> float:
        """How many widths the model's reading lies above this one; relative widths count on a logarithmic scale.

        >>> Reading("ph", 11.0, 0.2).residual(11.4) > 1.99
        True
        """
        if not self.is_relative:
            return (predicted - self.value) / self.standard_deviation
        return math.log(max(predicted, 1e-12) / max(self.value, 1e-12)) / self.standard_deviation


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is left once readings are taken in.

    ``middle`` the shares of the sample whose figures lie nearest to their weighted medians, in standard deviations;
    without samples those that, moved least from ``start``, meet the readings. ``samples`` and ``weights`` (adding up
    to 1) the samples that may follow; ``figures`` what the model gave for each. ``plausible`` and
    ``plausible_figures`` the draws from before the readings. ``effective`` (sum of weights)^2 / sum of squares, the
    number of unweighted samples that would tell as much. ``doubted`` the readings that nothing plausible explains, as
    (name, +1 where it is too high, -1 too low, 0 where only the readings together do not fit); where there are any,
    all else is as it was beforehand.
    """

    point_estimate: Quantiles
    samples: tuple[Quantiles, ...]
    weights: tuple[float, ...]
    figures: tuple[Sequence[float], ...]
    prior_samples: tuple[Quantiles, ...]
    prior_figures: tuple[Sequence[float], ...]
    effective: float
    rejected: tuple[tuple[str, int], ...]

    def resampled(self, count: int, order_by: int) -> list[Quantiles]:
        """``count`` samples of equal weight, taken evenly along the figure at place ``order_by`` of the model.

        Systematic resampling (Kitagawa 1996); the order keeps the quantiles of that figure.
        """
        return [self.samples[index] for index in self.resampled_indices(count, order_by)]

    def resampled_indices(self, count: int, order_by: int) -> list[int]:
        """Where the samples that `resampled` takes stand among ``samples`` and ``figures``."""
        ordered = sorted(range(len(self.samples)), key=lambda index: self.figures[index][order_by])
        taken: list[int] = []
        passed = 0.0
        for index in ordered:
            passed += self.weights[index]
            while len(taken) < count and (len(taken) + 0.5) / count <= passed:
                taken.append(index)
        return taken + [ordered[-1]] * (count - len(taken))


@dataclass(frozen=True, slots=True)
class Prior:
    """What may be before anything is read: draws of the unknowns ``names``, and what the model gives for each.

    It hangs on no reading's value, so that one drawing does for all that is read of the same thing. ``start`` gives the
    usual share of these unknowns and of all others.
    """

    names: tuple[str, ...]
    start: Quantiles
    seed: int
    scores: tuple[Mapping[str, float], ...]
    samples: tuple[Quantiles, ...]
    figures: tuple[Sequence[float], ...]


def prior_in_steps(names: Sequence[str], model: Model, start: Quantiles, seed: int) -> Steps[Prior]:
    """Draw from what is plausible, in slices. Raises ValueError without names."""
    if not names:
        raise ValueError("there is nothing to learn")
    scores, samples, figures = [], [], []
    for drawn in latin_hypercube(names, PRIOR_SAMPLES, seed):
        shares = {**start, **drawn}
        scores.append({name: _score(shares[name]) for name in names})
        samples.append(shares)
        figures.append(model(shares))
        if len(samples) % SAMPLES_A_STEP == 0:
            yield len(samples), SAMPLES_EXPECTED
    return Prior(tuple(names), start, seed, tuple(scores), tuple(samples), tuple(figures))


def posterior_of(
    names: Sequence[str], readings: Sequence[Reading], model: Model, start: Quantiles, seed: int, sampled: bool = True
) -> Posterior:
    """Take ``readings`` in on the unknowns ``names``; ``start`` gives their usual shares, and those of all the others.

    Without ``sampled`` only ``middle`` is sought, for an answer while someone types. Raises ValueError without names
    or readings.

    >>> kilograms = lambda shares: [NormalDist(5.0, 1.0).inv_cdf(shares["sack"])]
    >>> left = posterior_of(["sack"], [Reading("scale", 6.0, 1.0)], kilograms, {"sack": 0.5}, seed=1, sampled=False)
    >>> round(kilograms(left.point_estimate)[0], 1)  # halfway between what was expected and what was read
    5.5
    """
    plausible = run_to_end(prior_in_steps(names, model, start, seed))
    return run_to_end(posterior_in_steps(plausible, readings, model, sampled))


def posterior_in_steps(
    plausible: Prior, readings: Sequence[Reading], model: Model, sampled: bool = True
) -> Steps[Posterior]:
    """`posterior_of` in slices: after every few samples a step says how many are done and how many are expected."""
    if not readings:
        raise ValueError("there is nothing to learn from")
    return _Update(plausible, readings, model).outcome(sampled)


def variance_shares(
    samples: Sequence[Quantiles], figures: Sequence[float], effective: float | None = None
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
class _LinearModel:
    """The model made straight at ``at`` (scores): misfits ``there`` and their slopes by name, for each reading.

    Misfits are in widths, so a reading's own variance is 1; ``missed`` is the variance of what the line misses.
    """

    names: Sequence[str]
    at: Mapping[str, float]
    there: Sequence[float]
    slopes: Sequence[Mapping[str, float]]
    missed: Sequence[float]

    def misfits(self, scores: Mapping[str, float]) -> list[float]:
        """The straightened misfits at other scores."""
        return [
            there + sum(slope[name] * (scores[name] - self.at[name]) for name in self.names)
            for there, slope in zip(self.there, self.slopes, strict=True)
        ]

    def through(self, scores: Mapping[str, float], misfits: Sequence[float]) -> _LinearModel:
        """The slopes mended, by as little as will do, to give these misfits at these scores too (Broyden 1965)."""
        step = {name: scores[name] - self.at[name] for name in self.names}
        squares = _sum_of_squares(list(step.values()))
        slopes = []
        for slope, told, found in zip(self.slopes, self.misfits(scores), misfits, strict=True):
            slopes.append({name: slope[name] + (found - told) / squares * step[name] for name in self.names})
        return replace(self, slopes=slopes)

    def triangle(self, variances: Sequence[float]) -> list[list[float]]:
        """Cholesky factor of the misfits' covariance over what is plausible, each reading's own variance included."""
        return _cholesky_factor(
            [
                [
                    sum(one[name] * other[name] for name in self.names) + (variances[row] if row == column else 0.0)
                    for column, other in enumerate(self.slopes)
                ]
                for row, one in enumerate(self.slopes)
            ]
        )

    def moved(
        self, scores: Mapping[str, float], errors: Sequence[float], lower: Sequence[Sequence[float]]
    ) -> dict[str, float]:
        """Plausible scores moved to where the straightened misfits, with their ``errors``, vanish."""
        wanted = [-misfit - error for misfit, error in zip(self.misfits(scores), errors, strict=True)]
        pull = _solve_cholesky(lower, wanted)
        return {
            name: scores[name] + sum(slope[name] * pulled for slope, pulled in zip(self.slopes, pull, strict=True))
            for name in self.names
        }


@dataclass(frozen=True, slots=True)
class _Proposal:
    """A straightened model as a density to draw from, told by its ratio to what was plausible beforehand.

    ``variances`` are those it allows the readings.
    """

    straight: _LinearModel
    variances: Sequence[float]
    lower: Sequence[Sequence[float]]
    log_constant: float

    @classmethod
    def around(cls, straight: _LinearModel) -> _Proposal:
        variances = [ALLOWANCE + min(missed, MOST_MISSED) for missed in straight.missed]
        lower = straight.triangle(variances)
        at_middle = straight.misfits(dict.fromkeys(straight.names, 0.0))
        log_evidence = -0.5 * _sum_of_squares(_forward_substitution(lower, at_middle))
        log_evidence -= sum(math.log(row[place]) for place, row in enumerate(lower))
        return cls(straight, variances, lower, -0.5 * sum(map(math.log, variances)) - log_evidence)

    def ratio(self, scores: Mapping[str, float]) -> float:
        """Density of this proposal over that of what was plausible beforehand."""
        misfits = self.straight.misfits(scores)
        squares = sum(misfit**2 / variance for misfit, variance in zip(misfits, self.variances, strict=True))
        return math.exp(min(self.log_constant - 0.5 * squares, 600.0))


class _Update:
    """One update under way; a sample is known by its scores (standard normal), shares and figures."""

    def __init__(self, plausible: Prior, readings: Sequence[Reading], model: Model) -> None:
        self.plausible, self.readings, self.model = plausible, readings, model
        self.names, self.start, self.seed = plausible.names, plausible.start, plausible.seed
        self.scores = list(plausible.scores)
        self.samples = list(plausible.samples)
        self.misfits = [self._misfits(shown) for shown in plausible.figures]
        self.figures = list(plausible.figures)
        # Of each sample by each proposal, and how many were drawn from it.
        self.ratios: list[list[float]] = [[1.0] for _ in self.samples]
        self.drawn = [len(self.samples)]
        self.proposals: list[_Proposal] = []

    def outcome(self, sampled: bool) -> Steps[Posterior]:
        if doubted := self._apart():
            return self._unchanged(doubted)
        if not sampled:
            likeliest, least = self._likeliest()
            doubted = self._together(least)
            return self._unchanged(doubted) if doubted else self._left(self._shares(likeliest), ())
        weights = self._weights()
        for _ in range(MAX_ROUNDS):
            yield from self._draw_moved(self._straightened(weights))
            weights = self._weights()
            if _effective_sample_size(weights) >= TARGET_EFFECTIVE_SAMPLE_SIZE:
                break
        doubted = self._together(min(self.misfits, key=_sum_of_squares))
        return self._unchanged(doubted) if doubted else self._left(self.samples[self._middle(weights)], weights)

    def _unchanged(self, doubted: tuple[tuple[str, int], ...]) -> Posterior:
        samples, figures = self.plausible.samples, self.plausible.figures
        even = (1.0 / len(samples),) * len(samples)
        return Posterior(self.start, samples, even, figures, samples, figures, len(samples), doubted)

    def _left(self, middle: Quantiles, weights: Sequence[float]) -> Posterior:
        if not weights:
            return Posterior(middle, (), (), (), (), (), 0.0, ())
        samples, figures = self.plausible.samples, self.plausible.figures
        effective = _effective_sample_size(weights)
        return Posterior(
            middle, tuple(self.samples), tuple(weights), tuple(self.figures), samples, figures, effective, ()
        )

    # -- the likeliest shares -----------------------------------------------------------------------------------

    def _likeliest(self) -> tuple[Mapping[str, float], Sequence[float]]:
        """Scores that meet the readings, moved least from the start, and their misfits."""
        origin = {name: _score(self.start[name]) for name in self.names}
        there = self._misfits(self.model(self._shares(origin)))
        straight = replace(self._straightened(self._weights()), at=origin, there=there)
        cost = _sum_of_squares(there)
        share, misses = 1.0, 0
        for _ in range(MAX_ITERATIONS):
            scores = self._towards(straight, origin, share)
            if max(abs(scores[name] - straight.at[name]) for name in self.names) < _NEAREST_SCORE:
                break
            misfits = self._misfits(self.model(self._shares(scores)))
            straight = straight.through(scores, misfits)
            gain = cost - _sum_of_squares(misfits) - sum((scores[name] - origin[name]) ** 2 for name in self.names)
            if gain > 0.0:
                straight, cost, share = replace(straight, at=scores, there=misfits), cost - gain, 1.0
            else:
                share, misses = 0.5 * share, misses + 1
            if 0.0 <= gain < MIN_GAIN or misses == MAX_FAILED_STEPS:
                break
        return straight.at, straight.there

    def _towards(self, straight: _LinearModel, origin: Mapping[str, float], share: float) -> dict[str, float]:
        """Scores a share of the way to where the straightened model would have them."""
        ones = [1.0] * len(self.readings)
        target = straight.moved(origin, [0.0] * len(self.readings), straight.triangle(ones))
        return {
            name: min(max(now + share * (target[name] - now), -_FURTHEST_SCORE), _FURTHEST_SCORE)
            for name, now in straight.at.items()
        }

    def _straightened(self, weights: Sequence[float]) -> _LinearModel:
        """Lines through the misfits of all samples, by least squares, the nearer counting for more."""
        weights = _tempered_weights(weights, REGRESSION_SAMPLES)
        worth = _effective_sample_size(weights)
        means = [_product(weights, [scores[name] for scores in self.scores]) for name in self.names]
        columns = [
            [scores[name] - mean for scores in self.scores] for name, mean in zip(self.names, means, strict=True)
        ]
        weighed = [list(map(mul, weights, column)) for column in columns]
        squares = [
            [_product(one, other) + (_RIDGE / worth if row == place else 0.0) for place, other in enumerate(columns)]
            for row, one in enumerate(weighed)
        ]
        lower = _cholesky_factor(squares)
        there, slopes, missed = [], [], []
        for misfits in zip(*self.misfits, strict=True):
            mean = _product(weights, misfits)
            off = [misfit - mean for misfit in misfits]
            slope = _solve_cholesky(lower, [_product(column, off) for column in weighed])
            for steepness, column in zip(slope, columns, strict=True):
                off = [left - steepness * score for left, score in zip(off, column, strict=True)]
            there.append(mean)
            slopes.append(dict(zip(self.names, slope, strict=True)))
            missed.append(_product(weights, [left**2 for left in off]))
        return _LinearModel(self.names, dict(zip(self.names, means, strict=True)), there, slopes, missed)

    # -- samples and weights ------------------------------------------------------------------------------------

    def _draw_moved(self, straight: _LinearModel) -> Steps[None]:
        proposal = _Proposal.around(straight)
        errors = [f"error of reading {place}" for place in range(len(self.readings))]
        draws = latin_hypercube([*self.names, *errors], PROPOSAL_SAMPLES, self.seed + 1 + len(self.proposals))
        within = random.Random(self.seed + len(self.proposals))
        for ratios, scores in zip(self.ratios, self.scores, strict=True):
            ratios.append(proposal.ratio(scores))
        self.proposals.append(proposal)
        self.drawn.append(PROPOSAL_SAMPLES)
        for shares in draws:
            # Anywhere in its stratum, not at its middle: a draw must be able to reach the tails.
            scores = {
                name: _score(share + (within.random() - 0.5) / PROPOSAL_SAMPLES) for name, share in shares.items()
            }
            misses = [
                scores[name] * math.sqrt(variance) for name, variance in zip(errors, proposal.variances, strict=True)
            ]
            self._add(straight.moved(scores, misses, proposal.lower))
            # More rounds than foreseen leave the count at what was.
            if len(self.samples) % SAMPLES_A_STEP == 0:
                yield min(len(self.samples), SAMPLES_EXPECTED), SAMPLES_EXPECTED

    def _add(self, scores: Mapping[str, float]) -> None:
        shares = self._shares(scores)
        shown = self.model(shares)
        self.scores.append(scores)
        self.samples.append(shares)
        self.figures.append(shown)
        self.misfits.append(self._misfits(shown))
        self.ratios.append([1.0, *(proposal.ratio(scores) for proposal in self.proposals)])

    def _weights(self) -> list[float]:
        """Likelihood over the density of the mixture that the samples come from, adding up to 1."""
        squares = list(map(_sum_of_squares, self.misfits))
        least = min(squares)
        weights = [
            math.exp(-0.5 * (square - least)) / _product(self.drawn, ratios)
            for square, ratios in zip(squares, self.ratios, strict=True)
        ]
        total = sum(weights)
        return [weight / total for weight in weights]

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
        for reading, misfits in zip(self.readings, zip(*self.misfits, strict=True), strict=True):
            if min(misfits) > FURTHEST_WIDTHS:
                doubted.append((reading.name, -1))
            elif max(misfits) < -FURTHEST_WIDTHS:
                doubted.append((reading.name, 1))
        return tuple(doubted)

    def _together(self, least: Sequence[float]) -> tuple[tuple[str, int], ...]:
        """All readings, where the sample that meets them best, with these misfits, is still far off."""
        if _sum_of_squares(least) <= MAX_RESIDUAL + RESIDUAL_PER_EXTRA_READING * (len(self.readings) - 1):
            return ()
        if len(self.readings) == 1:
            return ((self.readings[0].name, 1 if least[0] < 0 else -1),)
        return tuple((reading.name, 0) for reading in self.readings)

    # -- small change ---------------------------------------------------------------------------------------------

    def _shares(self, scores: Mapping[str, float]) -> dict[str, float]:
        return {**self.start, **{name: _NORMAL.cdf(scores[name]) for name in self.names}}

    def _misfits(self, shown: Sequence[float]) -> list[float]:
        return [reading.residual(value) for reading, value in zip(self.readings, shown, strict=False)]


def _score(share: float) -> float:
    """The standard normal score that stands at a share."""
    return _NORMAL.inv_cdf(min(max(share, 1e-6), 1.0 - 1e-6))


def _sum_of_squares(values: Sequence[float]) -> float:
    return sum(value**2 for value in values)


def _product(left: Sequence[float], right: Sequence[float]) -> float:
    return float(sum(map(mul, left, right)))


def _tempered_weights(weights: Sequence[float], worth: float) -> list[float]:
    """Weights raised to the highest power up to 1 that leaves them worth so many, adding up to 1 again."""
    logs = [math.log(max(weight, 1e-300)) for weight in weights]
    highest = max(logs)

    def raised(power: float) -> list[float]:
        found = [math.exp(power * (log - highest)) for log in logs]
        total = sum(found)
        return [weight / total for weight in found]

    low, high = 0.0, 1.0
    if _effective_sample_size(raised(high)) >= worth:
        return raised(high)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _effective_sample_size(raised(middle)) >= worth else (low, middle)
    return raised(low)


def _cholesky_factor(matrix: Sequence[Sequence[float]]) -> list[list[float]]:
    """Cholesky factor of a positive definite matrix."""
    lower = [[0.0] * len(matrix) for _ in matrix]
    for row, given in enumerate(matrix):
        for column in range(row + 1):
            value: float = given[column] - _product(lower[row][:column], lower[column][:column])
            lower[row][column] = math.sqrt(value) if row == column else value / lower[column][column]
    return lower


def _median(values: Sequence[float], weights: Sequence[float]) -> float:
    passed = 0.0
    for place in sorted(range(len(values)), key=values.__getitem__):
        passed += weights[place]
        if passed >= 0.5:
            return values[place]
    raise ValueError("weights add up to 1")


def _effective_sample_size(weights: Sequence[float]) -> float:
    """Effective sample size (Kish 1965) of weights that add up to 1."""
    return 1.0 / sum(weight**2 for weight in weights)


def _forward_substitution(lower: Sequence[Sequence[float]], right: Sequence[float]) -> list[float]:
    found: list[float] = []
    for row, value in enumerate(right):
        found.append((value - sum(lower[row][k] * found[k] for k in range(row))) / lower[row][row])
    return found


def _solve_cholesky(lower: Sequence[Sequence[float]], right: Sequence[float]) -> list[float]:
    """x of (L L^T) x = right."""
    half = _forward_substitution(lower, right)
    size = len(half)
    found = [0.0] * size
    for row in reversed(range(size)):
        later = sum(lower[k][row] * found[k] for k in range(row + 1, size))
        found[row] = (half[row] - later) / lower[row][row]
    return found
