"""The root of a function of one variable, such as the dose at which a pH is reached."""

from __future__ import annotations

from collections.abc import Callable


def falling_root(function: Callable[[float], float], low: float, high: float, tolerance: float) -> float:
    """Return where a falling function is zero between ``low`` and ``high``, to ``tolerance`` of its value.

    If it has no zero there, return the end where it is nearest to zero. The method is inverse quadratic interpolation
    or bisection: T. R. Chandrupatla, A new hybrid quadratic/bisection algorithm for finding the zero of a nonlinear
    function without using derivatives, Advances in Engineering Software 28 (1997) 145,
    doi:10.1016/S0965-9978(96)00051-8.

    >>> round(falling_root(lambda x: 2.0 - x * x, 0.0, 2.0, 1e-9), 6)
    1.414214
    """
    a, b = high, low
    fa, fb = function(a), function(b)
    if fb <= 0.0 or fa >= 0.0:
        return b if fb <= 0.0 else a
    share = 0.5
    for _ in range(60):
        middle = a + share * (b - a)
        value = function(middle)
        if abs(value) <= tolerance:
            return middle
        if (value > 0.0) == (fa > 0.0):
            c, fc = a, fa
        else:
            c, fc, b, fb = b, fb, a, fa
        a, fa = middle, value
        ratio, slope = (a - b) / (c - b), (fa - fb) / (fc - fb)
        share = 0.5
        if slope**2 < ratio and (1.0 - slope) ** 2 < 1.0 - ratio:
            share = fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
            share = min(max(share, 1e-6), 1.0 - 1e-6)
    return a
