"""Estimates and Bayesian updating against numpy (quantiles) and scipy (distributions, designs)."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
from scipy import integrate, stats
from scipy.stats import qmc

from feedcalc import published
from feedcalc.uncertainty.bayes import Reading, posterior_of, variance_shares
from feedcalc.uncertainty.estimates import TAIL, Estimate, latin_hypercube, percentile

KNOWN = [Estimate(1.5, 5.0, 12.0), Estimate(0.03, 0.12, 0.6), Estimate(0.0, 0.0, 1.0), Estimate(2.0, 4.0, 4.0)]


@pytest.mark.parametrize("count", [3, 10, 40, 77])
@pytest.mark.parametrize("share", [0.05, 0.25, 0.5, 0.95])
def test_percentiles_follow_the_hazen_method_of_numpy(count, share):
    values = sorted(np.random.default_rng(count).lognormal(size=count).tolist())
    assert percentile(values, share) == pytest.approx(float(np.quantile(values, share, method="hazen")), rel=1e-12)


@pytest.mark.parametrize("known", KNOWN)
@pytest.mark.parametrize("share", [0.06, 0.2, 0.5, 0.8, 0.94])
def test_between_its_bounds_an_estimate_is_the_triangular_distribution_of_scipy(known, share):
    width = known.high - known.low
    triangle = stats.triang((known.typical - known.low) / width, loc=known.low, scale=width)
    assert known.quantile(share) == pytest.approx(triangle.ppf((share - TAIL) / (1 - 2 * TAIL)), rel=1e-9)


@pytest.mark.parametrize("width", [0.05, 0.4])
@pytest.mark.parametrize("shown", [6.0, 7.0, 9.5])
def test_a_squared_residual_is_the_log_likelihood_of_scipy(shown, width):
    plain, relative = Reading("ph", 7.0, width), Reading("ec", 7.0, width, is_relative=True)
    normal = stats.norm(loc=7.0, scale=width)
    assert -0.5 * plain.residual(shown) ** 2 == pytest.approx(normal.logpdf(shown) - normal.logpdf(7.0), abs=1e-9)
    # The error is a factor: log-normal for a fixed reading.
    factor = stats.norm(scale=width)
    log_likelihood = factor.logpdf(math.log(shown / 7.0)) - factor.logpdf(0.0)
    assert -0.5 * relative.residual(shown) ** 2 == pytest.approx(log_likelihood, abs=1e-9)


@pytest.mark.parametrize("count", [40, 100, 160])
def test_samples_are_as_uniform_as_the_latin_hypercubes_of_scipy(count):
    names = [f"unknown {place}" for place in range(6)]

    def discrepancy(points):
        return qmc.discrepancy(np.array(points), method="CD")

    ours = [discrepancy([list(row.values()) for row in latin_hypercube(names, count, seed)]) for seed in range(1, 13)]
    theirs = [discrepancy(qmc.LatinHypercube(6, scramble=False, seed=seed).random(count)) for seed in range(1, 13)]
    chance = [discrepancy(np.random.default_rng(seed).random((count, 6))) for seed in range(1, 13)]
    assert np.mean(ours) == pytest.approx(np.mean(theirs), rel=0.1)
    assert np.mean(ours) < 0.8 * np.mean(chance)


@pytest.mark.parametrize(("read", "width"), [(4.0, 0.3), (8.0, 0.5), (11.0, 1.0)])
@pytest.mark.parametrize("known", [Estimate(1.5, 5.0, 12.0)])
def test_the_weighted_quantiles_of_one_unknown_agree_with_the_posterior_integrated_by_scipy(known, read, width):
    """Triangular prior and normal error: the 5, 50 and 95 % points of the posterior by adaptive quadrature."""
    span = known.high - known.low
    triangle = stats.triang((known.typical - known.low) / span, loc=known.low, scale=span)

    def likelihood(value):
        return stats.norm.pdf(read, loc=value, scale=width)

    at_low, at_high = (TAIL * likelihood(end) for end in (known.low, known.high))
    breaks = [known.typical, min(max(read, known.low), known.high)]

    def mass(end):
        inner, _ = integrate.quad(
            lambda value: triangle.pdf(value) * likelihood(value) * (1 - 2 * TAIL),
            known.low,
            end,
            points=[point for point in breaks if point < end] or None,
            limit=200,
        )
        return inner + at_low

    whole = mass(known.high) + at_high

    def share_held(seed, share):
        sampled = posterior_of(
            ["x"], [Reading("scale", read, width)], lambda s: [known.quantile(s["x"])], {"x": 0.5}, seed
        )
        values = np.array([known.quantile(sample["x"]) for sample in sampled.samples])
        bound = np.quantile(values, share, weights=np.array(sampled.weights), method="inverted_cdf")
        # The tails are lumped at the bounds, where the posterior has a step.
        below = mass(float(bound))
        upto = below + (at_high if bound >= known.high else 0.0)
        return min(max(share, below / whole), upto / whole)

    # A hundred samples give a probability to a few hundredths; eight runs together show a bias.
    for share in (0.05, 0.5, 0.95):
        held = [share_held(seed, share) for seed in range(1, 9)]
        assert np.mean(held) == pytest.approx(share, abs=0.02)
        assert held == pytest.approx([share] * 8, abs=0.08)


@pytest.mark.parametrize("readings", [1, 3, 8])
def test_repeated_readings_give_the_conjugate_normal_posterior(readings):
    """Precisions add; the normal distribution of scipy gives the 5 and 95 % points in closed form."""
    prior, width = NormalDist(5.0, 2.0), 1.0
    read = [6.0 + 0.5 * math.sin(place) for place in range(readings)]
    precision = 1 / prior.variance + readings / width**2
    exact = stats.norm((5.0 / 4.0 + sum(read)) / precision, math.sqrt(1 / precision))

    def model(quantiles):
        return [prior.inv_cdf(quantiles["x"])] * readings

    sampled = posterior_of(
        ["x"], [Reading(f"{place}", value, width) for place, value in enumerate(read)], model, {"x": 0.5}, 2
    )
    values = np.array([prior.inv_cdf(sample["x"]) for sample in sampled.samples])
    low, high = (
        np.quantile(values, share, weights=np.array(sampled.weights), method="inverted_cdf") for share in (0.05, 0.95)
    )
    assert low == pytest.approx(exact.ppf(0.05), abs=0.25 * exact.std())
    assert high == pytest.approx(exact.ppf(0.95), abs=0.25 * exact.std())


def test_variance_shares_are_squared_spearman_correlations_corrected_for_chance():
    samples = latin_hypercube(["a", "b"], 60, 3)
    figures = [sample["a"] ** 3 + 0.4 * sample["b"] for sample in samples]
    found = variance_shares(samples, figures)
    for name in ("a", "b"):
        theirs = stats.spearmanr([sample[name] for sample in samples], figures).statistic ** 2
        assert found[name] == pytest.approx(max((theirs - 1 / 59) / (1 - 1 / 59), 0.0), abs=1e-9)


@pytest.mark.parametrize("row", published.table("student_t"), ids=lambda row: f"{row['degrees_of_freedom']}")
def test_the_table_of_student_t_agrees_with_scipy(row):
    assert float(row["t95"]) == pytest.approx(stats.t.ppf(0.95, float(row["degrees_of_freedom"])), abs=6e-3)
