"""The long table says the same as the file."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from sidewise.errors import UserError
from sidewise.record import read_record
from sidewise.record.table import (
    context_from_row,
    contexts_frame,
    finding_from_row,
    findings_frame,
    table_columns,
)
from tests.shoulder import REGIONS, WORDS

EXAMPLES = sorted(Path(__file__).parents[2].glob("examples/*.json"))


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_every_finding_of_the_examples_survives_the_table(form: str, tmp_path: Path) -> None:
    records = [read_record(path, REGIONS) for path in EXAMPLES]
    frame = findings_frame(records, WORDS)
    path = tmp_path / f"findings.{form}"
    if form == "csv":
        frame.to_csv(path, index=False)
        back = pd.read_csv(path, dtype={"grade": "string"})
    else:
        frame.to_parquet(path)
        back = pd.read_parquet(path)
    assert tuple(back.columns) == table_columns(WORDS)
    rows = [finding_from_row(row, WORDS) for row in back.to_dict("records")]
    expected = [finding for record in records for finding in record.findings]
    assert rows == expected
    assert len(rows) > 1000


def test_every_context_of_the_examples_survives_the_table() -> None:
    records = [read_record(path, REGIONS) for path in EXAMPLES]
    rows = contexts_frame(records).to_dict("records")
    back = [context_from_row(row) for row in rows]
    assert back == [record.context for record in records]


def test_an_unknown_kind_in_a_row_names_the_column() -> None:
    with pytest.raises(UserError, match="kind: got"):
        finding_from_row({"record": "r", "item": "neer", "side": "left", "kind": "angel"}, WORDS)


TENDER = {"record": "r", "item": "acj", "side": "left", "kind": "tenderness"}


@pytest.mark.parametrize("grade", ["winces", "2.5", "4", "-1", "inf", "1e999", 2.7, [2]])
def test_a_grade_of_tenderness_that_is_none_names_the_column(grade: object) -> None:
    with pytest.raises(UserError, match=r"grade: got .*, expected a grade of tenderness"):
        finding_from_row({**TENDER, "grade": grade}, WORDS)


@pytest.mark.parametrize("grade", [2, 2.0, "2", "2.0"])
def test_a_grade_of_tenderness_may_be_a_number_or_its_digits(grade: object) -> None:
    assert finding_from_row({**TENDER, "grade": grade}, WORDS).value.grade == 2


def test_a_power_grade_from_a_column_of_numbers_is_the_grade() -> None:
    row = {"record": "r", "item": "x", "side": "left", "kind": "mrc", "grade": 4.0}
    assert finding_from_row(row, WORDS).value.grade == "4"


def test_a_missing_cell_of_a_text_column_is_empty() -> None:
    assert (
        finding_from_row({**TENDER, "grade": "1", "note": pd.NA, "mode": pd.NaT}, WORDS).note
        is None
    )


CONTEXT = {"patient": "HERON-1", "examined_at": "2026-03-02T09:40:00+00:00", "examiner": "E1"}


@pytest.mark.parametrize("column", ["tides.high", "history", "known", "vitals.", "age.years", ".x"])
def test_a_column_of_an_unknown_group_is_named(column: str) -> None:
    with pytest.raises(UserError, match=f"{column}: got .*, expected a column of the context"):
        context_from_row({**CONTEXT, column: "yes"})


def test_a_side_that_is_none_in_a_column_is_named() -> None:
    with pytest.raises(UserError, match=r"known\.middle"):
        context_from_row({**CONTEXT, "known.middle": "tear"})
