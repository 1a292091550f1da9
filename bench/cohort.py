"""`sidewise marks` on 20,000 students at 12 stations, beside the reading of its file.

    python bench/cohort.py [--quick]

Both in processes of their own, in turn: the whole command as a person types it, and in the other
process the reading alone, timed inside it (with what reading has to import). The ratio is that of
the medians of processor time, which says the same on a machine that does other work too.
"""

from __future__ import annotations

import argparse
import json
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from bench.commands import START, environment, spent
from bench.marks_report import linked_totals

STUDENTS, QUICK = 20_000, 2_000
READING = """
import sys, time
from sidewise.teaching.tables.marks_table import read_marks
wall, processor = time.perf_counter(), time.process_time()
read_marks(sys.argv[1])
print(time.perf_counter() - wall, time.process_time() - processor)
"""


def reading(file: Path, env: dict[str, str]) -> tuple[float, float]:
    """Seconds of reading the file, by the clock and of the processor."""
    command = [sys.executable, "-c", READING, str(file)]
    done = subprocess.run(command, check=True, capture_output=True, text=True, env=env)
    wall, processor = map(float, done.stdout.split())
    return wall, processor


def row(students: int, repeats: int) -> dict[str, Any]:
    """The row of the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        file = folder / "marks.csv"
        linked_totals(students).to_csv(file, index=False)
        env = environment(str(folder / "byte_code"))
        words = (*START, "marks", str(file))
        reading(file, env)
        spent(words, env)
        whole, read = [], []
        for _ in range(repeats):
            whole.append(spent(words, env))
            read.append(reading(file, env))
    ours = statistics.median(one.processor for one in whole)
    theirs = statistics.median(processor for _, processor in read)
    return {
        "work": f"sidewise marks, {students:,} students x 12, whole command",
        "ours": round(ours, 2),
        "unit": "s",
        "peer": "the reading of its file",
        "theirs": round(theirs, 2),
        "ratio": round(ours / theirs, 2),
        "required": "ratio <= 5",
        "note": f"processor time, medians of {repeats}; by the clock "
        f"{statistics.median(one.wall for one in whole):.1f} s and "
        f"{statistics.median(wall for wall, _ in read):.1f} s",
    }


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="2,000 students, once")
    quick = parser.parse_args().quick
    print(json.dumps([row(QUICK, 1) if quick else row(STUDENTS, 3)]))
