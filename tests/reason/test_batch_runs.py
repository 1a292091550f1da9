"""A run over a register: resumed, bounded, on a cluster, and told by the command."""

from __future__ import annotations

import json
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from sidewise.cli import app
from sidewise.errors import UserError
from sidewise.reason.batch import run as whole
from sidewise.reason.batch.records import read_chunk
from sidewise.reason.batch.run import BatchSummary, run_batch
from sidewise.record import Record
from sidewise.regions import regions
from tests.builders import positive, record
from tests.reason.registers import (
    answers,
    documents,
    tables,
    write,
)
from tests.shoulder import REGIONS

# --- An interrupted run goes on


class Stopped(Exception):
    """The power went."""


def interrupted(folder: Path, out: Path, after: int) -> None:
    def told(finished: int, _chunks: int) -> None:
        if finished == after:
            raise Stopped

    with pytest.raises(Stopped):
        run_batch(folder, out, regions, per_chunk=3, progress=told)


def test_finished_chunks_are_kept_and_the_rest_is_done(
    shorts: list[Record], tmp_path: Path
) -> None:
    folder, out = tables(shorts, tmp_path / "in"), tmp_path / "out"
    interrupted(folder, out, after=2)
    before = {path: path.stat().st_mtime_ns for path in out.glob("part-*.parquet")}
    assert len(before) == 2
    done = run_batch(folder, out, regions, per_chunk=3)
    assert (done.kept, done.chunks) == (2, 4)
    assert all(path.stat().st_mtime_ns == time_then for path, time_then in before.items())
    run_batch(folder, tmp_path / "once", regions, per_chunk=3)
    pd.testing.assert_frame_equal(answers(out), answers(tmp_path / "once"))


def test_a_finished_run_is_not_done_again(shorts: list[Record], tmp_path: Path) -> None:
    folder = documents(shorts[:2], tmp_path / "in")
    first = run_batch(folder, tmp_path / "out", regions)
    again = run_batch(folder, tmp_path / "out", regions)
    assert (first.kept, again.kept) == (0, 1)
    assert again.records == first.records == 2


@pytest.mark.parametrize("changed", ["input", "asked", "knowledge"])
def test_another_run_in_the_same_folder_is_refused(
    changed: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, out = documents([record()], tmp_path / "in"), tmp_path / "out"
    run_batch(folder, out, regions)
    setting = "orthopaedic" if changed == "asked" else None
    if changed == "input":
        documents([record(positive("neer", "left"))], folder)
    if changed == "knowledge":
        monkeypatch.setattr(whole, "knowledge_version", lambda _region: "another")
    with pytest.raises(UserError, match=f"batch.json: {changed}"):
        run_batch(folder, out, regions, setting=setting)


@pytest.mark.slow
def test_a_killed_process_is_taken_up_where_it_stopped(
    shorts: list[Record], tmp_path: Path
) -> None:
    many = [one.model_copy(update={"id": f"{one.id}-{i}"}) for one in shorts for i in range(20)]
    folder, out = tables(many, tmp_path / "in"), tmp_path / "out"
    code = "import sys; from pathlib import Path; " \
           "from sidewise.regions import regions; " \
           "from sidewise.reason.batch.run import run_batch; " \
           "run_batch(Path(sys.argv[1]), Path(sys.argv[2]), regions, per_chunk=3)"  # fmt: skip
    process = subprocess.Popen([sys.executable, "-c", code, str(folder), str(out)])
    deadline = time.monotonic() + 60
    while len(list(out.glob("part-*.parquet"))) < 2 and time.monotonic() < deadline:
        time.sleep(0.005)
    process.send_signal(signal.SIGKILL)
    assert process.wait() == -signal.SIGKILL
    done = run_batch(folder, out, regions, per_chunk=3)
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
from sidewise.reason.batch.run import run_batch
from sidewise.regions import regions
done = run_batch(Path(sys.argv[1]), Path(sys.argv[2]), regions)
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


@pytest.mark.long
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
    here = run_batch(folder, tmp_path / "here", regions, per_chunk=2)
    there = run_batch(folder, tmp_path / "there", regions, per_chunk=2, scheduler=cluster)
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
        run_batch(folder, tmp_path / "out", regions, scheduler="tcp://127.0.0.1:9")


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::DeprecationWarning:distributed")
def test_a_scheduler_lost_on_the_way_is_said_and_the_run_goes_on_from_there(
    shorts: list[Record], tmp_path: Path
) -> None:
    from distributed import LocalCluster

    folder, out = tables(shorts, tmp_path / "in"), tmp_path / "out"
    with LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, protocol="tcp",
        dashboard_address=None, silence_logs=50,
    ) as found:  # fmt: skip

        def close(finished: int, _chunks: int) -> None:
            if finished == 1:
                found.close()

        with pytest.raises(UserError, match=r"lost on the way(.|\n)*finished is kept"):
            run_batch(folder, out, regions, per_chunk=2, progress=close,
                      scheduler=found.scheduler_address)  # fmt: skip
    done = run_batch(folder, out, regions, per_chunk=2)
    assert done.kept >= 1
    assert done.records + done.set_aside == len(shorts)


@pytest.mark.slow
def test_several_processes_give_the_same(shorts: list[Record], tmp_path: Path) -> None:
    folder = tables(shorts, tmp_path / "in")
    here = run_batch(folder, tmp_path / "here", regions, per_chunk=2)
    there = run_batch(folder, tmp_path / "there", regions, per_chunk=2, jobs=2)
    assert there == here
    pd.testing.assert_frame_equal(answers(tmp_path / "here"), answers(tmp_path / "there"))


@pytest.mark.slow
def test_a_process_that_ends_is_said_and_the_run_goes_on_from_there(
    shorts: list[Record], tmp_path: Path
) -> None:
    folder, out = tables(shorts, tmp_path / "in"), tmp_path / "out"

    def kill(finished: int, _chunks: int) -> None:
        if finished == 1:
            for child in multiprocessing.active_children():
                child.kill()

    with pytest.raises(UserError, match=r"one of which ended(.|\n)*finished is kept"):
        run_batch(folder, out, regions, per_chunk=1, jobs=2, progress=kill)
    assert run_batch(folder, out, regions, per_chunk=1).kept >= 1


def test_processes_here_and_a_scheduler_there_exclude_each_other(tmp_path: Path) -> None:
    words = ["batch", str(tmp_path), str(tmp_path / "out"), "--jobs", "2", "--scheduler", "tcp://x"]
    found = CliRunner().invoke(app, words)
    assert isinstance(found.exception, UserError)
    assert "Leave one of the two out" in found.exception.message


def test_the_summary_names_what_was_asked(tmp_path: Path) -> None:
    folder = documents([record()], tmp_path / "in")
    run_batch(folder, tmp_path / "out", regions, setting="orthopaedic")
    told = json.loads((tmp_path / "out" / "batch.json").read_text())
    assert told["asked"] == {"setting": "orthopaedic", "draws": 0}
    assert set(answers(tmp_path / "out")["setting"]) == {"orthopaedic"}


def test_an_empty_chunk_has_nothing_to_say() -> None:
    assert read_chunk({}, REGIONS).records == ()
