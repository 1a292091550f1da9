"""Forms of a register: tables and documents, bad rows and what is refused; nothing is dropped."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sidewise.errors import UserError
from sidewise.reason.batch.chunk import BatchOptions, weigh_chunk
from sidewise.reason.batch.run import run_batch
from sidewise.reason.batch.source import (
    STRETCH_ROWS,
    chunk_of,
    deal_into_chunks,
    dealt_chunk,
    find_source,
)
from sidewise.record import Record, record_json
from sidewise.regions import regions
from tests.builders import positive, record
from tests.reason.registers import (
    answers,
    documents,
    reasons,
    tables,
    write,
)
from tests.shoulder import WORDS

# --- Forms of input


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_tables_say_the_same_as_documents(form: str, shorts: list[Record], tmp_path: Path) -> None:
    run_batch(documents(shorts, tmp_path / "in"), tmp_path / "a", regions)
    run_batch(tables(shorts, tmp_path / "tables", form), tmp_path / "b", regions)
    pd.testing.assert_frame_equal(answers(tmp_path / "a"), answers(tmp_path / "b"))


def test_order_of_the_rows_does_not_matter(shorts: list[Record], tmp_path: Path) -> None:
    folder = tables(shorts, tmp_path / "tables")
    run_batch(folder, tmp_path / "a", regions)
    mixed = pd.read_parquet(folder / "findings.parquet").sample(frac=1, random_state=1)
    write(mixed, folder / "findings.parquet")
    run_batch(folder, tmp_path / "b", regions, per_chunk=3)
    a, b = answers(tmp_path / "a"), answers(tmp_path / "b")
    pd.testing.assert_frame_equal(a, b, rtol=0, atol=1e-12)


def test_long_tables_are_dealt_stretch_by_stretch(tmp_path: Path) -> None:
    rows = 2 * STRETCH_ROWS + 5
    ids = [f"r{i // 7}" for i in range(rows)]
    frame = pd.DataFrame({"record": ids, "item": "neer", "side": "left", "status": "examined"})
    contexts = pd.DataFrame(
        {
            "record": sorted(set(ids)), "region": "shoulder", "patient": "HERON-1",
            "examined_at": "2026-03-02T09:40:00+00:00", "examiner": "E1",
        }
    )  # fmt: skip
    write(frame, tmp_path / "findings.parquet")
    write(contexts, tmp_path / "contexts.parquet")
    deal_into_chunks(find_source(tmp_path, WORDS), tmp_path / "dealt", 3)
    found = [dealt_chunk(tmp_path / "dealt", chunk) for chunk in range(3)]
    numbers = np.concatenate([part["findings"]["row"].to_numpy() for part in found])
    assert np.array_equal(np.sort(numbers), np.arange(1, rows + 1))
    for chunk, part in enumerate(found):
        assert {chunk_of(name, 3) for name in part["findings"]["record"].to_pylist()} == {chunk}
    assert sum(part["contexts"].num_rows for part in found) == len(contexts)


# --- Bad rows are counted, with reasons


def test_every_bad_record_is_set_aside_with_its_reason(damaged: Path, tmp_path: Path) -> None:
    done = run_batch(damaged, tmp_path / "out", regions)
    assert set(answers(tmp_path / "out")["record"]) == {"sound"}
    told = {(row["record"], row["source"]): row["reason"] for row in reasons(tmp_path / "out")}
    assert "near" in told["item", "findings"]
    assert "degrees" in told["value", "findings"]
    assert "1650" in told["value", "findings"]
    assert "left" in told["side", "findings"]
    assert "age" in told["age", "contexts"]
    assert "one context" in told["twice", "contexts"]
    assert "wing" in told["region", "contexts"]
    assert "has a context" in told["nobody", "findings"]
    assert done.records == 1
    # Two contexts of the record given twice, five other bad records, one that has no context.
    assert done.set_aside == 8
    assert done.reasons == len(reasons(tmp_path / "out"))


def test_a_bad_row_is_named_by_its_number(damaged: Path, tmp_path: Path) -> None:
    run_batch(damaged, tmp_path / "out", regions, per_chunk=2)
    table = pd.read_csv(damaged / "findings.csv", dtype=str)
    row = next(r for r in reasons(tmp_path / "out") if r["record"] == "value")
    assert table["degrees"].iloc[int(row["row"]) - 1] == "1650"


def test_no_record_is_lost_between_answers_and_side_file(damaged: Path, tmp_path: Path) -> None:
    run_batch(damaged, tmp_path / "out", regions, per_chunk=2)
    given = set(pd.read_csv(damaged / "contexts.csv")["record"])
    seen = set(answers(tmp_path / "out")["record"])
    aside = {row["record"] for row in reasons(tmp_path / "out")}
    assert not seen & aside
    assert seen | aside == given | {"nobody"}


def test_bad_documents_are_set_aside_by_file_name(tmp_path: Path) -> None:
    folder = documents([record()], tmp_path / "in")
    (folder / "broken.json").write_text('{"format": ')
    (folder / "list.json").write_text("[1, 2]")
    (folder / "same.json").write_text(record_json(record(positive("neer", "left"))))
    done = run_batch(folder, tmp_path / "out", regions)
    found = {row["source"]: row["reason"] for row in reasons(tmp_path / "out")}
    assert set(found) == {"broken.json", "list.json", "same.json", "r1.json"}
    assert "valid JSON" in found["broken.json"]
    assert "one file only" in found["same.json"]
    assert (done.records, done.set_aside) == (0, 4)


def test_an_id_with_half_a_character_is_set_aside_and_the_others_go_on(tmp_path: Path) -> None:
    folder = documents([record()], tmp_path / "in")
    (good,) = folder.glob("*.json")
    data = json.loads(good.read_text())
    (folder / "half.json").write_text(json.dumps({**data, "id": "a\ud800"}))
    run_batch(folder, tmp_path / "out", regions)
    (told,) = reasons(tmp_path / "out")
    assert told["reason"].startswith("id: got")
    assert set(answers(tmp_path / "out")["record"]) == {data["id"]}


@pytest.mark.parametrize("start", ["=", "+", "-", "@"])
def test_no_cell_of_the_list_is_a_formula(tmp_path: Path, start: str) -> None:
    """OWASP, CSV injection: a cell that begins so is computed when a spreadsheet opens it."""
    folder = documents([record()], tmp_path / "in")
    (folder / f"{start}HYPERLINK(1).json").write_text("{}")
    run_batch(folder, tmp_path / "out", regions)
    with (tmp_path / "out" / "set_aside.csv").open(newline="", encoding="utf-8") as file:
        cells = [cell for row in csv.reader(file) for cell in row]
    assert any("HYPERLINK" in cell for cell in cells)
    assert not any(cell.startswith(("=", "+", "-", "@")) for cell in cells)


def test_a_word_where_a_number_must_be_is_a_reason_not_a_crash(tmp_path: Path) -> None:
    folder = tables([record()], tmp_path / "in", "csv")
    row = {"record": "r1", "item": "acj_tender", "side": "left", "status": "examined",
           "kind": "tenderness", "grade": "sore"}  # fmt: skip
    write(pd.DataFrame([row]), folder / "findings.csv")
    assert run_batch(folder, tmp_path / "out", regions).set_aside == 1
    assert reasons(tmp_path / "out")[0]["row"] == "1"


def test_a_figure_that_is_no_number_is_never_written(monkeypatch: pytest.MonkeyPatch) -> None:
    from sidewise.reason.batch import posteriors as batch_weigh

    class Failed:
        marginal = np.full((1, 99, 9), np.nan)

    monkeypatch.setattr(batch_weigh, "solve", lambda *_, **__: Failed())
    import pyarrow as pa

    one = record(positive("neer", "left"))
    table = pa.Table.from_pylist([{"record": "r1", "file": "r1.json",
                                   "content": record_json(one).encode()}])  # fmt: skip
    answer = weigh_chunk({"documents": table}, BatchOptions(None, 0), regions)
    assert answer.rows.num_rows == 0
    assert answer.set_aside == 1
    assert "no figure could be computed" in answer.aside[0].reason


# --- What cannot be used at all


def test_an_empty_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="no table and no examination"):
        run_batch(tmp_path, tmp_path / "out", regions)


def test_tables_without_a_record_are_refused(tmp_path: Path) -> None:
    folder = tables([record(positive("neer", "left"))], tmp_path / "in")
    for name in ("contexts", "findings"):
        write(pd.read_parquet(folder / f"{name}.parquet").head(0), folder / f"{name}.parquet")
    with pytest.raises(UserError, match='no record", expected at least one record'):
        run_batch(folder, tmp_path / "out", regions)


def test_contexts_alone_are_refused(tmp_path: Path) -> None:
    folder = tables([record()], tmp_path / "in")
    (folder / "findings.parquet").unlink()
    with pytest.raises(UserError, match="no findings table"):
        run_batch(folder, tmp_path / "out", regions)


def test_an_unknown_column_is_refused_before_anything_is_weighed(tmp_path: Path) -> None:
    folder = tables([record()], tmp_path / "in")
    frame = pd.read_parquet(folder / "contexts.parquet").assign(weight=80)
    write(frame, folder / "contexts.parquet")
    with pytest.raises(UserError, match=r"contexts.parquet: columns: got \"weight\""):
        run_batch(folder, tmp_path / "out", regions)
    assert not (tmp_path / "out").exists()


def test_an_unknown_setting_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UserError, match='setting: got "moon"'):
        run_batch(tmp_path, tmp_path / "out", regions, setting="moon")


def test_a_folder_that_holds_something_else_is_refused(tmp_path: Path) -> None:
    folder = documents([record()], tmp_path / "in")
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "letter.txt").write_text("kept")
    with pytest.raises(UserError, match="an empty folder, or an earlier run"):
        run_batch(folder, tmp_path / "out", regions)
