"""Profiles of the property tests: a small derandomised one always, a thorough one on request."""

import os

from hypothesis import HealthCheck, settings

os.environ.setdefault("MPLBACKEND", "Agg")
settings.register_profile(
    "ci", max_examples=25, derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow], database=None
)
settings.register_profile("thorough", max_examples=500, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile(os.environ.get("LOTSHED_PROFILE", "ci"))
