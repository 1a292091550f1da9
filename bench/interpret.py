"""How long one record takes to weigh, what a batch manages, and how soon the help is there.

    python bench/interpret.py [--quick]
    python bench/interpret.py --records REPEATS [--compiled]     only the single records

Prints one JSON list of rows, each as `bench/__main__.py` wants it. Single records are timed in a
process of their own for each way of computing, after import and compiling; the knowledge is loaded
by one record that is not among those timed.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from bench.shoulder import REGIONS, SHOULDER, WORDS

ROOT = Path(__file__).resolve().parents[1]
EXAMPLES = sorted((ROOT / "examples").glob("*.json"))
WARM_UP = ROOT / "examples" / "visits" / "heron_visit1.json"
DRAWS = 500
SHORT = {"hawkins_kennedy", "neer", "external_rotation_at_side", "empty_can", "painful_arc"}

Row = dict[str, Any]


def milliseconds(work: Callable[[], object]) -> float:
    """Wall time of one call."""
    start = time.perf_counter()
    work()
    return 1000 * (time.perf_counter() - start)


def row(work: str, times: list[float], **more: Any) -> Row:
    """Median, and where single runs were timed the 95th centile, in milliseconds."""
    middle, high = (round(float(x), 2) for x in np.percentile(times, [50, 95]))
    high_if = {"p95": high} if len(times) > 1 else {}
    return {"work": work, "ours": middle, "unit": "ms", "runs": len(times), **high_if, **more}


def one_record(repeats: int, compiled: bool) -> list[Row]:
    """Whole interpretations of the whole examples: first look, and again."""
    from sidewise.reason import interpret
    from sidewise.reason.weighing.warm_up import use_compiled
    from sidewise.record import read_record

    if compiled and not use_compiled():
        return []

    interpret(read_record(WARM_UP, REGIONS), SHOULDER, draws=DRAWS)
    records = [read_record(path, REGIONS) for path in EXAMPLES]
    first = [milliseconds(lambda r=r: interpret(r, SHOULDER, draws=DRAWS)) for r in records]
    again = [
        milliseconds(lambda r=r: interpret(r, SHOULDER, draws=DRAWS))
        for _ in range(repeats)
        for r in records
    ]
    touched = [
        milliseconds(lambda r=r: interpret(r, SHOULDER, draws=DRAWS))
        for whole in records
        for r in _states(whole, repeats)
    ]
    way = "compiled" if compiled else "numpy"
    what = f"interpret, {way}, {len(records)} whole examinations, {DRAWS} draws"
    bars = {"required": "p95 <= 120", "goal": "p95 <= 50"}
    return [
        row(f"{what}: record already seen by the process", again, **bars),
        row(f"{what}: after a touch, a state not seen before", touched, **bars),
        row(f"{what}: first look at the patient", first, **bars),
    ]


def _states(whole: Any, count: int) -> list[Any]:
    """The record as it stood before each of its last findings was touched."""
    from sidewise.record import Record

    fields = {name: getattr(whole, name) for name in Record.model_fields}
    return [
        Record(**{**fields, "findings": whole.findings[: len(whole.findings) - back]})
        for back in range(1, count + 1)
    ]


def in_a_process(repeats: int, *more: str) -> list[Row]:
    """`one_record` where nothing has run before."""
    command = [sys.executable, __file__, "--records", str(repeats), *more]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    found: list[Row] = json.loads(done.stdout.strip().splitlines()[-1])
    return found


def help_page(repeats: int) -> Row:
    """The whole command in a process of its own."""
    program = str(Path(sys.executable).parent / "sidewise")

    def run() -> None:
        subprocess.run([program, "--help"], check=True, capture_output=True)

    run()
    times = [milliseconds(run) for _ in range(repeats)]
    return row("sidewise --help", times, required="median <= 500", goal="median <= 200")


MEASURED = """
import json, re, sys, time
from pathlib import Path
from sidewise.reason.batch.run import run_batch
from sidewise.regions import regions
start = time.perf_counter()
done = run_batch(Path(sys.argv[1]), Path(sys.argv[2]), regions)
seconds = time.perf_counter() - start
# Not getrusage: its peak is inherited from the process that started this one.
peak = re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1]
print(json.dumps([done.records, seconds, int(peak) / 1024]))
"""


def batch(label: str, short: bool, count: int) -> Row:
    """Copies of the examples as Parquet tables, other ids, ages 30 to 80: one record in ms."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _tables(folder / "in", short, count)
        command = [sys.executable, "-c", MEASURED, str(folder / "in"), str(folder / "out")]
        done = subprocess.run(command, check=True, capture_output=True, text=True)
    records, seconds, peak = json.loads(done.stdout)
    note = f"{records} records in {seconds:.1f} s, largest memory {peak:.0f} MB"
    bars = {"required": "memory < 1000 MB", "memory": round(peak)}
    each = [1000 * seconds / records]
    return row(f"batch, mean parameters, {label}, one record", each, note=note, **bars)


def _tables(folder: Path, short: bool, count: int) -> None:
    from sidewise.record import read_record
    from sidewise.record.table import contexts_frame, findings_frame

    folder.mkdir()
    examples = [read_record(path, REGIONS) for path in EXAMPLES]
    made = []
    for number in range(count):
        record = examples[number % len(examples)]
        context = record.context.model_copy(update={"age": 30 + number % 51})
        findings = tuple(f for f in record.findings if not short or f.item in SHORT)
        changed = {"id": f"{record.id}-{number}", "context": context, "findings": findings}
        made.append(record.model_copy(update=changed))
    findings_frame(made, WORDS).to_parquet(folder / "findings.parquet")
    contexts_frame(made).to_parquet(folder / "contexts.parquet")


def rows(quick: bool = False) -> list[Row]:
    """Everything measured here."""
    return [
        *in_a_process(1 if quick else 10, "--compiled"),
        *in_a_process(1 if quick else 10),
        batch("five items each", True, 240 if quick else 6_000),
        batch("whole examinations", False, 12 if quick else 240),
        help_page(5 if quick else 20),
    ]


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="few repeats, for a look")
    parser.add_argument("--records", type=int, metavar="REPEATS", help="single records alone")
    parser.add_argument("--compiled", action="store_true", help="with compiled sums")
    asked = parser.parse_args()
    print(
        json.dumps(
            one_record(asked.records, asked.compiled) if asked.records else rows(asked.quick)
        )
    )
