"""How long measuring takes: `python bench/measure.py`. Medians of repeated runs, one process."""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from bench.shoulder import PROTOCOL, REGIONS, TABLES

ROOT = Path(__file__).parents[1]
VISITS = sorted((ROOT / "examples" / "visits").glob("heron_visit*.json"))


def median_ms(work: Callable[[], object], runs: int) -> float:
    """Median time of one call in milliseconds, after one call that is not counted."""
    work()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return round(1000 * statistics.median(times), 2)


def main() -> None:
    """Print one JSON object of medians in milliseconds."""
    import numpy as np

    from sidewise.ground.svg.shapes import svg
    from sidewise.measure import follow, norms_for, side_differences
    from sidewise.measure.drawings.pictures import follow_picture
    from sidewise.measure.motion.rotations import compose_yxy, decompose_yxy
    from sidewise.measure.visits.course import smooth_course
    from sidewise.record import read_record

    protocol = PROTOCOL
    records = [read_record(path, REGIONS) for path in VISITS]
    found = follow(records, protocol, TABLES)
    matrix = compose_yxy(35, -70, 20)
    times = np.arange(6.0)
    result = {
        "differences of one record": median_ms(
            lambda: side_differences(records[0], protocol, TABLES), 50
        ),
        "norms of one record": median_ms(lambda: norms_for(records[0], protocol, TABLES), 50),
        "follow, three visits": median_ms(lambda: follow(records, protocol, TABLES), 20),
        "course, six readings": median_ms(
            lambda: smooth_course(times, 10 * times, times + 4, 5), 20
        ),
        "picture as SVG": median_ms(lambda: svg(follow_picture(found)), 50),
        "one Y-X-Y decomposition": median_ms(lambda: decompose_yxy(matrix), 500),
        "sidewise follow, whole command": median_ms(_command, 3),
    }
    print(json.dumps({"milliseconds, median": result}, indent=1))


def _command() -> None:
    code = "from sidewise.cli import main; main()"
    command = [sys.executable, "-c", code, "follow", *map(str, VISITS)]
    subprocess.run(command, check=True, capture_output=True)


if __name__ == "__main__":
    main()
