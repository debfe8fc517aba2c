"""Estimates are ordered; samples are stratified and the same for the same seed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from feedcalc.uncertainty.estimates import Estimate, Mixture, SkewedEstimate, estimate_of, latin_hypercube, percentile

amounts = st.floats(0, 1e6)
estimates = st.tuples(amounts, amounts, amounts).map(lambda three: Estimate(*sorted(three)))


def test_a_disordered_estimate_is_refused():
    with pytest.raises(ValueError, match="ordered"):
        Estimate(2.0, 1.0, 3.0)


@given(estimates, st.floats(0, 1), st.floats(0, 1))
def test_quantiles_rise_with_the_probability_and_stay_within_the_bounds(estimate, one, other):
    low, high = estimate.quantile(min(one, other)), estimate.quantile(max(one, other))
    assert low <= high * (1 + 1e-12)
    assert estimate.low * (1 - 1e-12) <= low
    assert high <= estimate.high * (1 + 1e-12)


@given(estimates)
def test_low_and_high_are_the_five_and_ninety_five_percent_bounds(estimate):
    assert estimate.quantile(0.05) == pytest.approx(estimate.low, rel=1e-7, abs=1e-7)
    assert estimate.quantile(0.95) == pytest.approx(estimate.high, rel=1e-7, abs=1e-7)


inner = st.floats(0.06, 0.94)
SKEWED = [SkewedEstimate(0.03, 0.12, 0.6), SkewedEstimate(0.0, 0.01, 0.08), Estimate(1.0, 2.0, 5.0)]


@pytest.mark.parametrize("known", SKEWED)
@given(share=inner)
def test_the_share_below_a_quantile_is_its_probability(known, share):
    assert known.share_below(known.quantile(share)) == pytest.approx(share, abs=1e-9)


def test_half_of_a_skewed_estimate_lies_below_its_typical_value():
    known = SkewedEstimate(0.03, 0.12, 0.6)
    assert known.quantile(0.5) == known.typical
    assert (known.quantile(0.05), known.quantile(0.95)) == pytest.approx((0.03, 0.6))
    # Factors count: as many values lie within a given part of the way up in logarithms as down.
    up, down = known.quantile(0.75) / known.typical, known.typical / known.quantile(0.25)
    assert up ** (1 / 1.6094379) == pytest.approx(down ** (1 / 1.3862944))  # ln 5 up, ln 4 down


@given(weight=st.floats(0.1, 0.9), share=inner)
def test_a_mixture_has_the_weighted_distribution_of_its_parts(weight, share):
    parts = [(weight, Estimate(0.0, 1.0, 2.0)), (1 - weight, Estimate(1.5, 3.0, 4.0))]
    value = Mixture.of(parts).quantile(share)
    below = sum(part * known.share_below(value) for part, known in parts)
    assert below == pytest.approx(share, abs=0.05)  # an end of a part carries 5 % of that part


def test_the_weights_of_a_mixture_count_by_their_ratio():
    parts = [Estimate(0.0, 1.0, 2.0), Estimate(8.0, 9.0, 10.0)]
    one, ten = (Mixture.of([(3.0 * scale, parts[0]), (1.0 * scale, parts[1])]) for scale in (1, 10))
    assert one.points == pytest.approx(ten.points)
    assert one.quantile(0.7) < 2.01 < 7.9 < one.quantile(0.8)


def test_an_exact_value_has_no_spread():
    assert {Estimate.exactly(3.0).quantile(share) for share in (0.0, 0.3, 1.0)} == {3.0}


def test_a_triangular_distribution_has_its_textbook_quartiles():
    # Triangle 0, 1, 2 between the 5 % and 95 % ends: F(x) = x^2 / 2 below 1, so a quarter of it lies below sqrt(0.5).
    share = 0.05 + 0.25 * 0.90
    assert Estimate(0.0, 1.0, 2.0).quantile(share) == pytest.approx(0.5**0.5)


@given(st.lists(amounts, min_size=1, max_size=50), amounts)
def test_the_range_of_a_sample_includes_the_typical_value(samples, typical):
    found = estimate_of(samples, typical)
    assert found.low <= typical <= found.high
    assert found.typical == typical


def test_the_range_of_a_sample_leaves_five_percent_out_at_each_end():
    # A hundred draws at the middles of a hundred equal parts of 0 to 100.
    found = estimate_of([number + 0.5 for number in range(100)], 50.0)
    assert (found.low, found.high) == (pytest.approx(5.0), pytest.approx(95.0))


def test_a_percentile_is_interpolated_between_its_neighbours():
    assert percentile([1.0], 0.7) == 1.0
    assert percentile([1.0, 2.0, 4.0], 0.5) == 2.0
    assert percentile([1.0, 2.0, 4.0], 2 / 3) == pytest.approx(3.0)


@given(st.integers(1, 60), st.integers(0, 10**9))
def test_each_stratum_of_each_unknown_has_one_sample(count, seed):
    draws = latin_hypercube(("ash", "cup"), count, seed)
    for name in ("ash", "cup"):
        assert sorted(int(draw[name] * count) for draw in draws) == list(range(count))
    assert draws == latin_hypercube(("ash", "cup"), count, seed)


def test_unknowns_are_sampled_in_different_orders():
    draws = latin_hypercube(("ash", "cup"), 40, 1)
    assert any(draw["ash"] != draw["cup"] for draw in draws)
    together = sum((draw["ash"] - 0.5) * (draw["cup"] - 0.5) for draw in draws) / (40 / 12)
    assert abs(together) < 0.5
