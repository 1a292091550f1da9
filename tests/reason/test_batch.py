"""A register weighed: the same answers as one by one, resumable, bounded, nothing dropped."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from sidewise.cli import app
from sidewise.errors import UserError
from sidewise.reason import batch as whole
from sidewise.reason import interpret
from sidewise.reason.batch import BatchSummary, run_batch
from sidewise.reason.batch_chunk import Asked, weigh_chunk
from sidewise.reason.batch_records import read_chunk
from sidewise.reason.batch_source import STRETCH_ROWS, chunk_of, deal, dealt, find_source
from sidewise.reason.batch_weigh import (
    Weighed,
    contents,
    judged,
    mean_before,
    mean_parameters,
    same_figures,
    weigh_records,
)
from sidewise.reason.before import before_findings, case_of
from sidewise.reason.engine import network as engine
from sidewise.reason.engine.eliminate import solve
from sidewise.reason.engine.evidence import observed
from sidewise.reason.net import layout
from sidewise.record import Record, read_record, record_json
from sidewise.record.table import contexts_frame, findings_frame
from tests.builders import angle, negative, positive, record

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted(ROOT.glob("examples/*.json"))
# A handful of items keeps these tests short; the whole examinations are weighed in a slow one.
FEW = {"hawkins_kennedy", "neer", "external_rotation_at_side", "empty_can", "painful_arc"}
DRAWS = 100


def short(path: Path) -> Record:
    """An example with a handful of its findings."""
    whole_record = read_record(path)
    some = tuple(finding for finding in whole_record.findings if finding.item in FEW)
    return whole_record.model_copy(update={"findings": some})


@pytest.fixture(scope="module")
def shorts() -> list[Record]:
    found = [short(path) for path in EXAMPLES]
    assert len(found) >= 12
    return found


def tables(records: list[Record], folder: Path, form: str = "parquet") -> Path:
    """The records as the two long tables."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, frame in (
        ("findings", findings_frame(records)),
        ("contexts", contexts_frame(records)),
    ):
        write(frame, folder / f"{name}.{form}")
    return folder


def write(frame: pd.DataFrame, path: Path) -> None:
    if path.suffix == ".csv":
        frame.to_csv(path, index=False)
    else:
        frame.to_parquet(path, index=False)


def documents(records: list[Record], folder: Path) -> Path:
    """The records as one JSON each."""
    folder.mkdir(parents=True, exist_ok=True)
    for one in records:
        (folder / f"{one.id}.json").write_text(record_json(one))
    return folder


def answers(out: Path) -> pd.DataFrame:
    """Every part of an output, in an order that does not depend on the chunks."""
    parts = [pd.read_parquet(path) for path in sorted(out.glob("part-*.parquet"))]
    found = pd.concat([part.astype(dict.fromkeys(WORDS, str)) for part in parts])
    return found.sort_values(["record", "condition", "side"]).reset_index(drop=True)


WORDS = ["region", "setting", "condition", "side", "figures", "flags_raised",
         "flags_not_excluded", "warnings"]  # fmt: skip


def reasons(out: Path) -> list[dict[str, str]]:
    with (out / "set_aside.csv").open(newline="") as file:
        return list(csv.DictReader(file))


# --- The same answers as one by one


def test_draws_give_exactly_what_interpret_gives(shorts: list[Record], tmp_path: Path) -> None:
    some = [one for one in shorts if one.id in ("frozen", "painful-arc")]
    run_batch(documents(some, tmp_path / "in"), tmp_path / "out", draws=DRAWS)
    table = answers(tmp_path / "out").set_index(["record", "condition", "side"])
    assert table.index.is_unique
    compared = 0
    for one in some:
        told = interpret(one, draws=DRAWS)
        parts = [*told.sides["left"].conditions, *told.sides["right"].conditions]
        for condition in [*parts, *told.whole_person.conditions]:
            row = table.loc[(one.id, condition.condition, condition.side or "person")]
            for name in ("prior", "posterior", "low", "high"):
                assert row[name] == pytest.approx(getattr(condition, name), abs=1e-9)
            compared += 1
    assert compared == len(table) >= 60


