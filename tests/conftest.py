"""Shared by all tests: a quiet data folder, seeds that repeat, and small record builders."""

from __future__ import annotations

import os
import tempfile

# Before anything imports the web settings: tests never touch a person's own data folder.
os.environ.setdefault("SIDEWISE_HOME", tempfile.mkdtemp(prefix="sidewise-test-"))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "sidewise.web.settings")

from hypothesis import HealthCheck, settings

settings.register_profile(
    "fixed", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("fixed")
