"""What the tests of a batch share: short records, and a register with faults."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from sidewise.record import Record
from tests.builders import angle, positive, record
from tests.reason.registers import (
    EXAMPLES,
    short,
    tables,
    write,
)


@pytest.fixture(scope="session")
def shorts() -> list[Record]:
    found = [short(path) for path in EXAMPLES]
    assert len(found) >= 12
    return found


@pytest.fixture
def damaged(tmp_path: Path) -> Path:
    """Seven records of which one is sound; tables with one fault of each kind."""
    made = [
        record(positive("neer", "left"), angle("external_rotation_at_side", "left", 40))
        .model_copy(update={"id": name})
        for name in ("sound", "item", "value", "side", "age", "twice", "region")
    ]  # fmt: skip
    folder = tables(made, tmp_path / "damaged", "csv")
    findings = pd.read_csv(folder / "findings.csv", dtype=str)
    contexts = pd.read_csv(folder / "contexts.csv", dtype=str)
    findings.loc[findings["record"].eq("item") & findings["item"].eq("neer"), "item"] = "near"
    findings.loc[findings["record"].eq("value") & findings["kind"].eq("angle"), "degrees"] = "1650"
    findings.loc[findings["record"].eq("side") & findings["kind"].eq("angle"), "side"] = "midline"
    stray = findings[findings["record"] == "sound"].head(1).assign(record="nobody")
    contexts.loc[contexts["record"] == "age", "age"] = "-4"
    contexts.loc[contexts["record"] == "region", "region"] = "wing"
    again = contexts[contexts["record"] == "twice"]
    write(pd.concat([findings, stray]), folder / "findings.csv")
    write(pd.concat([contexts, again]), folder / "contexts.csv")
    return folder
