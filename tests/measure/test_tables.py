"""The tables themselves, and the loader that refuses what has no source or mark."""

from __future__ import annotations

from pathlib import Path

import pytest

from sidewise.errors import UserError
from sidewise.measure.norms.tables import MARKS, NAMES, MeasurementTables, read_measurement_table

ROWS = {"norms": 179, "strength_norms": 58, "error": 112, "side_difference": 44, "change": 54,
        "agreement": 36}  # fmt: skip
GOOD = "row,source,mark,use,why_not,sem,sem_mark\n"


def test_every_row_has_a_source_and_exactly_one_mark(tables: MeasurementTables) -> None:
    rows = [row for name in NAMES for row in getattr(tables, name)]
    assert len(rows) == sum(ROWS.values())
    assert all(row.source and row.mark in MARKS for row in rows)


@pytest.mark.parametrize("name", NAMES)
def test_no_row_of_a_table_got_lost(tables: MeasurementTables, name: str) -> None:
    assert len(getattr(tables, name)) == ROWS[name]


def test_rows_set_aside_say_why(tables: MeasurementTables) -> None:
    aside = [row for name in NAMES for row in getattr(tables, name) if not row.usable]
    assert len(aside) == 52 + 43 + 74 + 34 + 13 + 5
    assert all(len(row.text("why_not")) > 10 for row in aside)


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("A1,,read,yes,,1,read", "expected a source"),
        ("A1,Weir 2005,,yes,,1,read", "mark: got nothing, expected one of"),
        ("A1,Weir 2005,read and memory,yes,,1,read", "mark: got .read and memory."),
        ("A1,Weir 2005,read,no,,1,read", "the reason why the row is not used"),
        ("A1,Weir 2005,read,maybe,,1,read", "expected yes or no"),
        ("A1,Weir 2005,read,yes,,1,", "the mark of the figure in sem"),
        ("A1,Weir 2005,read,yes,,1,recalled", "sem_mark: got .recalled."),
        ("A1,Weir 2005,read,yes,,about 4,read", "sem: got .about 4., expected a finite"),
        ("A1,Weir 2005,read,yes,,nan,read", "sem: got .nan., expected a finite number"),
        ("A1,Weir 2005,read,yes,,inf,read", "sem: got .inf., expected a finite number"),
    ],
)
def test_loader_refuses(tmp_path: Path, line: str, message: str) -> None:
    path = tmp_path / "error.csv"
    path.write_text(GOOD + line + "\n", encoding="utf-8")
    with pytest.raises(UserError, match=message) as caught:
        read_measurement_table(path)
    assert "error.csv, line 2" in caught.value.message


def test_loader_refuses_an_id_used_twice(tmp_path: Path) -> None:
    path = tmp_path / "error.csv"
    path.write_text(GOOD + "A1,Weir,read,yes,,1,read\nA1,Weir,read,yes,,2,read\n", encoding="utf-8")
    with pytest.raises(UserError, match="a row id used twice"):
        read_measurement_table(path)


def test_pooled_healthy_spread_is_what_its_formula_gives(tables: MeasurementTables) -> None:
    pooled = next(r for r in tables.usable("side_difference") if "Pooled" in r.source)
    rows = [r for r in tables.usable("side_difference") if r.text("sd_mark") == "computed"
            and r is not pooled]  # fmt: skip
    assert len(rows) == 3
    weights = [r.needed("n") - 1 for r in rows]
    square = sum(w * r.needed("sd") ** 2 for w, r in zip(weights, rows, strict=True)) / sum(weights)
    assert pooled.needed("sd") == pytest.approx(square**0.5, abs=0.05)


def test_recalled_rows_are_never_marked_read(tables: MeasurementTables) -> None:
    recalled = [row for name in NAMES for row in getattr(tables, name) if row.mark == "memory"]
    assert len(recalled) > 50
    assert not any("http" in row.text("address") for row in recalled if row.text("figure_mark"))
