"""Bayesian updating against posteriors in closed form and by brute-force quadrature."""

from __future__ import annotations

import math
import random
from statistics import NormalDist

import pytest

from feedcalc.uncertainty.bayes import Posterior, Reading, posterior_of, variance_shares
from feedcalc.uncertainty.estimates import Estimate, latin_hypercube

EXPECTED = NormalDist(5.0, 2.0)


def sack(quantiles):
    """A forward model of one unknown with a normal prior: the reading is the unknown itself."""
    return [EXPECTED.inv_cdf(quantiles["sack"])]


def mean_and_deviation(posterior: Posterior, of) -> tuple[float, float]:
    values = [of(sample) for sample in posterior.samples]
    mean = sum(weight * value for weight, value in zip(posterior.weights, values, strict=True))
    spread = sum(weight * (value - mean) ** 2 for weight, value in zip(posterior.weights, values, strict=True))
    return mean, math.sqrt(spread)


@pytest.mark.parametrize(("read", "width"), [(5.5, 4.0), (8.0, 1.0), (2.0, 0.2), (7.0, 0.02)])
def test_a_normal_unknown_and_a_normal_reading_give_the_textbook_posterior(read, width):
    """Gelman and others, Bayesian Data Analysis, 3rd edition, equation 2.10 (from memory): precisions add."""
    precision = 1 / EXPECTED.stdev**2 + 1 / width**2
    mean = (EXPECTED.mean / EXPECTED.stdev**2 + read / width**2) / precision
    deviation = math.sqrt(1 / precision)
    posterior = posterior_of(["sack"], [Reading("scale", read, width)], sack, {"sack": 0.5}, seed=1)
    found_mean, found_deviation = mean_and_deviation(posterior, lambda sample: sack(sample)[0])
    assert found_mean == pytest.approx(mean, abs=0.15 * deviation)
    assert found_deviation == pytest.approx(deviation, rel=0.12)
    assert sack(posterior.point_estimate)[0] == pytest.approx(mean, abs=0.15 * deviation)


def test_without_samples_the_point_estimate_of_a_linear_model_is_the_posterior_mean():
    posterior = posterior_of(["sack"], [Reading("scale", 8.0, 1.0)], sack, {"sack": 0.5}, seed=1, sampled=False)
    assert sack(posterior.point_estimate)[0] == pytest.approx((5 / 4 + 8) / (1 / 4 + 1), abs=1e-6)


@pytest.mark.parametrize("known", [Estimate(1.5, 5.0, 12.0), Estimate(0.03, 0.12, 0.6)])
@pytest.mark.parametrize("at", [0.1, 0.5, 0.9])
def test_the_posterior_of_one_unknown_agrees_with_brute_force_quadrature(known, at):
    """Bayes' rule summed over 20 000 equal strata of the unknown, with a nonlinear model."""

    def curved(value):
        return 3.0 * value**0.7 + 0.1 * value**2

    reading = Reading("meter", curved(known.quantile(at)), 0.15, is_relative=True)
    strata = [known.quantile((place + 0.5) / 20_000) for place in range(20_000)]
    weights = [math.exp(-0.5 * reading.residual(curved(value)) ** 2) for value in strata]
    mean = sum(weight * value for weight, value in zip(weights, strata, strict=True)) / sum(weights)
    spread = sum(weight * (value - mean) ** 2 for weight, value in zip(weights, strata, strict=True)) / sum(weights)
    posterior = posterior_of(
        ["x"], [reading], lambda quantiles: [curved(known.quantile(quantiles["x"]))], {"x": 0.5}, seed=3
    )
    found_mean, found_deviation = mean_and_deviation(posterior, lambda sample: known.quantile(sample["x"]))
    assert found_mean == pytest.approx(mean, abs=0.15 * math.sqrt(spread))
    assert found_deviation == pytest.approx(math.sqrt(spread), rel=0.15)


def test_a_reading_of_a_sum_leaves_the_variance_of_the_difference_unchanged():
    names = ["a", "b"]

    def total(quantiles):
        return [sum(NormalDist().inv_cdf(quantiles[name]) for name in names)]

    means, variances, sums = [], [], []
    for seed in range(1, 7):
        posterior = posterior_of(names, [Reading("sum", 1.0, 0.05)], total, dict.fromkeys(names, 0.5), seed)
        scores = [{name: NormalDist().inv_cdf(sample[name]) for name in names} for sample in posterior.samples]
        means.append(sum(w * (s["a"] - s["b"]) for w, s in zip(posterior.weights, scores, strict=True)))
        squares = [(s["a"] - s["b"] - means[-1]) ** 2 for s in scores]
        variances.append(sum(w * square for w, square in zip(posterior.weights, squares, strict=True)))
        sums.append(sum(w * total(s)[0] for w, s in zip(posterior.weights, posterior.samples, strict=True)))
    assert sums == pytest.approx([1.0] * 6, abs=0.02)
    # A few dozen samples estimate a variance to about a fifth; six runs together do better.
    assert sum(means) / 6 == pytest.approx(0.0, abs=0.15)
    assert sum(variances) / 6 == pytest.approx(2.0, rel=0.15)


