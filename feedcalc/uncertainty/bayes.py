"""Bayesian updating by importance sampling: priors on the unknowns, a forward model, instrument readings with known
errors, weighted posterior samples.

* Each unknown is parameterised by its prior quantile in [0, 1] (`Estimate.quantile`), so that the prior is uniform on
  the unit cube. Internally quantiles are standard normal scores. The forward model turns quantiles into readings.
* If no prior sample comes close to the readings, the readings are rejected and the prior is returned unchanged.
* Samples are stratified from a seed, so that the same readings always give the same posterior.

Method: importance sampling from a mixture of the prior and of Gaussian proposals; the weights follow the balance
heuristic (Veach and Guibas 1995), so that a poor proposal costs samples but adds no bias. Proposals come from a linear
model fitted to the weighted samples, with its error variance (statistical linear regression, as in posterior
linearisation: Garcia-Fernandez and others 2015), by an ensemble Kalman update with perturbed readings (Evensen 2003).
Without samples the posterior mode is found by Gauss-Newton steps with Broyden updates (Broyden 1965). All from memory.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from operator import mul
from statistics import NormalDist

from feedcalc.frozen import frozen
from feedcalc.uncertainty.estimates import Steps, latin_hypercube, run_to_end

Quantiles = Mapping[str, float]
Scores = Mapping[str, float]
# Predicts each reading from quantiles. Further figures may follow; they only help to choose the point estimate.
Model = Callable[[Quantiles], Sequence[float]]

PRIOR_SAMPLES = 80
PROPOSAL_SAMPLES = 40
TARGET_EFFECTIVE_SAMPLE_SIZE = 80.0
MAX_ROUNDS = 9
# Progress is reported after so many samples, and relative to so many: a few rounds are usually enough.
SAMPLES_A_STEP = 10
SAMPLES_EXPECTED = PRIOR_SAMPLES + 5 * PROPOSAL_SAMPLES
# The weights of the regression are tempered to this effective sample size.
REGRESSION_SAMPLES = 60.0
# Ridge penalty on the slopes: a slope that the samples say nothing about stays flat.
_RIDGE = 0.1
# The search for the posterior mode stops after so many iterations, or when one gains less than `MIN_GAIN` (in squared
# standard deviations).
MAX_ITERATIONS = 12
MIN_GAIN = 0.05
MAX_FAILED_STEPS = 4
# A proposal inflates the variance of a reading by this factor and adds at most so much for the error of the linear
# model, so that it covers the tails of the posterior.
VARIANCE_INFLATION = 1.5
MAX_MODEL_ERROR_VARIANCE = 9.0
# A reading so many standard deviations outside all prior samples is rejected; so are all readings if even the best
# sample has a larger sum of squared residuals than this.
MAX_DISTANCE = 4.0
MAX_RESIDUAL = 6.0
RESIDUAL_PER_EXTRA_READING = 3.0
_MAX_SCORE = 2.5
_SCORE_TOLERANCE = 1e-4
_BISECTIONS = 15
_NORMAL = NormalDist()


@frozen
class Reading:
    """One instrument reading with the standard deviation of its error, in the unit of the value or relative to it.

    The error covers the instrument, the observer and the forward model.
    """

    name: str
    value: float
    standard_deviation: float
    is_relative: bool = False

    def residual(self, predicted: float) -> float:
        """Return (predicted - value) in standard deviations; relative errors are taken on a logarithmic scale.

        >>> Reading("ph", 11.0, 0.2).residual(11.4) > 1.99
        True
        """
        if not self.is_relative:
            return (predicted - self.value) / self.standard_deviation
        return math.log(max(predicted, 1e-12) / max(self.value, 1e-12)) / self.standard_deviation


@frozen
class Posterior:
    """The result of an update: weighted ``samples`` with the model's ``figures`` for each, and a point estimate.

    ``point_estimate`` is the sample whose figures lie nearest to their weighted medians; without samples it is the
    posterior mode. ``weights`` add up to 1, and ``effective`` is their effective sample size. ``rejected`` lists the
    readings that no prior sample explains as (name, direction): +1 too high, -1 too low, 0 if the readings only
    contradict one another. If there are any, everything else is the prior.
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
        """Return ``count`` samples of equal weight, evenly along the figure with index ``order_by``.

        Systematic resampling (Kitagawa 1996); the order preserves the quantiles of that figure.
        """
        return [self.samples[index] for index in self.resampled_indices(count, order_by)]

    def resampled_indices(self, count: int, order_by: int) -> list[int]:
        """Return the indices in ``samples`` of what `resampled` returns."""
        ordered = sorted(range(len(self.samples)), key=lambda index: self.figures[index][order_by])
        chosen: list[int] = []
        cumulative = 0.0
        for index in ordered:
            cumulative += self.weights[index]
            while len(chosen) < count and (len(chosen) + 0.5) / count <= cumulative:
                chosen.append(index)
        return chosen + [ordered[-1]] * (count - len(chosen))


