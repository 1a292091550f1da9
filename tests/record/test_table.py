"""The long table says the same as the file."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from sidewise.errors import UserError
from sidewise.record import read_record
from sidewise.record.table import (
    COLUMNS,
    context_from_row,
    contexts_frame,
    finding_from_row,
    findings_frame,
)

EXAMPLES = sorted(Path(__file__).parents[2].glob("examples/*.json"))


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_every_finding_of_the_examples_survives_the_table(form: str, tmp_path: Path) -> None:
    records = [read_record(path) for path in EXAMPLES]
    frame = findings_frame(records)
    path = tmp_path / f"findings.{form}"
    if form == "csv":
        frame.to_csv(path, index=False)
        back = pd.read_csv(path, dtype={"grade": "string"})
    else:
        frame.to_parquet(path)
        back = pd.read_parquet(path)
    assert tuple(back.columns) == COLUMNS
    rows = [finding_from_row(row) for row in back.to_dict("records")]
    expected = [finding for record in records for finding in record.findings]
    assert rows == expected
    assert len(rows) > 1000


def test_every_context_of_the_examples_survives_the_table() -> None:
    records = [read_record(path) for path in EXAMPLES]
    rows = contexts_frame(records).to_dict("records")
    back = [context_from_row(row) for row in rows]
    assert back == [record.context for record in records]


def test_an_unknown_kind_in_a_row_names_the_column() -> None:
    with pytest.raises(UserError, match="kind: got"):
        finding_from_row({"record": "r", "item": "neer", "side": "left", "kind": "angel"})
