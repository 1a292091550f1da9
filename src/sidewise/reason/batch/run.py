"""A whole register weighed, chunk by chunk: bounded memory, resumable, nothing dropped in silence.

The folder written:

    part-00000.parquet ...   answers, one row per record and condition (see `batch_chunk.schema`)
    set_aside.csv            what was not weighed: record, source, row, reason
    batch.json               what was asked, of which input, with which knowledge
    summary.json             counts, once everything is finished

A part is renamed into place when it is complete, so that a part that is there is finished. A later
run with the same input, options and knowledge keeps it; with any other it refuses the folder.
"""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import asdict, dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from sidewise import __version__
from sidewise.errors import UserError
from sidewise.ground.extras import require_extra
from sidewise.ground.settings import SETTINGS
from sidewise.ground.tables import safe_cell
from sidewise.protocol import protocol_of
from sidewise.protocol.loader import vocabulary_of_all
from sidewise.reason.batch.chunk import BatchOptions, ChunkAnswer, Door, weigh_chunk
from sidewise.reason.batch.source import Source, deal_into_chunks, dealt_chunk, find_source
from sidewise.reason.interpretation import CAUTIONS, knowledge_version

FORMAT = "sidewise-batch/1"
WORK = ".work"
DEALT = "dealt.json"
PER_CHUNK = 1_000
IN_FLIGHT = 2
"""Chunks handed to each worker at a time: one in work, one waiting."""
PATIENCE = "20s"
KEPT = "What was finished is kept: the same command goes on from there"
ASIDE_COLUMNS = ("record", "source", "row", "reason")

Progress = Callable[[int, int], None]
"""Called with (chunks finished, chunks in all)."""


@dataclass(frozen=True, slots=True)
class BatchSummary:
    """Counts of a finished batch. kept: chunks that an earlier run had finished."""

    records: int
    set_aside: int
    reasons: int
    chunks: int
    kept: int
    figures: str


@dataclass(frozen=True)
class _Batch:
    out: Path
    asked: BatchOptions
    chunks: int
    door: Door

    @property
    def work(self) -> Path:
        return self.out / WORK

    def part(self, chunk: int) -> Path:
        return self.out / f"part-{chunk:05d}.parquet"

    def aside(self, chunk: int) -> Path:
        return self.work / f"aside-{chunk:05d}.csv"

    def left(self) -> list[int]:
        return [chunk for chunk in range(self.chunks) if not self._finished(chunk)]

    def complete(self) -> bool:
        """Everything was finished and counted, and no part has been taken away since."""
        parts = all(self.part(chunk).exists() for chunk in range(self.chunks))
        return parts and (self.out / "summary.json").exists()

    def _finished(self, chunk: int) -> bool:
        return self.part(chunk).exists() and self.aside(chunk).exists()