@frozen
class Prior:
    """Samples of the unknowns ``names`` before any reading, with the model's figures for each.

    The samples depend on no reading, so that one prior serves every reading of the same kind. ``start`` holds the
    typical quantile of these unknowns and of all others.
    """

    names: tuple[str, ...]
    start: Quantiles
    seed: int
    scores: tuple[Scores, ...]
    samples: tuple[Quantiles, ...]
    figures: tuple[Sequence[float], ...]


def prior_in_steps(names: Sequence[str], model: Model, start: Quantiles, seed: int) -> Steps[Prior]:
    """Return samples of the prior, in steps. Raises ``ValueError`` without names."""
    if not names:
        raise ValueError("there is nothing to learn")
    scores, samples, figures = [], [], []
    for drawn in latin_hypercube(names, PRIOR_SAMPLES, seed):
        quantiles = {**start, **drawn}
        scores.append({name: _score(quantiles[name]) for name in names})
        samples.append(quantiles)
        figures.append(model(quantiles))
        if len(samples) % SAMPLES_A_STEP == 0:
            yield len(samples), SAMPLES_EXPECTED
    return Prior(tuple(names), start, seed, tuple(scores), tuple(samples), tuple(figures))


def posterior_of(
    names: Sequence[str], readings: Sequence[Reading], model: Model, start: Quantiles, seed: int, sampled: bool = True
) -> Posterior:
    """Return the posterior of the unknowns ``names``; ``start`` holds the typical quantiles of these and all others.

    Without ``sampled`` only the point estimate is computed, for an answer while someone types. Raises ``ValueError``
    without names or readings.

    >>> kilograms = lambda quantiles: [NormalDist(5.0, 1.0).inv_cdf(quantiles["sack"])]
    >>> found = posterior_of(["sack"], [Reading("scale", 6.0, 1.0)], kilograms, {"sack": 0.5}, seed=1, sampled=False)
    >>> round(kilograms(found.point_estimate)[0], 1)  # halfway between prior mean and reading
    5.5
    """
    prior = run_to_end(prior_in_steps(names, model, start, seed))
    return run_to_end(posterior_in_steps(prior, readings, model, sampled))


def posterior_in_steps(
    prior: Prior, readings: Sequence[Reading], model: Model, sampled: bool = True
) -> Steps[Posterior]:
    """Return the same as `posterior_of`, in steps: (samples drawn, samples expected)."""
    if not readings:
        raise ValueError("there is nothing to learn from")
    return _Update(prior, readings, model).outcome(sampled)


