"""How long measuring takes: `python bench/measure.py`. Medians of repeated runs, one process."""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

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

    from sidewise.measure import differences, follow, norms_for
    from sidewise.measure.course import course
    from sidewise.measure.draw import svg
    from sidewise.measure.pictures import follow_picture
    from sidewise.measure.rotations import compose_yxy, decompose_yxy
    from sidewise.protocol import load_protocol
    from sidewise.record import read_record

    protocol = load_protocol()
    records = [read_record(path) for path in VISITS]
    found = follow(records, protocol)
    matrix = compose_yxy(35, -70, 20)
    times = np.arange(6.0)
    result = {
        "differences of one record": median_ms(lambda: differences(records[0], protocol), 50),
        "norms of one record": median_ms(lambda: norms_for(records[0], protocol), 50),
        "follow, three visits": median_ms(lambda: follow(records, protocol), 20),
        "course, six readings": median_ms(lambda: course(times, 10 * times, times + 4, 5), 20),
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
