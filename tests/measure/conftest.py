from __future__ import annotations

import pytest
from hypothesis import settings

from sidewise.measure.norms.tables import MeasurementTables
from sidewise.protocol import Protocol
from tests.measure.cast import small_protocol
from tests.shoulder import TABLES

# Machines differ in speed, and a run must repeat: no deadline, the same examples every time.
settings.register_profile("steady", deadline=None, derandomize=True)
settings.load_profile("steady")


@pytest.fixture(scope="session")
def protocol() -> Protocol:
    return small_protocol()


@pytest.fixture(scope="session")
def tables() -> MeasurementTables:
    return TABLES
