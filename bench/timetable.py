"""Time a timetable of a large sitting: 200 students, 14 stations, 3 circuits, 2 days.

    python bench/timetable.py            the large sitting
    python bench/timetable.py --quick    24 students, 4 stations, 2 circuits, 1 day

The peer is the reading and checking of the same request in the same run; what the search reached
and the bound it proved stand in the note. Processor time, since a search is one thread.
"""

from __future__ import annotations

import argparse
import json
import time
from datetime import UTC, datetime, timedelta
from typing import Any

from sidewise.teaching.circuits.allocation import make_timetable
from sidewise.teaching.circuits.faults import timetable_faults
from sidewise.teaching.circuits.outlook import severity_outlook
from sidewise.teaching.circuits.request_file import circuit_request

HOURS = (8, 11, 14)


def sitting(students: int, stations: int, circuits: int, days: int) -> dict[str, Any]:
    """A sitting with one of every need, by a fixed pattern."""
    names = [f"station-{k + 1}" for k in range(stations)]
    places: list[dict[str, Any]] = [
        {"station": name, "actors": int(k % 2 == 0), "strain": k % 3}
        for k, name in enumerate(names)
    ]
    places.insert(stations // 2, {"kind": "rest"})
    places.insert(stations // 3, {"kind": "preparation"})
    sessions = [
        {"id": f"d{day + 1}-{hour}", "starts": datetime(2026, 5, 4, hour, tzinfo=UTC)
         + timedelta(days=day)}
        for day in range(days) for hour in HOURS
    ]  # fmt: skip
    people = max(16, -(-stations * circuits * 10 // 7))
    return {
        "format": "sidewise-circuits/1", "sitting": "large", "minutes": 8, "places": places,
        "circuits": [{"id": f"c{k + 1}", "wheelchair": k < 2} for k in range(circuits)],
        "sessions": sessions,
        "students": [
            {"id": str(1000 + k), "not_by": [f"E{k % people + 1}"] if k % 2 else [],
             "wheelchair": k == 7, "extra_time": 1.25 if k % 40 == 0 else 1.0,
             "language": "fr" if k in (3, 9) else "en"}
            for k in range(students)
        ],
        "examiners": [
            {"id": f"E{k + 1}", "languages": ["en", "fr"] if k % 3 == 0 else ["en"],
             "stations": sorted({names[(k + 5 * j) % stations] for j in range(4)}),
             "sessions": [s["id"] for i, s in enumerate(sessions) if (i + k) % 6]}
            for k in range(people)
        ],
        "actors": [
            {"id": f"P{k + 1}", "languages": ["en", "fr"] if k % 2 else ["en"], "most_strain": 60}
            for k in range(stations * circuits)
        ],
    }  # fmt: skip


def rows(quick: bool) -> list[dict[str, Any]]:
    """The rows of the report."""
    size = (24, 4, 2, 1) if quick else (200, 14, 3, 2)
    start = time.process_time()
    asked = circuit_request(sitting(*size), "large")
    reading = time.process_time() - start
    start = time.process_time()
    found = make_timetable(asked)
    making = time.process_time() - start
    outlook = severity_outlook(asked, found.timetable)
    assert timetable_faults(asked, found.timetable) == []
    state = "proven" if found.proven else f"not proven, bound {found.bound}"
    error = f"{outlook.mean:.2f} points" if outlook.mean is not None else "none can be told"
    students, stations, circuits, days = size
    return [{
        "work": f"timetable, {students} students, {stations} stations, {circuits} circuits, "
                f"{days} days",
        "ours": making, "theirs": reading, "unit": "s", "peer": "reading the request",
        "goal": "" if quick else "ours <= 60",
        "note": f"{found.runs} circuits run, {found.slow} slow, cost {found.cost} ({state}); "
                f"expected standard error of severity {error}; processor seconds",
    }]  # fmt: skip


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true")
    print(json.dumps(rows(parser.parse_args().quick)))
