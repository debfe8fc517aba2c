"""The simplex method beside scipy's solver."""

import random

import pytest
from scipy.optimize import linprog

from feedcalc.uncertainty.linear_programme import best_amounts


@pytest.mark.parametrize("seed", range(25))
def test_the_gain_is_the_largest_that_another_solver_finds(seed):
    chance = random.Random(seed)
    count, rules = chance.randint(1, 12), chance.randint(1, 12)
    gains = [chance.choice([0.0, chance.uniform(-1, 5)]) for _ in range(count)]
    rows = [[chance.choice([0.0, chance.uniform(0, 9)]) for _ in range(count)] for _ in range(rules)]
    rows.append([1.0] * count)  # so that something limits the gain
    limits = [chance.choice([0.0, chance.uniform(0, 100)]) for _ in range(rules)] + [50.0]
    ours = best_amounts(gains, rows, limits)
    theirs = linprog([-gain for gain in gains], A_ub=rows, b_ub=limits)
    assert sum(g * x for g, x in zip(gains, ours, strict=True)) == pytest.approx(-theirs.fun, abs=1e-6)
    for row, limit in zip(rows, limits, strict=True):
        assert sum(a * x for a, x in zip(row, ours, strict=True)) <= limit + 1e-6


def test_corners_that_coincide_do_not_make_it_go_in_circles():
    # Beale's example, on which the plain rule cycles for ever.
    rows = [[0.25, -60, -1 / 25, 9], [0.5, -90, -1 / 50, 3], [0, 0, 1, 0]]
    assert best_amounts([0.75, -150, 1 / 50, -6], rows, [0, 0, 1]) == pytest.approx((1 / 25, 0, 1, 0))


@pytest.mark.parametrize(("rows", "limits"), [([[1.0]], [-1.0]), ([[0.0]], [1.0])])
def test_a_programme_without_an_answer_is_refused(rows, limits):
    with pytest.raises(ValueError, match="limit"):
        best_amounts([1.0], rows, limits)