def variance_shares(
    samples: Sequence[Quantiles], figures: Sequence[float], effective: float | None = None
) -> dict[str, float]:
    """Return for each unknown the share of a figure's variance that it explains: its squared Spearman correlation.

    The correlation expected by chance, 1 / (samples - 1), is subtracted; ``effective`` replaces the number of samples
    if they are weighted. Shares of independent unknowns add up to about 1 if the figure is monotonic in each; shares
    of unknowns that readings tie together add up to more. Source: Spearman 1904.
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
    """Return ranks from 0; ties share their mean rank."""
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
    mean_left, mean_right = sum(left) / len(left), sum(right) / len(right)
    both = sum((a - mean_left) * (b - mean_right) for a, b in zip(left, right, strict=True))
    spread = math.sqrt(sum((a - mean_left) ** 2 for a in left) * sum((b - mean_right) ** 2 for b in right))
    return both / spread if spread > 0 else 0.0


@frozen
class _LinearModel:
    """A linear model of the residuals: their values at the scores ``center``, and their slopes, for each reading.

    Residuals are in standard deviations, so that the variance of a reading's own error is 1. ``error_variances`` are
    those of the residuals about the linear model.
    """

    names: Sequence[str]
    center: Scores
    at_center: Sequence[float]
    slopes: Sequence[Scores]
    error_variances: Sequence[float]

    def residuals(self, scores: Scores) -> list[float]:
        """Return the residuals that the linear model predicts at some scores."""
        return [
            value + sum(slope[name] * (scores[name] - self.center[name]) for name in self.names)
            for value, slope in zip(self.at_center, self.slopes, strict=True)
        ]

    def broyden_update(self, scores: Scores, residuals: Sequence[float]) -> _LinearModel:
        """Return the model with the smallest change of slopes that gives these residuals at these scores."""
        step = {name: scores[name] - self.center[name] for name in self.names}
        squares = _sum_of_squares(list(step.values()))
        slopes = []
        for slope, predicted, found in zip(self.slopes, self.residuals(scores), residuals, strict=True):
            slopes.append({name: slope[name] + (found - predicted) / squares * step[name] for name in self.names})
        return replace(self, slopes=slopes)

    def covariance_factor(self, variances: Sequence[float]) -> list[list[float]]:
        """Return the Cholesky factor of the residuals' prior covariance plus the ``variances`` of the readings."""
        return _cholesky_factor(
            [
                [
                    sum(one[name] * other[name] for name in self.names) + (variances[row] if row == column else 0.0)
                    for column, other in enumerate(self.slopes)
                ]
                for row, one in enumerate(self.slopes)
            ]
        )

    def kalman_update(
        self, scores: Scores, errors: Sequence[float], factor: Sequence[Sequence[float]]
    ) -> dict[str, float]:
        """Return prior scores moved by the Kalman gain towards readings perturbed by ``errors``."""
        innovation = [-residual - error for residual, error in zip(self.residuals(scores), errors, strict=True)]
        gain = _solve_cholesky(factor, innovation)
        return {
            name: scores[name] + sum(slope[name] * part for slope, part in zip(self.slopes, gain, strict=True))
            for name in self.names
        }


@frozen
class _Proposal:
    """The Gaussian posterior of a linear model as a proposal density; ``variances`` are those of the readings."""

    linear: _LinearModel
    variances: Sequence[float]
    factor: Sequence[Sequence[float]]
    log_constant: float

    @classmethod
    def of(cls, linear: _LinearModel) -> _Proposal:
        variances = [VARIANCE_INFLATION + min(error, MAX_MODEL_ERROR_VARIANCE) for error in linear.error_variances]
        factor = linear.covariance_factor(variances)
        at_origin = linear.residuals(dict.fromkeys(linear.names, 0.0))
        log_evidence = -0.5 * _sum_of_squares(_forward_substitution(factor, at_origin))
        log_evidence -= sum(math.log(row[place]) for place, row in enumerate(factor))
        return cls(linear, variances, factor, -0.5 * sum(map(math.log, variances)) - log_evidence)

    def density_ratio(self, scores: Scores) -> float:
        """Return the density of the proposal over that of the prior: likelihood over evidence."""
        residuals = self.linear.residuals(scores)
        squares = sum(residual**2 / variance for residual, variance in zip(residuals, self.variances, strict=True))
        return math.exp(min(self.log_constant - 0.5 * squares, 600.0))


