"""Hypothesis: the same few examples on every check; with BAREFRAME_LONG=1 ten thousand fresh ones."""

import os

from hypothesis import HealthCheck, settings

settings.register_profile(
    "check",
    max_examples=60,
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile("long", settings.get_profile("check"), max_examples=10_000, derandomize=False)
settings.load_profile("long" if os.environ.get("BAREFRAME_LONG") == "1" else "check")
