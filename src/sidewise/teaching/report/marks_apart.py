"""Sheets that somebody sends are read and analysed in a process of its own, within limits.

A workbook can be made to cost far more than its size, and an analysis takes seconds of computing:
here neither takes the memory of the service nor its time for other people.
`python -m sidewise.teaching.report.marks_apart` reads a task from standard input and writes what
came of it, both as JSON.
"""

from __future__ import annotations

import base64
import os
import subprocess
import sys
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal, TypeVar

from pydantic import TypeAdapter

from sidewise.errors import UserError, UserErrors
from sidewise.ground.extras import require_extra
from sidewise.teaching.report.printout import HeldBefore, PrintedSitting, print_sitting
from sidewise.teaching.sitting.understood import SheetUnderstood, Told, told_of, understand_sheet
from sidewise.teaching.tables.grid_marks import students_by_row, without_names
from sidewise.teaching.tables.questions import SheetQuestion
from sidewise.teaching.tables.sheet_grid import Grid
from sidewise.teaching.tables.sheet_upload import uploaded_grid

Found = TypeVar("Found")
SECONDS_TO_READ, SECONDS_TO_ANALYSE = 25, 600
BYTES = 4 << 30
"""Address space: the libraries reserve far more than they use."""
ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
# The matrices are small: further threads cost more than they save.


@dataclass(frozen=True, slots=True)
class OpenedSheet:
    """A sheet that was sent: its cells, what was understood, and whose row is which."""

    grid: Grid
    understood: SheetUnderstood
    students: dict[int, str]


@dataclass(frozen=True, slots=True)
class MarksTask:
    """What is asked of the other process; `sent` is the file in base 64."""

    do: Literal["open", "understand", "print"]
    name: str = ""
    sent: str = ""
    grid: Grid | None = None
    words: dict[str, Any] | None = None
    before: HeldBefore | None = None
    rests_on: str = ""
    made: date | None = None


@dataclass(frozen=True, slots=True)
class TaskOutcome:
    """What came of it: one of the results, or why there is none."""

    opened: OpenedSheet | None = None
    understood: OpenedSheet | None = None
    printed: PrintedSitting | None = None
    told: tuple[Told, ...] = ()


def open_sheet(name: str, data: bytes) -> OpenedSheet:
    """Open and understand a file that was sent; UserError for one that cannot be used at all."""
    require_extra("marks", name)
    grid = without_names(uploaded_grid(name, data))
    return read_sheet_again(grid, {})


def read_sheet_again(grid: Grid, words: dict[str, Any]) -> OpenedSheet:
    """The sheet as it is understood under these answers; UserError for an answer that is none."""
    columns = words.get("columns") or None
    return OpenedSheet(grid, understand_sheet(grid, words), students_by_row(grid, columns))


def open_apart(name: str, data: bytes) -> OpenedSheet:
    """As `open_sheet`, in the other process."""
    sent = base64.b64encode(data).decode()
    done = _apart(MarksTask("open", name=name, sent=sent), SECONDS_TO_READ)
    return _there(done.opened)


def read_again_apart(grid: Grid, words: dict[str, Any]) -> OpenedSheet:
    """As `read_sheet_again`, in the other process."""
    done = _apart(MarksTask("understand", grid=grid, words=words), SECONDS_TO_READ)
    return _there(done.understood)


def print_apart(
    grid: Grid, words: dict[str, Any], before: HeldBefore | None, rests_on: str, made: date
) -> PrintedSitting:
    """As `printout.print_sitting`, in the other process."""
    task = MarksTask("print", grid=grid, words=words, before=before, rests_on=rests_on, made=made)
    return _there(_apart(task, SECONDS_TO_ANALYSE).printed)


def _there(found: Found | None) -> Found:
    assert found is not None, "the other process answered another task"
    return found


def _apart(task: MarksTask, seconds: int) -> TaskOutcome:
    command = [sys.executable, "-m", "sidewise.teaching.report.marks_apart"]
    name = task.name or (task.grid.name if task.grid else "marks")
    env = {**os.environ, **dict.fromkeys(ONE_THREAD, "1")}
    given = TypeAdapter(MarksTask).dump_json(task)
    try:
        done = subprocess.run(
            command, input=given, capture_output=True, timeout=seconds, check=False, env=env
        )
    except subprocess.TimeoutExpired:
        raise _given_up(name, f"not done in {seconds} seconds") from None
    if done.returncode < 0 or b"MemoryError" in done.stderr:
        raise _given_up(name, "a table that needs more memory than it may take")
    if done.returncode != 0:
        # A bug of ours: the last line names the kind of error, which may be followed by a cell.
        last = done.stderr.decode("utf-8", "replace").strip().splitlines()[-1:]
        raise RuntimeError(f"the other process ended by {''.join(last).partition(':')[0]}")
    outcome = TypeAdapter(TaskOutcome).validate_json(done.stdout)
    if outcome.told:
        raise errors_of(outcome.told)
    return outcome


def errors_of(told: tuple[Told, ...]) -> UserErrors:
    """What was told as errors again, which say the same."""
    return UserErrors([_error(one) for one in told])


def _error(t: Told) -> UserError:
    if t.option:
        return SheetQuestion(t.where, InWords(t.got), t.expected, t.do, t.option, t.answers)
    return UserError(t.where, InWords(t.got), t.expected, t.do)


class InWords:
    """Something already put into words: shown as it stands, without quotation marks."""

    def __init__(self, words: str) -> None:
        self.words = words

    def __repr__(self) -> str:
        return self.words


def _given_up(name: str, got: str) -> UserError:
    return UserError(name, InWords(got), "a table of one examination",
                     "Use the command `sidewise marks` for large tables.")  # fmt: skip


# ---------------------------------------------------------------- in the other process


def task_outcome(task: MarksTask) -> TaskOutcome:
    """Do what the task says; what a person has to know is told, not raised."""
    try:
        if task.do == "open":
            return TaskOutcome(opened=open_sheet(task.name, base64.b64decode(task.sent)))
        assert task.grid is not None
        words = task.words or {}
        if task.do == "understand":
            return TaskOutcome(understood=read_sheet_again(task.grid, words))
        printed = print_sitting(task.grid, words, task.before, task.rests_on, task.made)
        return TaskOutcome(printed=printed)
    except UserError as error:
        return TaskOutcome(told=told_of(error))


def _limit() -> None:
    try:
        import resource
    except ImportError:  # not on Windows: there the time alone is limited
        return
    resource.setrlimit(resource.RLIMIT_AS, (BYTES, BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def main() -> None:
    """One task from standard input, its outcome to standard output."""
    _limit()
    task = TypeAdapter(MarksTask).validate_json(sys.stdin.buffer.read())
    sys.stdout.buffer.write(TypeAdapter(TaskOutcome).dump_json(task_outcome(task)))


if __name__ == "__main__":
    main()
