"""Liquid mineral feed from wood ash: chemistry, amounts, limits and cautions.

    from feedcalc import Ash, Can, plan

`feedcalc.api` says what there is. It is loaded when it is first used, so that the command line starts quickly.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from feedcalc.api import (
        Ash,
        BedShare,
        Bucket,
        Can,
        Figure,
        JudgedRecipe,
        KnownAsh,
        Mishap,
        Plan,
        Readings,
        Share,
        Soil,
        Spread,
        Water,
        happened,
        judge,
        learn,
        plan,
        share,
        spread,
    )
    from feedcalc.words.errors import InputErrors

__version__ = "0.1.0"
__all__ = [
    "Ash",
    "BedShare",
    "Bucket",
    "Can",
    "Figure",
    "InputErrors",
    "JudgedRecipe",
    "KnownAsh",
    "Mishap",
    "Plan",
    "Readings",
    "Share",
    "Soil",
    "Spread",
    "Water",
    "__version__",
    "happened",
    "judge",
    "learn",
    "plan",
    "share",
    "spread",
]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from feedcalc import api

    return getattr(api, name)
