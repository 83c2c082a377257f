"""Profiles of hypothesis: "fast" in every run, "deep" with HYPOTHESIS_PROFILE=deep, "studies" for ten
thousand whole studies."""

import os

from hypothesis import HealthCheck, settings

# Fast runs draw the same examples each time, so that a failure is a change of the code.
settings.register_profile("fast", max_examples=25, deadline=None, derandomize=True,
                          suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("deep", max_examples=1000, deadline=None,
                          suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("studies", max_examples=10_000, deadline=None,
                          suppress_health_check=[HealthCheck.too_slow])
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "fast"))
