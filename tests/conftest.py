"""The same hypothesis examples on every run, and no deadline that a busy machine could miss."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")
