"""How many examples hypothesis tries of each property, set in one place.

A test names the number that the full run tries. The profile (``--hypothesis-profile=check``) thins all of them alike,
or multiplies them (`night`).
Each run tries the same examples, so that none fails by chance; only the profile `night` draws new ones. No
profile has a deadline or a check of speed: a busy machine must not fail a property.
"""

from __future__ import annotations

from typing import Any

from hypothesis import HealthCheck, settings

# Examples in each hundred that a profile keeps.
PROFILES = {"full": 100, "check": 25, "night": 5000}
FEWEST = 5

for name, percent in PROFILES.items():
    settings.register_profile(
        name,
        max_examples=percent,
        derandomize=name != "night",
        deadline=None,
        suppress_health_check=[HealthCheck.too_slow],
    )


def examples(number: int, **more: Any) -> settings:
    """Return settings that try ``number`` examples in the full profile and fewer in a thinner one."""
    kept = number * settings().max_examples // PROFILES["full"]
    return settings(max_examples=max(min(FEWEST, number), kept), **more)
