"""Same examples on every run."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile(
    "protocol", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("protocol")
