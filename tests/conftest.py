"""How many examples Hypothesis tries: HYPOTHESIS_PROFILE=dev (25, the same each time; the default) or ci (200)."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

# Drawing a whole block's settings is slow beside drawing a number; time is bounded by the blocks' sizes instead.
_SLOW_IS_FINE = [HealthCheck.too_slow, HealthCheck.data_too_large]

settings.register_profile("dev", max_examples=25, deadline=None, derandomize=True, suppress_health_check=_SLOW_IS_FINE)
settings.register_profile("ci", max_examples=200, deadline=None, print_blob=True, suppress_health_check=_SLOW_IS_FINE)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "dev"))