def alone_by_mean(answer: Weighed) -> np.ndarray:
    """One record under the batch's mean parameters, with its own case and the plain engine."""
    one, said = answer.record, answer.judged
    prior = mean_before(one.region, case_of(one, said.setting), one.context.complaint).prior
    known = mean_parameters(one.region, one.context.complaint, said.setting)
    structure = layout(one.region, one.context.complaint).structure
    network = engine.Network(structure, replace(known, prior=prior[None]))
    assert said.seen is not None
    return np.asarray(solve(network, observed(structure, said.seen.findings)).marginal[0])


def test_shared_rows_give_what_each_record_gives_alone(shorts: list[Record]) -> None:
    outcomes = [(negative, negative), (positive, negative), (positive, positive)]
    made = [
        record(first("hawkins_kennedy", "left"), second("empty_can", "left"), age=age, sex=sex)
        .model_copy(update={"id": f"{place}-{age}-{sex}"})
        for place, (first, second) in enumerate(outcomes)
        for age in (30, 45, 66)
        for sex in ("female", "male")
    ]  # fmt: skip
    weighed = weigh_records([*shorts, *made])
    for answer in weighed:
        expected = alone_by_mean(answer)
        assert answer.posterior == pytest.approx(expected, abs=1e-9)
    assert len(weighed) == len(shorts) + 18


def test_records_that_saw_different_readings_do_not_disturb_one_another() -> None:
    both = record(negative("hawkins_kennedy", "left"), negative("neer", "left"))
    one = record(negative("neer", "left"))
    other = record(negative("hawkins_kennedy", "left"))
    none = record()
    together = weigh_records([both, one, other, none])
    for answer in together:
        alone = weigh_records([answer.record])[0]
        assert answer.posterior == pytest.approx(alone.posterior, abs=1e-12)


@pytest.mark.parametrize("complaint", [[], ["left"], ["left", "right"]])
def test_nothing_examined_gives_the_pretest_figures(complaint: list[str]) -> None:
    answer = weigh_records([record(complaint=complaint)])[0]
    assert answer.posterior == pytest.approx(answer.prior, abs=1e-9)


def test_pretest_figures_of_the_complaint_are_those_of_interpret() -> None:
    told = interpret(record(), draws=DRAWS).sides["left"].conditions
    answer = weigh_records([record()])[0]
    assert answer.prior is not None
    names = layout("shoulder", ("left",)).structure.variable_index
    for condition in told:
        # The figures' draws are centred on them to 1e-9; the complaint is met again to 1e-10.
        here = 1 - answer.prior[names[f"{condition.condition}.left"], 0]
        assert here == pytest.approx(condition.prior, abs=1e-8)
    assert len(told) >= 10


@pytest.mark.parametrize("weeks", [None, 1, 3.9, 4, 30, 104, 105])
def test_rounded_cases_have_the_same_figures(weeks: float | None) -> None:
    swept = 0
    for age in (18, 29, 40, 49, 50, 59, 64, 65, 80, 99, 120):
        one = record(age=age, duration_weeks=weeks)
        exact = before_findings("shoulder", case_of(one, "primary"), ("left",), 10)
        rounded = same_figures("shoulder", case_of(one, "primary"))
        near = before_findings("shoulder", rounded, ("left",), 10)
        assert np.array_equal(exact.prior, near.prior)
        assert near.pretest.rows == exact.pretest.rows
        swept += 1
    assert swept == 11


def test_flags_and_doubts_are_those_of_interpret(shorts: list[Record], tmp_path: Path) -> None:
    hot = read_record(ROOT / "examples" / "hot-joint.json")
    hot = hot.model_copy(update={"findings": tuple(f for f in hot.findings if f.item not in FEW)})
    unsure = record(age=None, setting=None, complaint=[]).model_copy(update={"id": "unsure"})
    some = [hot.model_copy(update={"findings": hot.findings[:25]}), unsure]
    run_batch(documents(some, tmp_path / "in"), tmp_path / "out", draws=DRAWS)
    table = answers(tmp_path / "out")
    for one in some:
        told = interpret(one, draws=DRAWS)
        row = table[table["record"] == one.id].iloc[0]
        raised = [flag.flag for flag in told.red_flags if flag.status == "raised"]
        assert row["flags_raised"] == "; ".join(raised)
        # "Unusual combination" needs a thousand simulated records for each; a batch omits it.
        doubts = [w for w in told.warnings if "unusual combination" not in w]
        assert row["warnings"] == "; ".join(doubts)
    assert "is assumed" in table[table["record"] == "unsure"]["warnings"].iloc[0]


