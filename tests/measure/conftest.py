from __future__ import annotations

import pytest
from hypothesis import settings

from sidewise.measure.tables import Tables, load_tables
from sidewise.protocol import Protocol
from tests.measure.cast import small_protocol

# Machines differ in speed, and a run must repeat: no deadline, the same examples every time.
settings.register_profile("steady", deadline=None, derandomize=True)
settings.load_profile("steady")


@pytest.fixture(scope="session")
def protocol() -> Protocol:
    return small_protocol()


@pytest.fixture(scope="session")
def tables() -> Tables:
    return load_tables("shoulder")