def run_batch(
    source: Path,
    out: Path,
    door: Door,
    *,
    setting: str | None = None,
    draws: int = 0,
    scheduler: str | None = None,
    jobs: int = 1,
    per_chunk: int = PER_CHUNK,
    progress: Progress | None = None,
) -> BatchSummary:
    """Weigh every record of `source` into the folder `out`.

    door: opens the regions, on whichever machine weighs; a function that can be imported there.
    draws: 0 for mean parameters without intervals, else as in `interpret`. scheduler: address of a
    Dask scheduler whose workers have this program, or None for this machine. jobs: processes on
    this machine. per_chunk: records in a chunk, about. Raises UserError where the input or the
    folder cannot be used, and where a worker is lost.
    """
    if setting is not None and setting not in SETTINGS:
        raise UserError("setting", setting, f"one of {', '.join(SETTINGS)}")
    require_extra("batch", str(source))
    if scheduler:
        require_extra("cluster", "--scheduler")
    asked = BatchOptions(setting, draws)
    found = find_source(source, vocabulary_of_all(door()))
    print_of = found.fingerprint()
    if not print_of.records:
        raise UserError(str(source), "no record", "at least one record")
    batch = _Batch(out, asked, -(-print_of.records // per_chunk), door)
    _claim(batch, print_of.digest)
    kept = batch.chunks
    if not batch.complete():
        left = batch.left()
        kept -= len(left)
        _deal_once(found, batch)
        _weigh_left(batch, left, _answers(batch, left, scheduler, jobs), progress)
        _finish(batch)
    return _summary(out / "summary.json", kept)


def _claim(batch: _Batch, digest: str) -> None:
    """The folder is new, or holds an unfinished or finished run of exactly this."""
    regions = batch.door()
    own = (text for region in regions.values() for text in protocol_of(region).cautions)
    cautions = list(dict.fromkeys((*CAUTIONS, *own)))
    wanted = {
        "format": FORMAT,
        "program": __version__,
        "input": digest,
        "knowledge": {name: knowledge_version(region) for name, region in regions.items()},
        "asked": asdict(batch.asked),
        "figures": batch.asked.figures,
        "chunks": batch.chunks,
        "cautions": cautions,
    }
    manifest = batch.out / "batch.json"
    if manifest.exists():
        _same(_noted(manifest), wanted, batch.out)
        return
    if batch.out.exists() and (not batch.out.is_dir() or any(batch.out.iterdir())):
        raise UserError(str(batch.out), "something else", "an empty folder, or an earlier run")
    batch.out.mkdir(parents=True, exist_ok=True)
    _write_whole(manifest, json.dumps(wanted, indent=1) + "\n")


def _noted(path: Path) -> dict[str, Any]:
    """What an earlier run wrote of itself; UserError for anything else of that name."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict):
        raise _foreign(path)
    return found


def _summary(path: Path, kept: int) -> BatchSummary:
    try:
        counted = {**_noted(path), "kept": kept}
        return TypeAdapter(BatchSummary).validate_json(json.dumps(counted), strict=True)
    except ValidationError:
        raise _foreign(path) from None


def _foreign(path: Path) -> UserError:
    return UserError(str(path), "something else", "what an earlier run wrote",
                     "Give a new folder, or remove this one.")  # fmt: skip


def _same(found: dict[str, Any], wanted: dict[str, Any], out: Path) -> None:
    for name in ("format", "program", "input", "knowledge", "asked", "chunks"):
        if found.get(name) != wanted[name]:
            raise UserError(
                f"{out}: batch.json: {name}", str(found.get(name)), str(wanted[name]),
                "This folder holds another run; give a new one, or remove it.",
            )  # fmt: skip


def _deal_once(source: Source, batch: _Batch) -> None:
    done = batch.work / DEALT
    if not done.exists():
        deal_into_chunks(source, batch.work, batch.chunks)
        _write_whole(done, "{}\n")


def _answers(
    batch: _Batch, left: list[int], scheduler: str | None, jobs: int
) -> Iterator[tuple[int, ChunkAnswer]]:
    """Where the chunks are weighed: on a cluster, in processes, or here."""
    if scheduler:
        return _on_cluster(batch, left, scheduler)
    return _in_processes(batch, left, jobs) if jobs > 1 else _here(batch, left)


def _weigh_left(
    batch: _Batch,
    left: list[int],
    answers: Iterator[tuple[int, ChunkAnswer]],
    progress: Progress | None,
) -> None:
    finished = batch.chunks - len(left)
    if progress:
        progress(finished, batch.chunks)
    for chunk, answer in answers:
        _keep(batch, chunk, answer)
        finished += 1
        if progress:
            progress(finished, batch.chunks)


def _here(batch: _Batch, left: list[int]) -> Iterator[tuple[int, ChunkAnswer]]:
    for chunk in left:
        yield chunk, weigh_chunk(dealt_chunk(batch.work, chunk), batch.asked, batch.door)


def _in_processes(batch: _Batch, left: list[int], jobs: int) -> Iterator[tuple[int, ChunkAnswer]]:
    """Chunks in the order in which they are finished. A process that dies ends the run in words."""
    waiting = iter(left)
    flying: dict[Future[ChunkAnswer], int] = {}
    # Started anew, not copied: a copy of a process with threads may hang.
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:

        def send() -> None:
            chunk = next(waiting, None)
            if chunk is not None:
                dealt = dealt_chunk(batch.work, chunk)
                flying[pool.submit(weigh_chunk, dealt, batch.asked, batch.door)] = chunk

        for _ in range(IN_FLIGHT * jobs):
            send()
        while flying:
            done, _ = wait(flying, return_when=FIRST_COMPLETED)
            for future in done:
                chunk = flying.pop(future)
                try:
                    answer = future.result()
                except BrokenProcessPool:
                    raise UserError(
                        "--jobs", f"{jobs} processes, one of which ended", "processes that last",
                        f"{KEPT}; with fewer jobs it needs less memory.",
                    ) from None  # fmt: skip
                send()
                yield chunk, answer


def _on_cluster(batch: _Batch, left: list[int], address: str) -> Iterator[tuple[int, ChunkAnswer]]:
    """Chunks travel to the workers and answers back: no shared disk is needed."""
    from concurrent.futures import CancelledError

    from distributed import Client, KilledWorker, as_completed
    from distributed.comm import CommClosedError

    try:
        client = Client(address, timeout=PATIENCE)
    except (OSError, ValueError) as error:
        raise UserError(
            "--scheduler", address, f"a Dask scheduler that answers ({error})"
        ) from None
    with client:
        workers = client.scheduler_info(n_workers=-1)["workers"]
        threads = sum(worker["nthreads"] for worker in workers.values())
        waiting = iter(left)
        flying: dict[Any, int] = {}
        done = as_completed()

        def send() -> None:
            chunk = next(waiting, None)
            if chunk is not None:
                future = client.submit(
                    weigh_chunk, dealt_chunk(batch.work, chunk), batch.asked, batch.door, pure=False
                )
                flying[future] = chunk
                done.add(future)

        for _ in range(IN_FLIGHT * max(threads, 1)):
            send()
        for future in done:
            chunk = flying.pop(future)
            try:
                answer = future.result()
                send()
            except (CancelledError, KilledWorker, CommClosedError, OSError) as lost:
                raise UserError(
                    "--scheduler", f"{address}, lost on the way ({type(lost).__name__})",
                    "a scheduler with workers that last", f"{KEPT}.",
                ) from None  # fmt: skip
            _check_knowledge(answer, batch.door)
            yield chunk, answer


def _check_knowledge(answer: ChunkAnswer, door: Door) -> None:
    for name, version in answer.knowledge:
        if version != (here := knowledge_version(door()[name])):
            raise UserError(
                "--scheduler", f"a worker with knowledge {version}", here,
                "Install the same version of this program on every worker.",
            )  # fmt: skip


def _cell(text: str) -> str:
    return safe_cell(text.encode("utf-8", "backslashreplace").decode())


def _keep(batch: _Batch, chunk: int, answer: ChunkAnswer) -> None:
    """Reasons first, then the part: a part that is there has its reasons beside it."""
    import pyarrow.parquet as pq

    with batch.aside(chunk).open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(
            (_cell(one.record), _cell(one.source), one.row, _cell(one.reason))
            for one in answer.aside
        )
    counts = {
        "sidewise.records": str(answer.records),
        "sidewise.set_aside": str(answer.set_aside),
        "sidewise.reasons": str(len(answer.aside)),
        "sidewise.caution": CAUTIONS[0],
    }
    table = answer.rows.replace_schema_metadata(counts)
    unfinished = batch.work / f"part-{chunk:05d}.unfinished"
    pq.write_table(table, unfinished, compression="zstd")
    unfinished.replace(batch.part(chunk))


def _finish(batch: _Batch) -> None:
    counts = {"records": 0, "set_aside": 0, "reasons": 0}
    for chunk in range(batch.chunks):
        for name, count in _counts(batch.part(chunk)).items():
            counts[name] += count
    _gather_aside(batch)
    summary = {**counts, "chunks": batch.chunks, "figures": batch.asked.figures}
    _write_whole(batch.out / "summary.json", json.dumps(summary, indent=1) + "\n")
    shutil.rmtree(batch.work)


def _counts(part: Path) -> dict[str, int]:
    import pyarrow.parquet as pq

    stored = pq.read_schema(part).metadata
    return {name: int(stored[f"sidewise.{name}".encode()])
            for name in ("records", "set_aside", "reasons")}  # fmt: skip


def _gather_aside(batch: _Batch) -> None:
    unfinished = batch.work / "set_aside.unfinished"
    with unfinished.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerow(ASIDE_COLUMNS)
        for chunk in range(batch.chunks):
            with batch.aside(chunk).open(encoding="utf-8", newline="") as part:
                shutil.copyfileobj(part, file)
    unfinished.replace(batch.out / "set_aside.csv")


def _write_whole(path: Path, text: str) -> None:
    unfinished = path.with_suffix(".unfinished")
    unfinished.write_text(text, encoding="utf-8")
    unfinished.replace(path)