def test_records_taken_for_alike_have_the_same_flags_and_readings() -> None:
    swept: dict[str, set[tuple[object, ...]]] = {}
    for age in (None, *range(121)):
        for weeks in (None, 0, 1, 2, 3, 4, 5, 6, 7, 12, 13, 26, 27, 53):
            one = record(positive("neer", "left"), age=age, duration_weeks=weeks, pain_0_10=7)
            swept.setdefault(contents(one), set()).add((age, weeks))
    assert 10 < len(swept) < 300  # far fewer than the 1,708 records
    compared = 0
    for alike in list(swept.values())[:: len(swept) // 12]:
        ends = sorted(alike, key=str)[:1] + sorted(alike, key=str)[-1:]
        found = [
            judged(record(positive("neer", "left"), age=a, duration_weeks=w, pain_0_10=7), None)
            for a, w in ends
        ]
        assert found[0] == found[1]
        compared += 1
    assert compared >= 12


def test_a_limit_on_a_number_separates_records_on_its_two_sides() -> None:
    below, at = (contents(record(age=age)) for age in (17, 18))
    assert below != at
    assert contents(record(pain_0_10=0)) != contents(record(pain_0_10=None))


def test_under_age_has_one_row_with_its_flags_and_no_figure(tmp_path: Path) -> None:
    child = record(positive("neer", "left"), age=12)
    run_batch(documents([child], tmp_path / "in"), tmp_path / "out")
    table = answers(tmp_path / "out")
    assert len(table) == 1
    assert np.isnan(table["posterior"]).all()
    assert "Under 18" in table["warnings"].item()


@pytest.mark.slow
def test_whole_examinations_are_weighed_as_one_by_one() -> None:
    records = [read_record(path) for path in EXAMPLES]
    weighed = weigh_records(records)
    for answer in weighed:
        assert answer.posterior == pytest.approx(alone_by_mean(answer), abs=1e-9)
    assert len(weighed) == len(EXAMPLES)


# --- Forms of input


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_tables_say_the_same_as_documents(form: str, shorts: list[Record], tmp_path: Path) -> None:
    run_batch(documents(shorts, tmp_path / "in"), tmp_path / "a")
    run_batch(tables(shorts, tmp_path / "tables", form), tmp_path / "b")
    pd.testing.assert_frame_equal(answers(tmp_path / "a"), answers(tmp_path / "b"))


def test_order_of_the_rows_does_not_matter(shorts: list[Record], tmp_path: Path) -> None:
    folder = tables(shorts, tmp_path / "tables")
    run_batch(folder, tmp_path / "a")
    mixed = pd.read_parquet(folder / "findings.parquet").sample(frac=1, random_state=1)
    write(mixed, folder / "findings.parquet")
    run_batch(folder, tmp_path / "b", per_chunk=3)
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
    deal(find_source(tmp_path), tmp_path / "dealt", 3)
    found = [dealt(tmp_path / "dealt", chunk) for chunk in range(3)]
    numbers = np.concatenate([part["findings"]["row"].to_numpy() for part in found])
    assert np.array_equal(np.sort(numbers), np.arange(1, rows + 1))
    for chunk, part in enumerate(found):
        assert {chunk_of(name, 3) for name in part["findings"]["record"].to_pylist()} == {chunk}
    assert sum(part["contexts"].num_rows for part in found) == len(contexts)


# --- Bad rows are counted, with reasons


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


def test_every_bad_record_is_set_aside_with_its_reason(damaged: Path, tmp_path: Path) -> None:
    done = run_batch(damaged, tmp_path / "out")
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
    run_batch(damaged, tmp_path / "out", per_chunk=2)
    table = pd.read_csv(damaged / "findings.csv", dtype=str)
    row = next(r for r in reasons(tmp_path / "out") if r["record"] == "value")
    assert table["degrees"].iloc[int(row["row"]) - 1] == "1650"


def test_no_record_is_lost_between_answers_and_side_file(damaged: Path, tmp_path: Path) -> None:
    run_batch(damaged, tmp_path / "out", per_chunk=2)
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
    done = run_batch(folder, tmp_path / "out")
    found = {row["source"]: row["reason"] for row in reasons(tmp_path / "out")}
    assert set(found) == {"broken.json", "list.json", "same.json", "r1.json"}
    assert "valid JSON" in found["broken.json"]
    assert "one file only" in found["same.json"]
    assert (done.records, done.set_aside) == (0, 4)


def test_a_word_where_a_number_must_be_is_a_reason_not_a_crash(tmp_path: Path) -> None:
    folder = tables([record()], tmp_path / "in", "csv")
    row = {"record": "r1", "item": "acj_tender", "side": "left", "status": "examined",
           "kind": "tenderness", "grade": "sore"}  # fmt: skip
    write(pd.DataFrame([row]), folder / "findings.csv")
    assert run_batch(folder, tmp_path / "out").set_aside == 1
    assert reasons(tmp_path / "out")[0]["row"] == "1"


def test_a_figure_that_is_no_number_is_never_written(monkeypatch: pytest.MonkeyPatch) -> None:
    from sidewise.reason import batch_weigh

    class Failed:
        marginal = np.full((1, 99, 9), np.nan)

    monkeypatch.setattr(batch_weigh, "solve", lambda *_, **__: Failed())
    import pyarrow as pa

    one = record(positive("neer", "left"))
    table = pa.Table.from_pylist([{"record": "r1", "file": "r1.json",
                                   "content": record_json(one).encode()}])  # fmt: skip
    answer = weigh_chunk({"documents": table}, Asked(None, 0))
    assert answer.rows.num_rows == 0
    assert answer.set_aside == 1
    assert "no figure could be computed" in answer.aside[0].reason


# --- What cannot be used at all


def test_an_empty_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="no table and no examination"):
        run_batch(tmp_path, tmp_path / "out")


