from __future__ import annotations

import pytest

from sidewise.measure.tables import Tables, load_tables
from sidewise.protocol import Protocol
from tests.measure.cast import small_protocol


@pytest.fixture(scope="session")
def protocol() -> Protocol:
    return small_protocol()


@pytest.fixture(scope="session")
def tables() -> Tables:
    return load_tables("shoulder")
