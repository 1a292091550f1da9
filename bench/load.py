"""Twenty examiners on the loopback address, each touching every two seconds: how long it takes.

`python -m bench.load [SECONDS]`. Gunicorn as a department runs it, on SQLite and, where its
binaries are here, on PostgreSQL. Bounded: never more than twenty requests at once, one minute each.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from uuid import uuid4

from tests.safe.server import Server
from tests.safe.stores import Store
from tests.setup_postgres import cluster, find_binaries

EXAMINERS = 20
EVERY_S = 2.0
ITEMS = ("hawkins_kennedy", "neer", "full_can", "empty_can", "speed", "yergason")


@dataclass
class Times:
    """Seconds of each answer, and how many were not answered well."""

    touch: list[float] = field(default_factory=list)
    page: list[float] = field(default_factory=list)
    failed: int = 0


def examiner(number: int, server: Server, session: str, pk: str, times: Times, end: float) -> None:
    """Touches on a fixed beat; opens a page every fifth time."""
    time.sleep(number * EVERY_S / EXAMINERS)
    count = 0
    while (started := time.perf_counter()) < end:
        finding = {"item": ITEMS[count % len(ITEMS)], "side": "left",
                   "value": {"kind": "result", "result": "negative"}}  # fmt: skip
        deed = {"do": "found", "finding": finding, "replaces": []}
        entry = {"id": uuid4().hex, "at": "2026-03-02T09:40:00+00:00", "deed": deed}
        path = f"/examinations/{pk}/touch/"
        status, _ = server.ask("POST", path, {"entries": [entry]}, session)
        times.touch.append(time.perf_counter() - started)
        times.failed += status != 200
        count += 1
        if count % 5 == 0:
            begun = time.perf_counter()
            path = f"/examinations/{pk}/stage/special-tests/"
            times.failed += server.ask("GET", path, session=session)[0] != 200
            times.page.append(time.perf_counter() - begun)
        time.sleep(max(0, started + EVERY_S - time.perf_counter()))


def measure(store: Store, seconds: float) -> Times:
    """Run the load against a fresh service."""
    rooms = store.step("rooms", tablets=EXAMINERS)
    server, times = Server(store, workers=3), Times()
    server.start()
    end = time.perf_counter() + seconds
    threads = [
        threading.Thread(target=examiner, args=(n, server, rooms["session"], pk, times, end))
        for n, pk in enumerate(rooms["examinations"])
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    server.stop()
    return times


def line(name: str, seconds: list[float]) -> str:
    """Median and 95th centile in milliseconds."""
    ordered = sorted(seconds)
    p95 = ordered[min(len(ordered) - 1, round(0.95 * len(ordered)))]
    median = statistics.median(ordered)
    return f"{name}: n {len(ordered)}, median {median * 1e3:.0f} ms, p95 {p95 * 1e3:.0f} ms"


def main(seconds: float) -> None:
    """Both databases, one after the other."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "home"
        home.mkdir()
        show("SQLite", measure(Store(home), seconds))
        if binaries := find_binaries():
            with cluster(binaries) as server:
                other = Path(folder) / "other"
                other.mkdir()
                show("PostgreSQL", measure(Store(other, server.create("load"), server), seconds))


def show(name: str, times: Times) -> None:
    """What was measured."""
    print(f"{name}, {EXAMINERS} examiners, a touch every {EVERY_S:g} s; failed {times.failed}")
    print(line("  one touch saved and answered", times.touch))
    print(line("  a stage of the page", times.page), flush=True)


if __name__ == "__main__":
    main(min(60.0, float(sys.argv[1]) if len(sys.argv) > 1 else 30.0))
