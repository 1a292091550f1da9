"""Times of reading marks, pass marks and the whole analysis; run on one thread.

    OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1 python bench/marks_report.py [--large]

Prints one line per piece of work: median of the runs, the bar, and whether it was kept.
"""

from __future__ import annotations

import resource
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from sidewise.teaching.examples.teaching_week import teaching_week
from sidewise.teaching.pass_marks.examination_mark import examination_mark
from sidewise.teaching.sitting.sitting import analyse_sitting
from sidewise.teaching.tables.marks_table import marks_from_frame, read_marks
from sidewise.teaching.tables.scores import Sheet, station_scores


@dataclass(frozen=True)
class Seconds:
    """Median seconds of the clock and of the processor: they differ on a busy machine."""

    clock: float
    processor: float


def timed(work: Callable[[], object], runs: int = 3) -> Seconds:
    """Median seconds over `runs`."""
    clock, processor = [], []
    for _ in range(runs):
        start, used = time.perf_counter(), time.process_time()
        work()
        clock.append(time.perf_counter() - start)
        processor.append(time.process_time() - used)
    return Seconds(statistics.median(clock), statistics.median(processor))


def line(name: str, seconds: Seconds, bar: float | None = None) -> None:
    """One line of the table."""
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    word = "" if bar is None else f"  bar {bar:g} s: {_kept(seconds, bar)}"
    print(
        f"{name:46} {seconds.clock:8.3f} s (processor {seconds.processor:.3f})  "
        f"peak {peak:.2f} GB{word}",
        flush=True,
    )


def _kept(seconds: Seconds, bar: float) -> str:
    if seconds.clock <= bar:
        return "kept"
    return "NOT KEPT" if seconds.processor > bar else "NOT KEPT by the clock; machine busy"


def many_marks(rows: int, folder: Path) -> Path:
    """A long CSV of whole weeks with students renamed."""
    week = teaching_week(1).marks
    copies = [week.assign(student=week["student"] + f"-{k}") for k in range(rows // len(week) + 1)]
    path = folder / f"{rows}_marks.csv"
    pd.concat(copies).head(rows).to_csv(path, index=False)
    return path


def cohort(students: int, stations: int = 12) -> Sheet:
    """Scores and ratings of a made-up cohort."""
    rng = np.random.default_rng(1)
    rating = rng.integers(0, 5, (students, stations)).astype(float)
    score = 40 + 8 * rating + rng.normal(0, 8, rating.shape) + rng.normal(0, 4, (students, 1))
    names = tuple(f"{i:06d}" for i in range(students))
    labels = tuple(f"t{j}" for j in range(stations))
    return Sheet(names, labels, score, rating, np.zeros(score.shape, dtype=bool))


def linked_totals(students: int) -> pd.DataFrame:
    """One total per station; 40 examiners who change stations between sessions of 20 students."""
    rng = np.random.default_rng(2)
    stations, examiners = 12, 40
    student = np.repeat(np.arange(students), stations)
    station = np.tile(np.arange(stations), students)
    sessions = students // 20 + 1
    order = np.array([rng.permutation(examiners)[:stations] for _ in range(sessions)])
    session = student // 20
    examiner = order[session, station]
    level = rng.normal(0, 7, students)[student] + rng.normal(0, 3, examiners)[examiner]
    seen = np.clip(60 + level + rng.normal(0, 10, student.size), 0, 100).round()
    return pd.DataFrame(
        {
            "student": student.astype(str), "station": station.astype(str),
            "session": session.astype(str), "examiner": examiner.astype(str),
            "mark": seen, "maximum": 100.0,
            "global_rating": np.digitize(seen + rng.normal(0, 6, seen.size), [42, 52, 64, 76]),
        }
    )  # fmt: skip


def main(large: bool) -> None:
    """Run every piece."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        half = many_marks(500_000, folder)
        line("import of 500,000 rows of CSV", timed(lambda: read_marks(half)), 5.0)
        million = many_marks(1_000_000, folder)
        line("import of 1,000,000 rows of CSV", timed(lambda: read_marks(million), 1))
        read = read_marks(million)
        line("scores of 1,000,000 rows", timed(lambda: station_scores(read.table)))
        line("analysis of 1,000,000 rows", timed(lambda: analyse_sitting(read), 1))
    five_hundred = cohort(500)
    line("bootstrap pass mark, 500 x 2,000 draws",
         timed(lambda: examination_mark(five_hundred, 1, draws=2000), 5), 1.0)  # fmt: skip
    week = teaching_week(1).marks
    small = marks_from_frame(week)
    line("whole analysis of the teaching week", timed(lambda: analyse_sitting(small)))
    for students in (200, 2_000, 20_000, *([200_000] if large else [])):
        marks = marks_from_frame(linked_totals(students))
        runs = 3 if students <= 2_000 else 1
        line(
            f"whole analysis, {students:,} students x 12",
            timed(lambda m=marks: analyse_sitting(m), runs),
        )


if __name__ == "__main__":
    main("--large" in sys.argv)
