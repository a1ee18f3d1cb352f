"""Settings of all tests: a property test may take as long as a busy machine needs."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("patient", deadline=None)
settings.load_profile("patient")
