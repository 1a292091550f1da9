"""Shared by all tests: a quiet data folder, seeds that repeat, and small record builders."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Iterator

# Before anything imports the web settings: tests never touch a person's own data folder.
os.environ.setdefault("SIDEWISE_HOME", tempfile.mkdtemp(prefix="sidewise-test-"))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "sidewise.web.settings")

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "fixed", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("fixed")


@pytest.fixture(autouse=True)
def numpy_afterwards() -> Iterator[None]:
    """Compiled sums, where a test turned them on, are not left on for the next."""
    yield
    lower = sys.modules.get("sidewise.reason.engine.lower")
    if lower is not None:
        lower.turn_on(False)
