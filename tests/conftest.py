"""Hypothesis profiles: a developer's run is quick, a run in CI looks longer and is the same every time."""

import os

from hypothesis import HealthCheck, settings

settings.register_profile("quick", max_examples=60, deadline=None)
settings.register_profile(
    "ci", max_examples=300, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("ci" if os.environ.get("CI") else "quick")
