"""Runs doors under a coverage-guided fuzzer, each in a process of its own, and counts.

A door's process is forked from one that has instrumented and imported the program, so that
twenty doors cost one import. Counts live in shared memory: they survive a crash and an abort.
"""

from __future__ import annotations

import mmap
import os
import struct
import sys
import tempfile
import time
import traceback
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from tests.safe.fuzz.doors import Door, Take

COUNTS = struct.Struct("QQQd")
SEED = 20260302


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of the inputs of one door."""

    door: str
    inputs: int
    accepted: int
    refused: int
    slowest_s: float
    failure: str

    def line(self) -> str:
        """For the screen."""
        state = f"FAILED\n{self.failure}" if self.failure else "held"
        return (f"{self.door:26} {self.inputs:7,} inputs, {self.accepted:7,} taken, "
                f"{self.refused:7,} refused, slowest {self.slowest_s:.2f} s: {state}")  # fmt: skip

    def data(self) -> dict[str, Any]:
        """As plain data."""
        return asdict(self)


def run(door: Door, folder: Path, *, runs: int = -1, seconds: int = 0) -> Outcome:
    """Give a door `runs` inputs, or as many as fit in `seconds`."""
    shared = mmap.mmap(-1, COUNTS.size)
    shared.write(COUNTS.pack(0, 0, 0, 0.0))
    said = folder / "said"
    child = os.fork()
    if child == 0:
        _child(door, folder, said, shared, runs, seconds)
    _, status = os.waitpid(child, 0)
    inputs, accepted, refused, slowest = COUNTS.unpack(shared[:])
    failed = _failure(folder, said, os.waitstatus_to_exitcode(status))
    return Outcome(door.name, inputs, accepted, refused, slowest, failed)


def _failure(folder: Path, said: Path, code: int) -> str:
    if code == 0:
        return ""
    kept = folder / "failure"
    if kept.exists():
        return kept.read_text()
    return f"exit status {code}\n{said.read_text(errors='replace')[-3000:]}"


def _child(
    door: Door, folder: Path, said: Path, shared: mmap.mmap, runs: int, seconds: int
) -> None:
    import atheris

    log = os.open(said, os.O_WRONLY | os.O_CREAT, 0o600)
    os.dup2(log, 1)
    os.dup2(log, 2)
    try:
        corpus, words = folder / "corpus", folder / "words"
        corpus.mkdir()
        for number, seed in enumerate(door.seeds()):
            (corpus / f"seed{number}").write_bytes(seed)
        words.write_text("# words\n" + "".join(f"{_quoted(w)}\n" for w in door.words if w))
        options = [f"-runs={runs}", f"-seed={SEED}", "-timeout=20", "-rss_limit_mb=3000",
                   f"-artifact_prefix={folder}/"]  # fmt: skip
        if door.words:
            options.append(f"-dict={words}")
        if seconds:
            options.append(f"-max_total_time={seconds}")
        one = _one(door.build(), folder, shared)
        atheris.Setup([sys.argv[0], *options, str(corpus)], one)
        atheris.Fuzz()
    except SystemExit as end:
        os._exit(0 if end.code in (0, None) else 71)
    except BaseException:  # noqa: BLE001 - a forked process must not go on as its parent
        (folder / "failure").write_text(traceback.format_exc())
        os._exit(70)
    os._exit(0)


def _quoted(word: str) -> str:
    return '"' + "".join(f"\\x{byte:02x}" for byte in word.encode()) + '"'


def _one(take: Take, folder: Path, shared: mmap.mmap) -> Any:
    from sidewise.errors import UserError

    def one(data: bytes) -> None:
        inputs, accepted, refused, slowest = COUNTS.unpack(shared[:])
        start = time.perf_counter()
        try:
            take(data)
            accepted += 1
        except UserError as error:
            # Shown to a person: the message itself must hold together.
            refused += bool(error.message)
        except Exception:
            (folder / "failure").write_text(f"{data[:2000]!r}\n{traceback.format_exc()}")
            raise
        finally:
            took = max(slowest, time.perf_counter() - start)
            shared[:] = COUNTS.pack(inputs + 1, accepted, refused, took)

    return one


def run_all(doors: list[Door], *, runs: int = -1, seconds: int = 0) -> list[Outcome]:
    """Every door after the other."""
    found = []
    for door in doors:
        with tempfile.TemporaryDirectory(prefix="fuzz") as name:
            mine = max(1, runs // door.cost) if runs > 0 else runs
            found.append(run(door, Path(name), runs=mine, seconds=seconds))
    return found


def instrumented() -> None:
    """Import the program so that the fuzzer sees which branches an input took."""
    import atheris

    with atheris.instrument_imports(include=["sidewise"]):
        import django

        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "sidewise.web.settings")
        import sidewise.measure.motion.landmarks
        import sidewise.reason.batch.records
        import sidewise.reason.batch.source
        import sidewise.record.line
        import sidewise.record.table
        import sidewise.teaching.pass_marks.judges_table
        import sidewise.teaching.tables.findings_table
        import sidewise.teaching.tables.marks_table

        django.setup()
        import sidewise.web.examinations.entries
        import sidewise.web.examinations.queue
        import sidewise.web.keeping.restore
        import sidewise.web.keeping.verification  # noqa: F401
