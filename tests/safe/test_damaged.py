"""Inputs that the fuzzing found: each once made the program crash, hang or show a traceback."""

from __future__ import annotations

import json
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from sidewise.errors import UserError
from sidewise.measure.motion import c3d_apart
from sidewise.measure.motion.landmarks import read_landmarks
from sidewise.reason.batch.run import run_batch
from sidewise.reason.batch.source import deal_into_chunks, find_source
from sidewise.record.ledger import Folded
from sidewise.record.reading import parse_record
from sidewise.record.table import findings_frame
from sidewise.regions import regions
from sidewise.teaching.tables.marks_table import read_marks
from sidewise.web.examinations.entries import entries_from_form
from tests.safe.fuzz import doors
from tests.shoulder import REGIONS, WORDS


# Parameter, distance of the byte from its name, what it is changed to.
@pytest.mark.parametrize(
    ("parameter", "place", "value"),
    [(b"RATIO", 11, 255), (b"CAL_MATRIX", 15, 219), (b"CONTACT", 10, 85)],
    ids=["ended the process", "asked for gigabytes", "came to no end"],
)
def test_one_changed_byte_of_a_c3d_file_is_refused_in_words(
    parameter: bytes, place: int, value: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(c3d_apart, "SECONDS", 3)
    whole = doors.c3d_seeds()[0]
    at = whole.index(parameter) + place
    path = tmp_path / "walk.c3d"
    path.write_bytes(whole[:at] + bytes([value]) + whole[at + 1 :])
    with pytest.raises(UserError, match=r"walk\.c3d: .*expected a readable C3D file"):
        read_landmarks(path, side="left")


def test_a_parquet_table_with_whole_names_and_damaged_pages_is_refused_in_words(
    tmp_path: Path,
) -> None:
    whole = doors.parquet_seeds()[0]
    (tmp_path / "in").mkdir()
    (tmp_path / "parts").mkdir()
    (tmp_path / "in" / "contexts.csv").write_bytes(doors.table_seeds("contexts")()[0])
    # The first page; names and types stand at the end of the file.
    damaged = whole[:4] + b"\xff" * 60 + whole[64:]
    (tmp_path / "in" / "findings.parquet").write_bytes(damaged)
    with pytest.raises(UserError, match=r"findings\.parquet: .*expected a whole Parquet file"):
        deal_into_chunks(find_source(tmp_path / "in", WORDS), tmp_path / "parts", 1)


def test_bytes_that_are_no_text_in_a_parquet_table_are_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "parts").mkdir()
    (tmp_path / "in" / "contexts.csv").write_bytes(doors.table_seeds("contexts")()[0])
    record = parse_record(json.dumps(doors.small_record()), REGIONS)
    table = pa.Table.from_pandas(findings_frame([record], WORDS), preserve_index=False)
    raw = pa.array([b"\xff\xfe"] * len(table), pa.binary()).view(pa.string())
    table = table.set_column(table.column_names.index("note"), "note", raw)
    pq.write_table(table, tmp_path / "in" / "findings.parquet", use_dictionary=False)
    with pytest.raises(UserError, match=r"findings\.parquet: .*expected a whole Parquet file"):
        deal_into_chunks(find_source(tmp_path / "in", WORDS), tmp_path / "parts", 1)


def test_a_parquet_column_whose_name_is_no_text_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "contexts.csv").write_bytes(doors.table_seeds("contexts")()[0])
    # In Parquet's own description of the columns; the copy for Arrow is in base 64.
    damaged = doors.parquet_seeds()[0].replace(b"sensation", b"sens\xc6tion")
    (tmp_path / "findings.parquet").write_bytes(damaged)
    with pytest.raises(UserError, match=r"findings\.parquet: .*expected a Parquet file"):
        find_source(tmp_path, WORDS)


@pytest.mark.parametrize("content", [b"\n\n\nJ1,history,i01,0.4\n", b"\xef\xbb\xbf", b"\n", b"\r"])
def test_a_table_that_begins_with_nothing_is_refused_in_words(
    content: bytes, tmp_path: Path
) -> None:
    (tmp_path / "marks.csv").write_bytes(content)
    with pytest.raises(UserError, match=r"marks\.csv"):
        read_marks(tmp_path / "marks.csv")


def test_a_column_that_stands_twice_in_a_table_is_refused_in_words(tmp_path: Path) -> None:
    findings = doors.table_seeds("findings")()[0].replace(b",mode,", b",item,", 1)
    (tmp_path / "contexts.csv").write_bytes(doors.table_seeds("contexts")()[0])
    (tmp_path / "findings.csv").write_bytes(findings)
    with pytest.raises(UserError, match=r"findings\.csv: columns: got \"item twice\""):
        find_source(tmp_path, WORDS)


@pytest.mark.parametrize("content", ["5", "[", "null", "[" * 100_000, '"x"', "[1]", '{"a": 1}'])
@pytest.mark.parametrize("field", ["findings", "value"])
def test_a_form_with_json_of_another_shape_is_refused_in_words(field: str, content: str) -> None:
    folded = Folded(record=parse_record(json.dumps(doors.small_record()), REGIONS), holders={})
    with pytest.raises(UserError):
        entries_from_form({"places": "neer left", field: content}, folded, "E2", "E1")


@pytest.mark.parametrize("name", ["batch.json", "summary.json"])
@pytest.mark.parametrize("content", ["", "{", "[]", '"x"', "[" * 100_000])
def test_notes_of_a_batch_that_no_batch_wrote_are_refused_in_words(
    name: str, content: str, tmp_path: Path
) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "one.json").write_text(json.dumps(doors.small_record()))
    run_batch(tmp_path / "in", tmp_path / "out", regions)
    (tmp_path / "out" / name).write_text(content)
    with pytest.raises(UserError, match=rf"{name}: got \"something else\""):
        run_batch(tmp_path / "in", tmp_path / "out", regions)


def test_a_bank_of_stations_with_an_endless_cell_is_refused_in_words(tmp_path: Path) -> None:
    from sidewise.teaching.tables.station_bank import NAMES, read_bank

    bank = tmp_path / "bank.csv"
    bank.write_text(",".join(NAMES) + "\n" + "x" * 200_000)
    with pytest.raises(UserError, match=r"bank\.csv: got .*a bank of stations that can be read"):
        read_bank(bank)
