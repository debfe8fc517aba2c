"""Readings taken in on unknowns: against Bayes' rule in closed form and by brute-force quadrature."""

from __future__ import annotations

import math
import random
from statistics import NormalDist

import pytest

from feedcalc.uncertainty.bayes import Posterior, Reading, posterior_of, variance_shares
from feedcalc.uncertainty.estimates import Estimate, latin_hypercube

EXPECTED = NormalDist(5.0, 2.0)


def sack(shares):
    """A model of one unknown that is normal beforehand, shown as it is."""
    return [EXPECTED.inv_cdf(shares["sack"])]


def mean_and_deviation(left: Posterior, of) -> tuple[float, float]:
    values = [of(sample) for sample in left.samples]
    mean = sum(weight * value for weight, value in zip(left.weights, values, strict=True))
    spread = sum(weight * (value - mean) ** 2 for weight, value in zip(left.weights, values, strict=True))
    return mean, math.sqrt(spread)


@pytest.mark.parametrize(("read", "width"), [(5.5, 4.0), (8.0, 1.0), (2.0, 0.2), (7.0, 0.02)])
def test_a_normal_unknown_and_a_normal_reading_give_the_textbook_posterior(read, width):
    """Gelman and others, Bayesian Data Analysis, 3rd edition, equation 2.10 (from memory): precisions add."""
    precision = 1 / EXPECTED.stdev**2 + 1 / width**2
    mean = (EXPECTED.mean / EXPECTED.stdev**2 + read / width**2) / precision
    deviation = math.sqrt(1 / precision)
    left = posterior_of(["sack"], [Reading("scale", read, width)], sack, {"sack": 0.5}, seed=1)
    found_mean, found_deviation = mean_and_deviation(left, lambda sample: sack(sample)[0])
    assert found_mean == pytest.approx(mean, abs=0.15 * deviation)
    assert found_deviation == pytest.approx(deviation, rel=0.12)
    assert sack(left.point_estimate)[0] == pytest.approx(mean, abs=0.15 * deviation)


def test_without_samples_the_middle_of_a_straight_model_is_the_textbook_mean():
    left = posterior_of(["sack"], [Reading("scale", 8.0, 1.0)], sack, {"sack": 0.5}, seed=1, sampled=False)
    assert sack(left.point_estimate)[0] == pytest.approx((5 / 4 + 8) / (1 / 4 + 1), abs=1e-6)


@pytest.mark.parametrize("known", [Estimate(1.5, 5.0, 12.0), Estimate(0.03, 0.12, 0.6)])
@pytest.mark.parametrize("at", [0.1, 0.5, 0.9])
def test_one_unknown_agrees_with_brute_force_quadrature(known, at):
    """Bayes' rule summed over 20 000 equal strata of the unknown, through a curved model."""

    def curved(value):
        return 3.0 * value**0.7 + 0.1 * value**2

    reading = Reading("meter", curved(known.quantile(at)), 0.15, is_relative=True)
    strata = [known.quantile((place + 0.5) / 20_000) for place in range(20_000)]
    weights = [math.exp(-0.5 * reading.residual(curved(value)) ** 2) for value in strata]
    mean = sum(weight * value for weight, value in zip(weights, strata, strict=True)) / sum(weights)
    spread = sum(weight * (value - mean) ** 2 for weight, value in zip(weights, strata, strict=True)) / sum(weights)
    left = posterior_of(["x"], [reading], lambda shares: [curved(known.quantile(shares["x"]))], {"x": 0.5}, seed=3)
    found_mean, found_deviation = mean_and_deviation(left, lambda sample: known.quantile(sample["x"]))
    assert found_mean == pytest.approx(mean, abs=0.15 * math.sqrt(spread))
    assert found_deviation == pytest.approx(math.sqrt(spread), rel=0.15)


def test_a_reading_of_a_sum_leaves_the_difference_as_unsure_as_it_was():
    names = ["a", "b"]

    def total(shares):
        return [sum(NormalDist().inv_cdf(shares[name]) for name in names)]

    means, variances, sums = [], [], []
    for seed in range(1, 7):
        left = posterior_of(names, [Reading("sum", 1.0, 0.05)], total, dict.fromkeys(names, 0.5), seed)
        scores = [{name: NormalDist().inv_cdf(sample[name]) for name in names} for sample in left.samples]
        means.append(sum(w * (s["a"] - s["b"]) for w, s in zip(left.weights, scores, strict=True)))
        squares = [(s["a"] - s["b"] - means[-1]) ** 2 for s in scores]
        variances.append(sum(w * square for w, square in zip(left.weights, squares, strict=True)))
        sums.append(sum(w * total(s)[0] for w, s in zip(left.weights, left.samples, strict=True)))
    assert sums == pytest.approx([1.0] * 6, abs=0.02)
    # A few dozen samples tell a spread to a fifth or so; six drawings together tell it closer.
    assert sum(means) / 6 == pytest.approx(0.0, abs=0.15)
    assert sum(variances) / 6 == pytest.approx(2.0, rel=0.15)