def test_two_readings_reduce_the_variance_more_than_one():
    one = posterior_of(["sack"], [Reading("scale", 6.0, 1.0)], sack, {"sack": 0.5}, seed=1)
    both = [Reading("scale", 6.0, 1.0), Reading("other scale", 6.4, 1.0)]
    two = posterior_of(["sack"], both, lambda quantiles: sack(quantiles) * 2, {"sack": 0.5}, seed=1)
    of = lambda sample: sack(sample)[0]  # noqa: E731
    assert mean_and_deviation(two, of)[1] < 0.85 * mean_and_deviation(one, of)[1]


@pytest.mark.parametrize(("read", "direction"), [(40.0, 1), (-40.0, -1)])
def test_without_samples_the_same_readings_are_rejected(read, direction):
    posterior = posterior_of(["sack"], [Reading("scale", read, 0.5)], sack, {"sack": 0.5}, seed=1, sampled=False)
    assert posterior.rejected == (("scale", direction),)
    assert posterior.point_estimate == {"sack": 0.5}


@pytest.mark.parametrize(("read", "direction"), [(40.0, 1), (-40.0, -1)])
def test_a_reading_far_outside_the_prior_is_rejected_and_the_prior_returned(read, direction):
    posterior = posterior_of(["sack"], [Reading("scale", read, 0.5)], sack, {"sack": 0.5}, seed=1)
    assert posterior.rejected == (("scale", direction),)
    assert posterior.point_estimate == {"sack": 0.5}
    mean, deviation = mean_and_deviation(posterior, lambda sample: sack(sample)[0])
    assert mean == pytest.approx(EXPECTED.mean, abs=0.05)
    assert deviation == pytest.approx(EXPECTED.stdev, rel=0.05)


@pytest.mark.parametrize("sampled", [True, False])
def test_readings_that_contradict_each_other_are_rejected_together(sampled):
    both = [Reading("scale", 3.0, 0.1), Reading("other scale", 7.0, 0.1)]
    posterior = posterior_of(
        ["sack"], both, lambda quantiles: sack(quantiles) * 2, {"sack": 0.5}, seed=1, sampled=sampled
    )
    assert posterior.rejected == (("scale", 0), ("other scale", 0))
    assert posterior.point_estimate == {"sack": 0.5}


def test_resampling_preserves_the_weighted_mean_of_the_figure_it_is_ordered_by():
    posterior = posterior_of(["sack"], [Reading("scale", 8.0, 1.0)], lambda s: sack(s) * 2, {"sack": 0.5}, seed=1)
    values = sorted(sack(sample)[0] for sample in posterior.resampled(40, order_by=1))
    mean, _ = mean_and_deviation(posterior, lambda sample: sack(sample)[0])
    assert len(values) == 40
    assert sum(values) / 40 == pytest.approx(mean, abs=0.03)


def test_the_same_seed_gives_the_same_samples():
    reading = [Reading("scale", 8.0, 1.0)]
    assert posterior_of(["sack"], reading, sack, {"sack": 0.5}, 4) == posterior_of(
        ["sack"], reading, sack, {"sack": 0.5}, 4
    )


def test_the_variance_shares_of_a_sum_are_those_of_its_parts():
    """For normal parts the squared correlation is the share of the variance: 16, 4 and 0 of 20."""
    samples = latin_hypercube(["a", "b", "c"], 400, seed=7)
    normal = NormalDist().inv_cdf
    shares = variance_shares(samples, [4 * normal(sample["a"]) + 2 * normal(sample["b"]) for sample in samples])
    assert shares["a"] == pytest.approx(0.8, abs=0.06)
    assert shares["b"] == pytest.approx(0.2, abs=0.06)
    assert shares["c"] < 0.02


def test_ninety_percent_ranges_cover_the_truth_in_ninety_of_a_hundred_runs():
    chance = random.Random(11)
    held = 0
    for _ in range(200):
        truth = chance.gauss(EXPECTED.mean, EXPECTED.stdev)
        reading = Reading("scale", truth + chance.gauss(0.0, 0.7), 0.7)
        posterior = posterior_of(["sack"], [reading], sack, {"sack": 0.5}, seed=1)
        if posterior.rejected:
            continue
        mean, deviation = mean_and_deviation(posterior, lambda sample: sack(sample)[0])
        held += abs(truth - mean) <= NormalDist().inv_cdf(0.95) * deviation
    assert 0.85 * 200 <= held <= 0.95 * 200
