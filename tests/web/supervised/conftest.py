"""A patient with an examination that goes on, its people, and students beside it."""

from __future__ import annotations

import pytest


@pytest.fixture
def ward(db):
    """The people, the patient, and one student who may examine now."""
    from tests.web.supervised.ward import Ward

    return Ward()
