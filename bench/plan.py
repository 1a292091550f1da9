"""Plans: a full examination and eight minutes of one, and whether they are proven best.

Prints a JSON row for each: the median time of planning in seconds, beside one interpretation of the
same blank record. The search stops after five seconds; what it could not prove is said in the note.

    python -m bench.plan [--quick]
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

MINUTES = (8, 30)
"""What is often there, and more than a full examination of what tells anything takes."""


def median_seconds(work: Callable[[], object], repeats: int) -> float:
    """Median over `repeats`, s; the first, which reads and compiles, is not counted."""
    work()
    times = []
    for _ in range(repeats):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return statistics.median(times)


def rows(repeats: int) -> list[dict[str, Any]]:
    """A row for each number of minutes."""
    from sidewise.plan import plan_examination, presentation
    from sidewise.reason import interpret
    from sidewise.regions import regions

    region = regions().chosen("shoulder")
    record = presentation(region.id, "right", 50)
    once = median_seconds(lambda: interpret(record, region), repeats)
    found = []
    for minutes in MINUTES:
        plan = plan_examination(record, region, minutes)
        ours = median_seconds(lambda m=minutes: plan_examination(record, region, m), repeats)
        full = minutes == max(MINUTES)
        found.append({
            "work": f"plan of {'a full examination' if full else f'{minutes} minutes'}, "
            f"{len(plan.steps)} items, proven best",
            "ours": round(ours, 3), "unit": "s", "peer": "one interpretation",
            "theirs": round(once, 3), "ratio": round(ours / once, 2),
            "goal": "ours <= 1" if full else "",
            "note": "proven" if plan.proven else f"not proven: {plan.gap}",
        })  # fmt: skip
    return found


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    print(json.dumps(rows(1 if parser.parse_args().quick else 5)))


if __name__ == "__main__":
    main()
