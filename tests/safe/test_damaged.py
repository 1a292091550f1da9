"""Inputs that the fuzzing found: each once made the program crash, hang or show a traceback."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from sidewise.errors import UserError
from sidewise.measure import c3d_apart
from sidewise.measure.landmarks import read_landmarks
from sidewise.reason.batch import run_batch
from sidewise.reason.batch_source import deal, find_source
from tests.safe.fuzz import doors


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
        deal(find_source(tmp_path / "in"), tmp_path / "parts", 1)


@pytest.mark.parametrize("name", ["batch.json", "summary.json"])
@pytest.mark.parametrize("content", ["", "{", "[]", '"x"', "[" * 100_000])
def test_notes_of_a_batch_that_no_batch_wrote_are_refused_in_words(
    name: str, content: str, tmp_path: Path
) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "one.json").write_text(json.dumps(doors.small_record()))
    run_batch(tmp_path / "in", tmp_path / "out")
    (tmp_path / "out" / name).write_text(content)
    with pytest.raises(UserError, match=rf"{name}: got \"something else\""):
        run_batch(tmp_path / "in", tmp_path / "out")