def test_two_readings_narrow_more_than_one():
    one = posterior_of(["sack"], [Reading("scale", 6.0, 1.0)], sack, {"sack": 0.5}, seed=1)
    both = [Reading("scale", 6.0, 1.0), Reading("other scale", 6.4, 1.0)]
    two = posterior_of(["sack"], both, lambda shares: sack(shares) * 2, {"sack": 0.5}, seed=1)
    of = lambda sample: sack(sample)[0]  # noqa: E731
    assert mean_and_deviation(two, of)[1] < 0.85 * mean_and_deviation(one, of)[1]


@pytest.mark.parametrize(("read", "direction"), [(40.0, 1), (-40.0, -1)])
def test_the_quick_way_without_samples_doubts_the_same_readings(read, direction):
    left = posterior_of(["sack"], [Reading("scale", read, 0.5)], sack, {"sack": 0.5}, seed=1, sampled=False)
    assert left.rejected == (("scale", direction),)
    assert left.point_estimate == {"sack": 0.5}


@pytest.mark.parametrize(("read", "direction"), [(40.0, 1), (-40.0, -1)])
def test_a_reading_beyond_everything_plausible_is_doubted_and_changes_nothing(read, direction):
    left = posterior_of(["sack"], [Reading("scale", read, 0.5)], sack, {"sack": 0.5}, seed=1)
    assert left.rejected == (("scale", direction),)
    assert left.point_estimate == {"sack": 0.5}
    mean, deviation = mean_and_deviation(left, lambda sample: sack(sample)[0])
    assert mean == pytest.approx(EXPECTED.mean, abs=0.05)
    assert deviation == pytest.approx(EXPECTED.stdev, rel=0.05)


@pytest.mark.parametrize("sampled", [True, False])
def test_readings_that_contradict_one_another_are_doubted_together(sampled):
    both = [Reading("scale", 3.0, 0.1), Reading("other scale", 7.0, 0.1)]
    left = posterior_of(["sack"], both, lambda shares: sack(shares) * 2, {"sack": 0.5}, seed=1, sampled=sampled)
    assert left.rejected == (("scale", 0), ("other scale", 0))
    assert left.point_estimate == {"sack": 0.5}


def test_resampling_keeps_the_weighted_middle_of_the_figure_it_is_ordered_by():
    left = posterior_of(["sack"], [Reading("scale", 8.0, 1.0)], lambda s: sack(s) * 2, {"sack": 0.5}, seed=1)
    values = sorted(sack(sample)[0] for sample in left.resampled(40, order_by=1))
    mean, _ = mean_and_deviation(left, lambda sample: sack(sample)[0])
    assert len(values) == 40
    assert sum(values) / 40 == pytest.approx(mean, abs=0.03)


def test_the_same_seed_gives_the_same_samples():
    reading = [Reading("scale", 8.0, 1.0)]
    assert posterior_of(["sack"], reading, sack, {"sack": 0.5}, 4) == posterior_of(
        ["sack"], reading, sack, {"sack": 0.5}, 4
    )


def test_the_spread_of_a_sum_is_shared_by_variance_among_its_parts():
    """For normal parts the squared correlation is the share of variance: 16, 4 and 0 parts of 20."""
    samples = latin_hypercube(["a", "b", "c"], 400, seed=7)
    normal = NormalDist().inv_cdf
    shares = variance_shares(samples, [4 * normal(sample["a"]) + 2 * normal(sample["b"]) for sample in samples])
    assert shares["a"] == pytest.approx(0.8, abs=0.06)
    assert shares["b"] == pytest.approx(0.2, abs=0.06)
    assert shares["c"] < 0.02


def test_ninety_in_a_hundred_ranges_hold_the_truth_of_a_normal_unknown():
    chance = random.Random(11)
    held = 0
    for _ in range(200):
        truth = chance.gauss(EXPECTED.mean, EXPECTED.stdev)
        reading = Reading("scale", truth + chance.gauss(0.0, 0.7), 0.7)
        left = posterior_of(["sack"], [reading], sack, {"sack": 0.5}, seed=1)
        if left.rejected:
            continue
        mean, deviation = mean_and_deviation(left, lambda sample: sack(sample)[0])
        held += abs(truth - mean) <= NormalDist().inv_cdf(0.95) * deviation
    assert 0.85 * 200 <= held <= 0.95 * 200