def test_tables_without_a_record_are_refused(tmp_path: Path) -> None:
    folder = tables([record(positive("neer", "left"))], tmp_path / "in")
    for name in ("contexts", "findings"):
        write(pd.read_parquet(folder / f"{name}.parquet").head(0), folder / f"{name}.parquet")
    with pytest.raises(UserError, match='no record", expected at least one record'):
        run_batch(folder, tmp_path / "out")


def test_contexts_alone_are_refused(tmp_path: Path) -> None:
    folder = tables([record()], tmp_path / "in")
    (folder / "findings.parquet").unlink()
    with pytest.raises(UserError, match="no findings table"):
        run_batch(folder, tmp_path / "out")


def test_an_unknown_column_is_refused_before_anything_is_weighed(tmp_path: Path) -> None:
    folder = tables([record()], tmp_path / "in")
    frame = pd.read_parquet(folder / "contexts.parquet").assign(weight=80)
    write(frame, folder / "contexts.parquet")
    with pytest.raises(UserError, match=r"contexts.parquet: columns: got \"weight\""):
        run_batch(folder, tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_an_unknown_setting_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UserError, match='setting: got "moon"'):
        run_batch(tmp_path, tmp_path / "out", setting="moon")


def test_a_folder_that_holds_something_else_is_refused(tmp_path: Path) -> None:
    folder = documents([record()], tmp_path / "in")
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "letter.txt").write_text("kept")
    with pytest.raises(UserError, match="an empty folder, or an earlier run"):
        run_batch(folder, tmp_path / "out")


# --- An interrupted run goes on


class Stopped(Exception):
    """The power went."""


def interrupted(folder: Path, out: Path, after: int) -> None:
    def told(finished: int, _chunks: int) -> None:
        if finished == after:
            raise Stopped

    with pytest.raises(Stopped):
        run_batch(folder, out, per_chunk=3, told=told)


