"""Tables out and in: what leaves comes back, the dictionary is right, and no cell runs."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from zipfile import ZIP_DEFLATED, ZipFile

import pandas as pd
import pyarrow.parquet as pq
import pytest
from csvw import CSVW
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

import sidewise
from sidewise.errors import UserError, UserErrors
from sidewise.exchange.tables import record_source as record_source_module
from sidewise.exchange.tables.columns import context_columns, finding_columns
from sidewise.exchange.tables.export import ExportWish, export_tables
from sidewise.exchange.tables.intake import record_file_name, take_in_records
from sidewise.exchange.tables.record_source import record_source
from sidewise.ground.tables import plain_cell, safe_cell
from sidewise.record import Record, read_record
from sidewise.record.model import Conclusion
from sidewise.record.table import table_columns
from tests.builders import angle, record
from tests.shoulder import REGIONS, WORDS

ROOT = Path(__file__).parents[2]
EXAMPLES = [ROOT / "examples" / f"{name}.json" for name in ("frozen", "hot-joint", "winging")]
FORMS = [("csv", "long"), ("csv", "wide"), ("parquet", "long"), ("parquet", "wide"),
         ("xlsx", "long"), ("xlsx", "wide")]  # fmt: skip


def exported(records: list[Record], folder: Path, form: str = "csv", shape: str = "long") -> Path:
    export_tables(iter(records), folder, REGIONS, ExportWish(form, shape))
    return folder


def taken_in(folder: Path, out: Path) -> dict[str, Record]:
    take_in_records(record_source([folder]).entries(REGIONS), out)
    return {r.id: r for r in (read_record(path, REGIONS) for path in sorted(out.glob("*.json")))}


def as_tabled(one: Record) -> dict[str, object]:
    """What tables hold of a record; the order of findings means nothing."""
    context = one.context.model_copy(update={"follows": None, "disputed": {}})
    findings = sorted(f.model_dump_json() for f in one.findings)
    return {"context": context, "findings": findings, "care": one.care,
            "conclusion": one.conclusion}  # fmt: skip


@pytest.mark.parametrize(("form", "shape"), FORMS)
def test_the_examples_come_back_from_every_form(form: str, shape: str, tmp_path: Path) -> None:
    records = [read_record(path, REGIONS) for path in EXAMPLES]
    back = taken_in(exported(records, tmp_path / "out", form, shape), tmp_path / "in")
    assert {r.id for r in records} == set(back)
    for one in records:
        assert as_tabled(back[one.id]) == as_tabled(one)
        assert len(one.findings) > 100


NASTY = ("=1+1", "'=1", "@SUM(A1)", "\tx", "+ 5", "-5 and more", "＝1", "a\nb", 'say "x", y',
         "_x0041_", "-", "'", " led by a blank", "bell \x07")  # fmt: skip


@pytest.mark.parametrize(("form", "shape"), FORMS)
def test_no_cell_runs_in_a_spreadsheet_and_every_text_comes_back(
    form: str, shape: str, tmp_path: Path
) -> None:
    notes = [
        angle("flexion", "left", 90, "active").model_copy(update={"note": text, "repeat": n})
        for n, text in enumerate(NASTY, start=1)
    ]
    one = record(*notes).model_copy(
        update={"conclusion": Conclusion(impression="=cmd|'/c calc'!A1", plan=("=A1", "rest"))}
    )
    folder = exported([one], tmp_path / "out", form, shape)
    assert as_tabled(taken_in(folder, tmp_path / "in")["r1"]) == as_tabled(one)
    if form == "csv":
        texts = [cell for path in folder.glob("*.csv") for row in _rows(path) for cell in row]
    elif form == "xlsx":
        book = load_workbook(folder / "examinations.xlsx")
        cells = [cell for sheet in book for row in sheet for cell in row if cell.value is not None]
        assert all(cell.data_type != "f" for cell in cells)
        texts = [str(cell.value) for cell in cells if isinstance(cell.value, str)]
    else:
        return
    assert len(texts) > 100
    assert not [t for t in texts if t.startswith(("=", "+", "@", "\t", "\r")) and not _number(t)]


def _rows(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


def _number(text: str) -> bool:
    return text.lstrip("+-").replace(".", "").isdigit()


@settings(max_examples=60)
@given(st.text(alphabet="=+-@\t\r\n'＝a1 ", max_size=6))
def test_a_cell_that_was_made_safe_is_told_from_one_that_was_not(text: str) -> None:
    assert plain_cell(safe_cell(text)) == text


def test_every_column_is_described() -> None:
    columns = (*context_columns(REGIONS), *finding_columns(WORDS))
    assert tuple(one.name for one in finding_columns(WORDS)) == table_columns(WORDS)
    assert all(one.about.endswith(".") for one in columns)
    assert len(columns) > 150
    types = {one.name: one.type for one in columns}
    expected = {"degrees": "number", "pain": "boolean", "repeat": "integer", "grade": "text",
                "examined_at": "datetime", "weakness": "boolean"}  # fmt: skip
    assert {name: types[name] for name in expected} == expected


@pytest.mark.parametrize("shape", ["long", "wide"])
def test_the_metadata_are_read_by_a_library_of_the_standard(shape: str, tmp_path: Path) -> None:
    """CSVW (W3C 2015) as the library `csvw` reads it: every cell has the type said."""
    records = [read_record(path, REGIONS) for path in EXAMPLES]
    folder = exported(records, tmp_path / "out", shape=shape)
    read = CSVW(str(folder / "csv-metadata.json"), validate=True)
    assert read.is_valid
    tables = {str(table.url): list(table) for table in read.tables}
    first = next(iter(tables.values()))[0]
    assert first["age"] == records[0].context.age
    assert first["examined_at"] == records[0].context.examined_at
    if shape == "long":
        assert len(tables["findings.csv"]) == sum(len(r.findings) for r in records)
        degrees = [row["degrees"] for row in tables["findings.csv"] if row["degrees"] is not None]
        assert len(degrees) > 20
        assert all(isinstance(number, float) for number in degrees)


def test_parquet_has_the_types_of_the_dictionary(tmp_path: Path) -> None:
    folder = exported([read_record(EXAMPLES[0], REGIONS)], tmp_path / "out", "parquet")
    schema = pq.read_schema(folder / "findings.parquet")
    assert str(schema.field("degrees").type) == "double"
    assert str(schema.field("pain").type) == "bool"
    assert schema.field("degrees").metadata[b"unit"] == b"degrees"


def test_the_codebook_names_every_column_once(tmp_path: Path) -> None:
    folder = exported([read_record(EXAMPLES[0], REGIONS)], tmp_path / "out", "xlsx", "wide")
    head, *rows = _rows(folder / "codebook.csv")
    assert head[:3] == ["table", "column", "type"]
    sheet = load_workbook(folder / "examinations.xlsx", read_only=True)["wide"]
    names = next(sheet.iter_rows(values_only=True))
    assert [row[1] for row in rows] == list(names)
    assert len(names) > 300


def _spoilt(folder: Path, name: str, line: int, column: str, cell: str) -> None:
    rows = _rows(folder / name)
    rows[line][rows[0].index(column)] = cell
    with (folder / name).open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)


@pytest.mark.parametrize(
    ("shape", "name", "column", "cell", "said"),
    [
        ("long", "findings.csv", "degrees", "1650", "row 2 .*degrees"),
        ("long", "findings.csv", "side", "rigth", "row 2 .*side"),
        ("long", "findings.csv", "item", "flexoin", "row 2 .*Did you mean flexion"),
        ("long", "contexts.csv", "age", "580", "row 1 .*age"),
        ("long", "contexts.csv", "plan", "rest", "row 1 .*plan"),
        ("wide", "wide.csv", "flexion.right.active.degrees", "2.9 rad", "row 1 .*degrees"),
        ("wide", "wide.csv", "history.fever", "maybe", "row 1 .*fever"),
    ],
)
def test_a_fault_is_said_with_its_row_and_nothing_is_written(
    shape: str, name: str, column: str, cell: str, said: str, tmp_path: Path
) -> None:
    one = record(angle("flexion", "left", 90, "active"), angle("flexion", "right", 95, "active"),
                 history={"fever": "no"})  # fmt: skip
    folder = exported([one], tmp_path / "out", shape=shape)
    _spoilt(folder, name, 2 if name == "findings.csv" else 1, column, cell)
    with pytest.raises(UserErrors, match=said):
        take_in_records(record_source([folder]).entries(REGIONS), tmp_path / "in")
    assert list((tmp_path / "in").iterdir()) == []


def test_the_records_without_a_fault_are_kept_when_asked(tmp_path: Path) -> None:
    good = record(angle("flexion", "left", 90, "active"))
    bad = good.model_copy(update={"id": "r2"})
    folder = exported([good, bad], tmp_path / "out")
    _spoilt(folder, "findings.csv", 2, "degrees", "inf")
    done = take_in_records(
        record_source([folder]).entries(REGIONS), tmp_path / "in", keep_good=True
    )
    assert done.files == ("r1.json",)
    assert [one.record for one in done.set_aside] == ["r2"]


def test_nothing_is_written_over(tmp_path: Path) -> None:
    folder = exported([record(angle("flexion", "left", 90, "active"))], tmp_path / "out")
    with pytest.raises(UserError, match="nothing is written over"):
        exported([record()], folder)
    taken_in(folder, tmp_path / "in")
    with pytest.raises(UserError, match="nothing is written over"):
        taken_in(folder, tmp_path / "in")


def test_a_record_given_twice_is_set_aside_the_second_time(tmp_path: Path) -> None:
    one = ROOT / "examples" / "frozen.json"
    (tmp_path / "again.json").write_bytes(one.read_bytes())
    source = record_source([one, tmp_path / "again.json"])
    summary = export_tables(source.entries(REGIONS), tmp_path / "out", REGIONS, ExportWish())
    assert (summary.records, len(summary.set_aside)) == (1, 1)
    assert "again.json" in (tmp_path / "out" / "set_aside.csv").read_text()


@pytest.mark.parametrize("name", ["../../etc/passwd", "", ".hidden", "a/b", "x" * 200, "CON\x00"])
def test_no_record_names_a_file_outside_its_folder(name: str) -> None:
    made = record_file_name(name)
    assert Path(made).name == made
    assert made.endswith(".json")
    assert not made.startswith(".")
    assert made.isascii()


def test_a_workbook_that_unpacks_to_too_much_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The size is read from the directory of the package, before anything is unpacked."""
    with ZipFile(tmp_path / "big.xlsx", "w", ZIP_DEFLATED) as packed:
        packed.writestr("xl/worksheets/sheet1.xml", bytes(2_000_000))
    assert (tmp_path / "big.xlsx").stat().st_size < 10_000
    monkeypatch.setattr(record_source_module, "UNPACKED_BYTES", 1_999_999)
    with pytest.raises(UserError, match="when unpacked"):
        list(record_source([tmp_path / "big.xlsx"]).entries(REGIONS))


