"""The practice room: a patient drawn, the feedback on a case, and a class of 20 with 50 cases each.

Prints a JSON row for each, the median time beside one interpretation of the patient that was drawn.
How many queries the page of such a class makes is counted in the tests; here is the time of its
figures.

    python -m bench.practice [--quick]
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

STUDENTS, CASES = 20, 50
START = datetime(2026, 1, 5, tzinfo=UTC)


def seconds(work: Callable[[], object]) -> float:
    """Of one run."""
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def drawn_row(count: int) -> dict[str, Any]:
    """Patients of as many seeds, each beside an interpretation of it."""
    from sidewise.practice import practice_case
    from sidewise.reason import interpret
    from sidewise.regions import regions

    region = regions().chosen("shoulder")
    interpret(practice_case(region, 1).record, region)
    drawn, read = [], []
    for seed in range(2, 2 + count):
        drawn.append(seconds(lambda s=seed: practice_case(region, s)))
        record = practice_case(region, seed).record
        read.append(seconds(lambda r=record: interpret(r, region)))
    ours, theirs = statistics.median(drawn), statistics.median(read)
    return {"work": f"a simulated patient drawn, median of {count}", "ours": round(1000 * ours),
            "unit": "ms", "peer": "interpretation of it", "theirs": round(1000 * theirs),
            "ratio": round(ours / theirs, 2), "required": "ratio < 5"}  # fmt: skip


def feedback_row() -> dict[str, Any]:
    """What is said of a case with some ten steps, worked out once when it ends."""
    from tests.practice.learner_games import LEARNERS, play, room_of

    from sidewise.practice.feedback import feedback

    room, truth = room_of(LEARNERS[0])
    attempt = play(room, LEARNERS[0]["does"])
    feedback(room, attempt, truth)
    times = [seconds(lambda: feedback(room, attempt, truth)) for _ in range(3)]
    return {"work": "feedback on a finished case", "unit": "ms",
            "ours": round(1000 * statistics.median(times))}  # fmt: skip


def class_row() -> dict[str, Any]:
    """The figures of a class, from the feedback as it is kept."""
    from tests.practice.learner_games import LEARNERS, told

    from sidewise.practice.class_figures import class_figures, played_case

    kept = [told(number).to_json() for number in range(len(LEARNERS))]
    names = [f"S{number}" for number in range(STUDENTS)]
    played = [
        played_case(name, START + timedelta(days=case), kept[(case + place) % len(kept)])
        for place, name in enumerate(names) for case in range(CASES)
    ]  # fmt: skip
    times = [seconds(lambda: class_figures(names, played)) for _ in range(3)]
    return {"work": f"figures of a class of {STUDENTS} with {CASES} cases each", "unit": "ms",
            "ours": round(1000 * statistics.median(times))}  # fmt: skip


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    quick = parser.parse_args().quick
    print(json.dumps([drawn_row(3 if quick else 20), feedback_row(), class_row()]))


if __name__ == "__main__":
    main()
