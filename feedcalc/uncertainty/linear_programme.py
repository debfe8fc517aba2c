"""Linear programming by the simplex method: the largest gain that limits on the amounts allow.

* The limits are not negative, so doing nothing is allowed and the method starts there.
* Bland's rule chooses the pivots, so the method ends even if several corners coincide.

Reference: R. G. Bland, New finite pivoting rules for the simplex method, Mathematics of Operations Research 2 (1977).
"""

from __future__ import annotations

from collections.abc import Sequence

# Relative to the largest coefficient of a row, values below this are rounding errors.
TOLERANCE = 1e-9


def best_amounts(gains: Sequence[float], rows: Sequence[Sequence[float]], limits: Sequence[float]) -> tuple[float, ...]:
    """Return the amounts x >= 0 with the largest sum of ``gains`` times x, where each row times x is within its limit.

    Raises ValueError for a negative limit, or if nothing limits the gain.

    >>> best_amounts([3.0, 2.0], [[1.0, 1.0], [1.0, 0.0]], [4.0, 3.0])
    (3.0, 1.0)
    """
    if any(limit < 0 for limit in limits):
        raise ValueError("a limit below 0 leaves nothing to choose from")
    count, slacks = len(gains), len(rows)
    table = []
    for place, (row, limit) in enumerate(zip(rows, limits, strict=True)):
        scale = max((abs(value) for value in row), default=0.0) or 1.0
        slack = [0.0] * slacks
        slack[place] = 1.0
        table.append([*(value / scale for value in row), *slack, limit / scale])
    largest = max((abs(gain) for gain in gains), default=0.0) or 1.0
    price = [*(-gain / largest for gain in gains), *([0.0] * (slacks + 1))]
    basis = list(range(count, count + slacks))
    while (
        entering := next((column for column in range(count + slacks) if price[column] < -TOLERANCE), None)
    ) is not None:
        ratios = [
            (row[-1] / row[entering], basis[place], place)
            for place, row in enumerate(table)
            if row[entering] > TOLERANCE
        ]
        if not ratios:
            raise ValueError("nothing limits the gain")
        leaving = min(ratios)[2]
        pivot = table[leaving] = [value / table[leaving][entering] for value in table[leaving]]
        for row in (*table[:leaving], *table[leaving + 1 :], price):
            if factor := row[entering]:
                row[:] = [value - factor * part for value, part in zip(row, pivot, strict=True)]
        basis[leaving] = entering
    amounts = dict(zip(basis, (row[-1] for row in table), strict=True))
    return tuple(max(amounts.get(column, 0.0), 0.0) for column in range(count))