@pytest.mark.parametrize("wish", [("xls", "long"), ("csv", "tall")])
def test_an_unknown_form_or_shape_is_refused(wish: tuple[str, str]) -> None:
    with pytest.raises(UserError, match="expected"):
        ExportWish(*wish)


def test_the_metadata_say_that_an_empty_cell_is_not_normal(tmp_path: Path) -> None:
    folder = exported([record()], tmp_path / "out")
    told = json.loads((folder / "csv-metadata.json").read_text())
    assert "never means normal" in told["dc:description"]
    assert "never means normal" in (folder / "about.txt").read_text()


def test_a_researcher_starts_from_an_export(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The lines of docs/tables.md, run on an export, and the register read whole."""
    records = [read_record(path, REGIONS) for path in EXAMPLES]
    folder = exported(records, tmp_path / "register", "parquet")
    page = (ROOT / "docs" / "tables.md").read_text()
    lines = page.split("```python\n")[1].split("```")[0]
    monkeypatch.chdir(tmp_path)
    found: dict[str, object] = {}
    exec(lines.replace("rotation.pivot", "table = rotation.pivot"), found)
    table = found["table"]
    assert isinstance(table, pd.DataFrame)
    assert table.loc["frozen"].to_dict() == {"left": 15.0, "right": 65.0}
    register = sidewise.read_register(folder)
    assert {one.id for one in register} == {one.id for one in records}
    assert register.set_aside == ()
