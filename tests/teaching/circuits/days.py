"""Small days with invented people, to make timetables for."""

from __future__ import annotations

from typing import Any

from sidewise.teaching.circuits.request import CircuitRequest
from sidewise.teaching.circuits.request_file import circuit_request

STARTS = ("2026-05-04T08:30:00+01:00", "2026-05-04T10:30:00+01:00", "2026-05-04T13:30:00+01:00",
          "2026-05-05T08:30:00+01:00", "2026-05-05T10:30:00+01:00")  # fmt: skip


def day(
    students: int = 6, stations: int = 3, circuits: str = "A", sessions: int = 2,
    examiners: int = 4, **changes: Any,
) -> dict[str, Any]:  # fmt: skip
    """A request as plain data."""
    return {
        "format": "sidewise-circuits/1", "sitting": "spring", "minutes": 8,
        "places": [{"station": f"s{k + 1}"} for k in range(stations)],
        "circuits": [{"id": name} for name in circuits],
        "sessions": [{"id": f"m{k + 1}", "starts": STARTS[k]} for k in range(sessions)],
        "students": [{"id": str(101 + k)} for k in range(students)],
        "examiners": [{"id": f"E{k + 1}"} for k in range(examiners)],
    } | changes  # fmt: skip


def request(*args: Any, **changes: Any) -> CircuitRequest:
    """A checked request."""
    return circuit_request(day(*args, **changes), "day.yaml")


def with_person(data: dict[str, Any], kind: str, name: str, **fields: Any) -> dict[str, Any]:
    """The same day, one person of it with further fields."""
    people = [one | fields if one["id"] == name else one for one in data[kind]]
    return data | {kind: people}
