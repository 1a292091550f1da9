"""Whole commands as a person types them, beside the import of numpy and scipy.special.

    python bench/commands.py [--quick]

Each command runs in a process of its own, in turn with the import, so that both meet the same
machine; byte code is warm, as an installed package has it. Ratios are of the medians of the wall
time. On a machine that does other work too, ratios of processor time (user and system) say more:
they stand in the remark.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
PEER = "python -c 'import numpy, scipy.special'"
IMPORT = ("-c", "import numpy, scipy.special")
START = ("-c", "from sidewise.cli import program; program()")
WEEK = str(ROOT / "examples" / "marks" / "teaching_week_marks.csv")
EXAM = str(ROOT / "examples" / "frozen.json")
COMMANDS: tuple[tuple[str, float, tuple[str, ...]], ...] = (
    ("--help", 0.3, ("--help",)),
    ("check", 0.7, ("check", EXAM)),
    ("interpret", 2.0, ("interpret", EXAM)),
    ("marks, the teaching week", 3.0, ("marks", WEEK)),
)
MEDIAN_OF = 5

Row = dict[str, Any]


@dataclass(frozen=True)
class Spent:
    """Seconds by the clock on the wall, and of the processor."""

    wall: float
    processor: float


def spent(words: tuple[str, ...], env: dict[str, str]) -> Spent:
    """One run of this Python; its output is dropped. Status 1 (a flag, incomplete) is an answer."""
    start = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, *words], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=env
    )
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode not in (0, 1):
        raise SystemExit(f"{' '.join(words)}: status {process.returncode}")
    return Spent(time.perf_counter() - start, used.ru_utime + used.ru_stime)


def environment(byte_code: str) -> dict[str, str]:
    """The environment of a person, but for where byte code is kept."""
    left_out = ("PYTHONDONTWRITEBYTECODE", "PYTHONPYCACHEPREFIX")
    kept = {name: text for name, text in os.environ.items() if name not in left_out}
    source = os.pathsep.join([str(ROOT / "src"), *filter(None, [kept.get("PYTHONPATH", "")])])
    return {**kept, "PYTHONPYCACHEPREFIX": byte_code, "PYTHONPATH": source}


def rows(repeats: int) -> list[Row]:
    """A row for each command."""
    calls = {"import": IMPORT, **{name: (*START, *words) for name, _, words in COMMANDS}}
    found: dict[str, list[Spent]] = {name: [] for name in calls}
    with tempfile.TemporaryDirectory() as byte_code:
        env = environment(byte_code)
        for words in calls.values():
            spent(words, env)
        for _ in range(repeats):
            for name, words in calls.items():
                found[name].append(spent(words, env))
    return [_row(name, bar, found[name], found["import"]) for name, bar, _ in COMMANDS]


def _row(name: str, bar: float, ours: list[Spent], peer: list[Spent]) -> Row:
    wall, processor = (
        [statistics.median(getattr(one, what) for one in some) for some in (ours, peer)]
        for what in ("wall", "processor")
    )
    by_processor = processor[0] / processor[1]
    return {
        "work": f"sidewise {name}, whole command",
        "ours": round(1000 * wall[0], 1),
        "unit": "ms",
        "peer": PEER,
        "theirs": round(1000 * wall[1], 1),
        "ratio": round(wall[0] / wall[1], 2),
        "required": f"ratio <= {bar:g}",
        "note": f"ours / peer, medians of {len(ours)}; by processor time {by_processor:.2f} "
        f"({1000 * processor[0]:.0f} and {1000 * processor[1]:.0f} ms)",
    }


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="medians of 3, for a look")
    print(json.dumps(rows(3 if parser.parse_args().quick else MEDIAN_OF)))
