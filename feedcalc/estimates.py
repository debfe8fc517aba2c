"""A quantity known only roughly: low, typical and high, never a bare number.

Low and high are meant as a 5 % and a 95 % bound unless the table they come from says otherwise.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Estimate:
    """``low <= typical <= high``, all in one unit that the owner of the value names.

    >>> Estimate(1.5, 5.0, 12.0).scaled(10)
    Estimate(low=15.0, typical=50.0, high=120.0)
    """

    low: float
    typical: float
    high: float

    def __post_init__(self) -> None:
        if not self.low <= self.typical <= self.high:
            raise ValueError(f"an estimate must be ordered, got {self.low}, {self.typical}, {self.high}")

    @classmethod
    def exactly(cls, value: float) -> Estimate:
        """An estimate with no spread, for what was weighed or measured."""
        return cls(value, value, value)

    def scaled(self, factor: float) -> Estimate:
        """All three values times a non-negative factor."""
        return Estimate(self.low * factor, self.typical * factor, self.high * factor)

    def quantile(self, share: float) -> float:
        """The value below which ``share`` (0 to 1) of a triangular distribution with these corners lies.

        The triangle (low, mode, high) is the usual shape where only three figures are known.
        Formula: the inverse of its distribution function, as in any statistics handbook.

        >>> Estimate(0.0, 1.0, 2.0).quantile(0.5)
        1.0
        """
        width = self.high - self.low
        if width == 0.0:
            return self.typical
        peak_share = (self.typical - self.low) / width
        if share <= peak_share:
            return float(self.low + (share * width * (self.typical - self.low)) ** 0.5)
        return float(self.high - ((1.0 - share) * width * (self.high - self.typical)) ** 0.5)


def estimate_of(samples: Sequence[float], typical: float) -> Estimate:
    """Bounds that hold the middle 90 % of ``samples``, widened where needed to hold ``typical``.

    Percentiles by linear interpolation between order statistics.
    """
    ordered = sorted(samples)
    return Estimate(
        min(percentile(ordered, 0.05), typical), typical, max(percentile(ordered, 0.95), typical)
    )


def percentile(ordered: Sequence[float], share: float) -> float:
    """Value at ``share`` (0 to 1) of an ascending sequence, interpolated linearly.

    >>> percentile([0.0, 1.0, 2.0], 0.25)
    0.5
    """
    position = share * (len(ordered) - 1)
    below = int(position)
    above = min(below + 1, len(ordered) - 1)
    return ordered[below] + (ordered[above] - ordered[below]) * (position - below)


def map_estimate(estimate: Estimate, rising: Callable[[float], float]) -> Estimate:
    """Apply a function that never falls to all three values."""
    return Estimate(rising(estimate.low), rising(estimate.typical), rising(estimate.high))