class _Update:
    """One update in progress. Each sample has scores, quantiles, figures, residuals and density ratios."""

    def __init__(self, prior: Prior, readings: Sequence[Reading], model: Model) -> None:
        self.prior, self.readings, self.model = prior, readings, model
        self.names, self.start, self.seed = prior.names, prior.start, prior.seed
        self.scores = list(prior.scores)
        self.samples = list(prior.samples)
        self.residuals = [self._residuals(predicted) for predicted in prior.figures]
        self.figures = list(prior.figures)
        # Density ratio of each sample under the prior (1) and each proposal, and the samples drawn from each of them.
        self.ratios: list[list[float]] = [[1.0] for _ in self.samples]
        self.counts = [len(self.samples)]
        self.proposals: list[_Proposal] = []

    def outcome(self, sampled: bool) -> Steps[Posterior]:
        if rejected := self._rejected_singly():
            return self._unchanged(rejected)
        if not sampled:
            mode, residuals = self._posterior_mode()
            rejected = self._rejected_jointly(residuals)
            return self._unchanged(rejected) if rejected else self._posterior(self._quantiles(mode), ())
        weights = self._weights()
        for _ in range(MAX_ROUNDS):
            yield from self._draw_proposals(self._linear_fit(weights))
            weights = self._weights()
            if _effective_sample_size(weights) >= TARGET_EFFECTIVE_SAMPLE_SIZE:
                break
        rejected = self._rejected_jointly(min(self.residuals, key=_sum_of_squares))
        if rejected:
            return self._unchanged(rejected)
        return self._posterior(self.samples[self._central_index(weights)], weights)

    def _unchanged(self, rejected: tuple[tuple[str, int], ...]) -> Posterior:
        samples, figures = self.prior.samples, self.prior.figures
        return Posterior(
            point_estimate=self.start,
            samples=samples,
            weights=(1.0 / len(samples),) * len(samples),
            figures=figures,
            prior_samples=samples,
            prior_figures=figures,
            effective=len(samples),
            rejected=rejected,
        )

    def _posterior(self, point_estimate: Quantiles, weights: Sequence[float]) -> Posterior:
        return Posterior(
            point_estimate=point_estimate,
            samples=tuple(self.samples) if weights else (),
            weights=tuple(weights),
            figures=tuple(self.figures) if weights else (),
            prior_samples=self.prior.samples if weights else (),
            prior_figures=self.prior.figures if weights else (),
            effective=_effective_sample_size(weights) if weights else 0.0,
            rejected=(),
        )

    # -- posterior mode ---------------------------------------------------------------------------------------------

    def _posterior_mode(self) -> tuple[Scores, Sequence[float]]:
        """Return the scores of the posterior mode and the residuals there."""
        origin = {name: _score(self.start[name]) for name in self.names}
        at_origin = self._residuals(self.model(self._quantiles(origin)))
        linear = replace(self._linear_fit(self._weights()), center=origin, at_center=at_origin)
        cost = _sum_of_squares(at_origin)
        step, failures = 1.0, 0
        for _ in range(MAX_ITERATIONS):
            scores = self._gauss_newton_step(linear, origin, step)
            if max(abs(scores[name] - linear.center[name]) for name in self.names) < _SCORE_TOLERANCE:
                break
            residuals = self._residuals(self.model(self._quantiles(scores)))
            linear = linear.broyden_update(scores, residuals)
            gain = cost - _sum_of_squares(residuals) - sum((scores[name] - origin[name]) ** 2 for name in self.names)
            if gain > 0.0:
                linear, cost, step = replace(linear, center=scores, at_center=residuals), cost - gain, 1.0
            else:
                step, failures = 0.5 * step, failures + 1
            if 0.0 <= gain < MIN_GAIN or failures == MAX_FAILED_STEPS:
                break
        return linear.center, linear.at_center

    def _gauss_newton_step(self, linear: _LinearModel, origin: Scores, step: float) -> dict[str, float]:
        """Return scores the fraction ``step`` of the way to the mode of the linear model."""
        factor = linear.covariance_factor([1.0] * len(self.readings))
        target = linear.kalman_update(origin, [0.0] * len(self.readings), factor)
        return {
            name: min(max(now + step * (target[name] - now), -_MAX_SCORE), _MAX_SCORE)
            for name, now in linear.center.items()
        }

    def _linear_fit(self, weights: Sequence[float]) -> _LinearModel:
        """Return the linear model fitted to all samples by weighted ridge regression."""
        weights = _tempered_weights(weights, REGRESSION_SAMPLES)
        ridge = _RIDGE / _effective_sample_size(weights)
        means = [_product(weights, [scores[name] for scores in self.scores]) for name in self.names]
        columns = [
            [scores[name] - mean for scores in self.scores] for name, mean in zip(self.names, means, strict=True)
        ]
        weighted = [list(map(mul, weights, column)) for column in columns]
        squares = [
            [_product(one, other) + (ridge if row == place else 0.0) for place, other in enumerate(columns)]
            for row, one in enumerate(weighted)
        ]
        factor = _cholesky_factor(squares)
        at_center, slopes, error_variances = [], [], []
        for residuals in zip(*self.residuals, strict=True):
            mean = _product(weights, residuals)
            errors = [residual - mean for residual in residuals]
            slope = _solve_cholesky(factor, [_product(column, errors) for column in weighted])
            for steepness, column in zip(slope, columns, strict=True):
                errors = [error - steepness * score for error, score in zip(errors, column, strict=True)]
            at_center.append(mean)
            slopes.append(dict(zip(self.names, slope, strict=True)))
            error_variances.append(_product(weights, [error**2 for error in errors]))
        return _LinearModel(
            names=self.names,
            center=dict(zip(self.names, means, strict=True)),
            at_center=at_center,
            slopes=slopes,
            error_variances=error_variances,
        )

    # -- samples and weights ------------------------------------------------------------------------------------

    def _draw_proposals(self, linear: _LinearModel) -> Steps[None]:
        proposal = _Proposal.of(linear)
        errors = [f"error of reading {place}" for place in range(len(self.readings))]
        draws = latin_hypercube([*self.names, *errors], PROPOSAL_SAMPLES, self.seed + 1 + len(self.proposals))
        within = random.Random(self.seed + len(self.proposals))
        for ratios, scores in zip(self.ratios, self.scores, strict=True):
            ratios.append(proposal.density_ratio(scores))
        self.proposals.append(proposal)
        self.counts.append(PROPOSAL_SAMPLES)
        for drawn in draws:
            # Anywhere in its stratum rather than at its middle, so that draws can reach the tails.
            scores = {
                name: _score(quantile + (within.random() - 0.5) / PROPOSAL_SAMPLES) for name, quantile in drawn.items()
            }
            perturbations = [
                scores[name] * math.sqrt(variance) for name, variance in zip(errors, proposal.variances, strict=True)
            ]
            self._add(linear.kalman_update(scores, perturbations, proposal.factor))
            if len(self.samples) % SAMPLES_A_STEP == 0:
                yield min(len(self.samples), SAMPLES_EXPECTED), SAMPLES_EXPECTED

    def _add(self, scores: Scores) -> None:
        quantiles = self._quantiles(scores)
        predicted = self.model(quantiles)
        self.scores.append(scores)
        self.samples.append(quantiles)
        self.figures.append(predicted)
        self.residuals.append(self._residuals(predicted))
        self.ratios.append([1.0, *(proposal.density_ratio(scores) for proposal in self.proposals)])

    def _weights(self) -> list[float]:
        """Return the likelihood over the mixture density of each sample, normalised to a sum of 1."""
        squares = list(map(_sum_of_squares, self.residuals))
        least = min(squares)
        weights = [
            math.exp(-0.5 * (square - least)) / _product(self.counts, ratios)
            for square, ratios in zip(squares, self.ratios, strict=True)
        ]
        total = sum(weights)
        return [weight / total for weight in weights]

    def _central_index(self, weights: Sequence[float]) -> int:
        """Return the index of the sample nearest to the weighted medians of all figures, in standard deviations."""
        columns = list(zip(*self.figures, strict=True))
        medians = [_median(column, weights) for column in columns]
        variances = [
            sum(weight * (value - median) ** 2 for weight, value in zip(weights, column, strict=True))
            for column, median in zip(columns, medians, strict=True)
        ]
        return min(
            range(len(self.samples)),
            key=lambda index: sum(
                (value - median) ** 2 / variance
                for value, median, variance in zip(self.figures[index], medians, variances, strict=True)
                if variance > 0.0
            ),
        )

    # -- rejected readings --------------------------------------------------------------------------------------------

    def _rejected_singly(self) -> tuple[tuple[str, int], ...]:
        """Return the readings that lie outside all prior samples."""
        rejected = []
        for reading, residuals in zip(self.readings, zip(*self.residuals, strict=True), strict=True):
            if min(residuals) > MAX_DISTANCE:
                rejected.append((reading.name, -1))
            elif max(residuals) < -MAX_DISTANCE:
                rejected.append((reading.name, 1))
        return tuple(rejected)

    def _rejected_jointly(self, least: Sequence[float]) -> tuple[tuple[str, int], ...]:
        """Return all readings if ``least``, the residuals of the best sample, are too large."""
        if _sum_of_squares(least) <= MAX_RESIDUAL + RESIDUAL_PER_EXTRA_READING * (len(self.readings) - 1):
            return ()
        if len(self.readings) == 1:
            return ((self.readings[0].name, 1 if least[0] < 0 else -1),)
        return tuple((reading.name, 0) for reading in self.readings)

    # -- conversions --------------------------------------------------------------------------------------------------

    def _quantiles(self, scores: Scores) -> dict[str, float]:
        return {**self.start, **{name: _NORMAL.cdf(scores[name]) for name in self.names}}

    def _residuals(self, predicted: Sequence[float]) -> list[float]:
        return [reading.residual(value) for reading, value in zip(self.readings, predicted, strict=False)]


