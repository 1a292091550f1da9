"""A cast for every page test; cheap passwords, and a quick stand-in for the weighing."""

from __future__ import annotations

import django
import pytest

from sidewise.web.home import home

(home() / "static").mkdir(exist_ok=True)
django.setup()


@pytest.fixture(autouse=True)
def quick(settings, monkeypatch):
    """A cheap hasher, and a hand-made interpretation: the real one is tested where it is made."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    from sidewise.web.examinations import state
    from sidewise.web.examinations.views import reading
    from tests.web.cast import hand_made

    monkeypatch.setattr(state, "weigh", hand_made)
    monkeypatch.setattr(reading, "weigh", hand_made)


@pytest.fixture
def cast(db):
    """Owner, colleague, reader and stranger around one patient."""
    from tests.web.cast import Cast

    return Cast()