def test_finished_chunks_are_kept_and_the_rest_is_done(
    shorts: list[Record], tmp_path: Path
) -> None:
    folder, out = tables(shorts, tmp_path / "in"), tmp_path / "out"
    interrupted(folder, out, after=2)
    before = {path: path.stat().st_mtime_ns for path in out.glob("part-*.parquet")}
    assert len(before) == 2
    done = run_batch(folder, out, per_chunk=3)
    assert (done.kept, done.chunks) == (2, 4)
    assert all(path.stat().st_mtime_ns == time_then for path, time_then in before.items())
    run_batch(folder, tmp_path / "once", per_chunk=3)
    pd.testing.assert_frame_equal(answers(out), answers(tmp_path / "once"))


def test_a_finished_run_is_not_done_again(shorts: list[Record], tmp_path: Path) -> None:
    folder = documents(shorts[:2], tmp_path / "in")
    first = run_batch(folder, tmp_path / "out")
    again = run_batch(folder, tmp_path / "out")
    assert (first.kept, again.kept) == (0, 1)
    assert again.records == first.records == 2


@pytest.mark.parametrize("changed", ["input", "asked", "knowledge"])
def test_another_run_in_the_same_folder_is_refused(
    changed: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, out = documents([record()], tmp_path / "in"), tmp_path / "out"
    run_batch(folder, out)
    setting = "orthopaedic" if changed == "asked" else None
    if changed == "input":
        documents([record(positive("neer", "left"))], folder)
    if changed == "knowledge":
        monkeypatch.setattr(whole, "knowledge_version", lambda _region: "another")
    with pytest.raises(UserError, match=f"batch.json: {changed}"):
        run_batch(folder, out, setting=setting)


@pytest.mark.slow
def test_a_killed_process_is_taken_up_where_it_stopped(
    shorts: list[Record], tmp_path: Path
) -> None:
    many = [one.model_copy(update={"id": f"{one.id}-{i}"}) for one in shorts for i in range(20)]
    folder, out = tables(many, tmp_path / "in"), tmp_path / "out"
    code = "import sys; from pathlib import Path; from sidewise.reason.batch import run_batch; " \
           "run_batch(Path(sys.argv[1]), Path(sys.argv[2]), per_chunk=3)"  # fmt: skip
    process = subprocess.Popen([sys.executable, "-c", code, str(folder), str(out)])
    deadline = time.monotonic() + 60
    while len(list(out.glob("part-*.parquet"))) < 2 and time.monotonic() < deadline:
        time.sleep(0.005)
    process.send_signal(signal.SIGKILL)
    assert process.wait() == -signal.SIGKILL
    done = run_batch(folder, out, per_chunk=3)
    assert 2 <= done.kept < done.chunks == 80
    assert done.records == len(many) == answers(out)["record"].nunique()


# --- The command


def command(*words: str) -> tuple[int, str]:
    found = CliRunner().invoke(app, ["batch", *words])
    if found.exception is not None and not isinstance(found.exception, SystemExit):
        raise found.exception
    return found.exit_code, found.output


def test_the_command_says_how_many_and_which_figures(tmp_path: Path) -> None:
    folder = documents([record()], tmp_path / "in")
    status, text = command(str(folder), str(tmp_path / "out"))
    assert status == 0
    assert "1 records weighed (mean parameters), 0 set aside" in text
    assert "does not diagnose" in text


def test_the_command_ends_with_1_if_anything_was_set_aside(damaged: Path, tmp_path: Path) -> None:
    status, text = command(str(damaged), str(tmp_path / "out"))
    assert status == 1
    assert "1 records weighed" in text
    assert "set_aside.csv" in text


def test_the_command_ends_with_2_if_nothing_can_be_used(tmp_path: Path) -> None:
    program = str(Path(sys.executable).parent / "sidewise")
    found = subprocess.run(
        [program, "batch", str(tmp_path), str(tmp_path / "o")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert found.returncode == 2
    assert "no table and no examination" in found.stderr
    assert "Traceback" not in found.stderr


def test_too_few_draws_for_an_interval_are_refused(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="--draws: got 20"):
        command(str(tmp_path), str(tmp_path / "out"), "--draws", "20")


# --- Bounded memory, and a cluster

ITEMS = ("neer", "hawkins_kennedy", "empty_can", "apprehension")


def register(count: int, folder: Path) -> Path:
    """Tables of so many short invented records, four manoeuvres on one side each."""
    rng = np.random.default_rng(3)
    ids = np.array([f"island-{i:07d}" for i in range(count)])
    side = np.where(rng.random(count) < 0.5, "left", "right")
    contexts = pd.DataFrame(
        {
            "record": ids, "region": "shoulder", "patient": "HERON-1", "examiner": "E1",
            "examined_at": "2026-03-02T09:40:00+00:00", "complaint": side,
            "age": rng.integers(18, 90, count), "setting": "primary",
            "sex": np.where(rng.random(count) < 0.5, "female", "male"),
        }
    )  # fmt: skip
    found = rng.random(count * len(ITEMS)) < 0.4
    findings = pd.DataFrame(
        {
            "record": np.repeat(ids, len(ITEMS)), "item": np.tile(ITEMS, count),
            "side": np.repeat(side, len(ITEMS)), "status": "examined", "kind": "result",
            "result": np.where(found, "positive", "negative"),
        }
    )  # fmt: skip
    folder.mkdir()
    write(contexts, folder / "contexts.parquet")
    write(findings, folder / "findings.parquet")
    return folder


MEASURED = """
import re, sys
from pathlib import Path
from sidewise.reason.batch import run_batch
done = run_batch(Path(sys.argv[1]), Path(sys.argv[2]))
# Not getrusage: its peak is inherited from the process that started this one.
print(done.records, re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1])
"""


def measured(folder: Path, out: Path) -> tuple[int, float]:
    """Records weighed in a process of its own, and its largest memory in MB."""
    single = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, "-c", MEASURED, str(folder), str(out)],
        capture_output=True, text=True, check=True, env={**os.environ, **single},
    )  # fmt: skip
    records, kilobytes = done.stdout.split()
    return int(records), int(kilobytes) / 1024


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="peak memory is read from proc")
def test_memory_does_not_grow_with_the_register(tmp_path: Path) -> None:
    small = measured(register(2_000, tmp_path / "small"), tmp_path / "a")
    large = measured(register(20_000, tmp_path / "large"), tmp_path / "b")
    assert (small[0], large[0]) == (2_000, 20_000)
    # Required of a million records: under 1 GB. Ten times the records may cost what allocators
    # keep back, 100 MB; at one record of 1 kB kept in memory a million would show as 1 GB.
    assert large[1] < 1_000
    assert large[1] - small[1] < 100


