"""How the cost of one interpretation grows: with findings, with draws, with sides that complain.

    python bench/growth.py [--quick]

Compiled where numba is installed, as the app weighs.
Prints one JSON list of rows: milliseconds of processor time (so that a busy machine tells little
less than an idle one), the least of several runs, after import and after a first look.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from bench.shoulder import REGIONS, SHOULDER

from sidewise.reason import interpret
from sidewise.reason.weighing.warm_up import use_compiled
from sidewise.record import Record, read_record

EXAMPLE = Path(__file__).resolve().parents[1] / "examples" / "painful-arc.json"
FINDINGS = (5, 20, 60, 120)
DRAWS = (100, 250, 500, 1000, 2000)
SIDES = ((), ("left",), ("left", "right"))

Row = dict[str, Any]


def least(record: Record, draws: int, repeats: int) -> float:
    """Processor time of one interpretation, ms: the least of so many after a first one."""
    interpret(record, SHOULDER, draws=draws)
    found = []
    for _ in range(repeats):
        start = time.process_time()
        interpret(record, SHOULDER, draws=draws)
        found.append(time.process_time() - start)
    return round(1000 * min(found), 1)


def shortened(record: Record, count: int) -> Record:
    """The record with so many of its findings, spread evenly over the examination."""
    every = record.findings
    kept = [every[i * len(every) // count] for i in range(min(count, len(every)))]
    return record.model_copy(update={"findings": tuple(kept)})


def complaining(record: Record, sides: tuple[str, ...]) -> Record:
    """The record with these sides complaining."""
    context = record.context.model_copy(update={"complaint": sides})
    return record.model_copy(update={"context": context})


def rows(quick: bool = False) -> Iterator[Row]:
    """Each of the three growths by itself, the others as in the example."""
    way = "compiled" if use_compiled() else "numpy"
    record, repeats = read_record(EXAMPLE, REGIONS), 1 if quick else 7
    for count in dict.fromkeys(min(n, len(record.findings)) for n in FINDINGS):
        ours = least(shortened(record, count), 500, repeats)
        yield {"work": f"growth, {way}: {count} findings, 500 draws", "ours": ours, "unit": "ms",
               "note": "processor time"}  # fmt: skip
    for draws in DRAWS[:3] if quick else DRAWS:
        ours = least(record, draws, repeats)
        yield {"work": f"growth, {way}: all findings, {draws} draws", "ours": ours, "unit": "ms",
               "note": "processor time"}  # fmt: skip
    for sides in SIDES:
        ours = least(complaining(record, sides), 500, repeats)
        word = " and ".join(sides) or "neither"
        work = f"growth, {way}: all findings, complaint: {word}"
        yield {"work": work, "ours": ours, "unit": "ms",
               "note": "processor time"}  # fmt: skip


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="few repeats, for a look")
    print(json.dumps(list(rows(parser.parse_args().quick))))