def _score(quantile: float) -> float:
    """Return the standard normal score of a quantile."""
    return _NORMAL.inv_cdf(min(max(quantile, 1e-6), 1.0 - 1e-6))


def _sum_of_squares(values: Sequence[float]) -> float:
    return sum(value**2 for value in values)


def _product(left: Sequence[float], right: Sequence[float]) -> float:
    return float(sum(map(mul, left, right)))


def _tempered_weights(weights: Sequence[float], size: float) -> list[float]:
    """Return weights raised to the highest power up to 1 that leaves an effective sample size of ``size``."""
    logs = [math.log(max(weight, 1e-300)) for weight in weights]
    highest = max(logs)

    def raised(power: float) -> list[float]:
        found = [math.exp(power * (log - highest)) for log in logs]
        total = sum(found)
        return [weight / total for weight in found]

    low, high = 0.0, 1.0
    if _effective_sample_size(raised(high)) >= size:
        return raised(high)
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _effective_sample_size(raised(middle)) >= size else (low, middle)
    return raised(low)


def _cholesky_factor(matrix: Sequence[Sequence[float]]) -> list[list[float]]:
    """Return the lower Cholesky factor of a positive definite matrix."""
    lower = [[0.0] * len(matrix) for _ in matrix]
    for row, given in enumerate(matrix):
        for column in range(row + 1):
            value: float = given[column] - _product(lower[row][:column], lower[column][:column])
            lower[row][column] = math.sqrt(value) if row == column else value / lower[column][column]
    return lower


def _median(values: Sequence[float], weights: Sequence[float]) -> float:
    cumulative = 0.0
    for index in sorted(range(len(values)), key=values.__getitem__):
        cumulative += weights[index]
        if cumulative >= 0.5:
            return values[index]
    raise ValueError("weights add up to 1")


def _effective_sample_size(weights: Sequence[float]) -> float:
    """Return the effective sample size (Kish 1965) of weights that add up to 1."""
    return 1.0 / sum(weight**2 for weight in weights)


def _forward_substitution(lower: Sequence[Sequence[float]], right: Sequence[float]) -> list[float]:
    """Return x of L x = right."""
    found: list[float] = []
    for row, value in enumerate(right):
        found.append((value - sum(lower[row][k] * found[k] for k in range(row))) / lower[row][row])
    return found


def _solve_cholesky(lower: Sequence[Sequence[float]], right: Sequence[float]) -> list[float]:
    """Return x of (L L^T) x = right."""
    half = _forward_substitution(lower, right)
    size = len(half)
    found = [0.0] * size
    for row in reversed(range(size)):
        later = sum(lower[k][row] * found[k] for k in range(row + 1, size))
        found[row] = (half[row] - later) / lower[row][row]
    return found
