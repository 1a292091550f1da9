"""The gate as the one region there is."""

from __future__ import annotations

import pytest

from sidewise.knowledge.region import Region
from sidewise.protocol import Protocol, protocol_of
from sidewise.regions import load_region
from tests.gate import write_gate


@pytest.fixture(scope="session")
def gate_region(tmp_path_factory: pytest.TempPathFactory) -> Region:
    """The region of the gate, loaded and checked."""
    folder = tmp_path_factory.mktemp("knowledge") / "gate"
    write_gate(folder)
    return load_region(folder)


@pytest.fixture(scope="session")
def gate(gate_region: Region) -> Protocol:
    """Its protocol."""
    return protocol_of(gate_region)