@pytest.fixture
def cluster() -> Iterator[str]:
    """Two workers in this process, and a scheduler's address."""
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=False, protocol="tcp",
        dashboard_address=None, silence_logs=50,
    ) as found:  # fmt: skip
        yield found.scheduler_address


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::DeprecationWarning:distributed")
def test_a_cluster_gives_the_same(shorts: list[Record], cluster: str, tmp_path: Path) -> None:
    folder = tables(shorts, tmp_path / "in")
    here = run_batch(folder, tmp_path / "here", per_chunk=2)
    there = run_batch(folder, tmp_path / "there", per_chunk=2, scheduler=cluster)
    assert isinstance(there, BatchSummary)
    assert there == here
    pd.testing.assert_frame_equal(answers(tmp_path / "here"), answers(tmp_path / "there"))


@pytest.mark.slow
def test_a_scheduler_that_does_not_answer_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(whole, "PATIENCE", "1s")
    folder = documents([record()], tmp_path / "in")
    with pytest.raises(UserError, match="a Dask scheduler that answers"):
        run_batch(folder, tmp_path / "out", scheduler="tcp://127.0.0.1:9")


def test_the_summary_names_what_was_asked(tmp_path: Path) -> None:
    folder = documents([record()], tmp_path / "in")
    run_batch(folder, tmp_path / "out", setting="orthopaedic")
    told = json.loads((tmp_path / "out" / "batch.json").read_text())
    assert told["asked"] == {"setting": "orthopaedic", "draws": 0}
    assert set(answers(tmp_path / "out")["setting"]) == {"orthopaedic"}


def test_an_empty_chunk_has_nothing_to_say() -> None:
    assert read_chunk({}).records == ()
