"""The red flags of one record with 0, 1, 16 and 100 places examined twice and differently.

Prints a JSON row for each: the median time of judging every flag, in milliseconds. How the work
grows is counted in the tests; here is only the time.

    python -m bench.flags [--quick]
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

CONFLICTS = (0, 1, 16, 100)


def median_ms(conflicts: int, repeats: int) -> float:
    """Median over `repeats` of judging all flags afresh, ms."""
    from tests.flags.test_work_of_conflicts import with_conflicts
    from tests.shoulder import BOOK, PROTOCOL

    from sidewise.reason.judging.flags import red_flags
    from sidewise.reason.judging.judge import Judge

    record, times = with_conflicts(conflicts), []
    for _ in range(repeats):
        began = time.perf_counter()
        red_flags(Judge(PROTOCOL, record), BOOK)
        times.append((time.perf_counter() - began) * 1000)
    return statistics.median(times)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    repeats = 5 if parser.parse_args().quick else 30
    rows = [
        {"work": f"every flag of one record, {conflicts} conflicts",
         "ours": round(median_ms(conflicts, repeats), 2), "unit": "ms"}
        for conflicts in CONFLICTS
    ]  # fmt: skip
    print(json.dumps(rows))


if __name__ == "__main__":
    main()
