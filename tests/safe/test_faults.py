"""The service is killed hundreds of times in the middle of writing; what it confirmed is there.

Four tablets touch without pause, each sending a touch again until it is confirmed, as the page
does. Meanwhile workers are killed (-9), the whole service is killed and started again, and for
PostgreSQL the database server too. Afterwards every confirmed touch is in the ledger exactly once,
every record folds, and the audit is whole.
"""

from __future__ import annotations

import contextlib
import http.client
import json
import random
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest

from tests.safe.server import Server
from tests.safe.stores import Store

pytestmark = pytest.mark.slow
WORKERS_KILLED = 200
SERVICE_KILLED = 6
DATABASE_KILLED = 4
TABLETS = 4


class Tablet(threading.Thread):
    """Touches one examination without pause until told to stop."""

    def __init__(self, number: int, server: Server, session: str, address: str) -> None:
        super().__init__(daemon=True)
        self.number, self.server, self.session = number, server, session
        self.address = address
        self.confirmed: list[str] = []
        self.sent_again = 0
        self.odd: list[tuple[int, bytes]] = []
        self.enough = threading.Event()

    def run(self) -> None:
        count = 0
        while not self.enough.is_set():
            name = f"tablet{self.number}.{count}"
            if self.send(name):
                self.confirmed.append(name)
            count += 1

    def send(self, name: str) -> bool:
        finding = {"item": "hawkins_kennedy", "side": "left", "value":
                   {"kind": "result", "result": "positive"}}  # fmt: skip
        deed = {"do": "found", "finding": finding, "replaces": self.confirmed[-1:]}
        body = {"entries": [{"id": name, "at": "2026-03-02T09:40:00+00:00", "deed": deed}]}
        while not self.enough.is_set():
            with contextlib.suppress(OSError, http.client.HTTPException):
                status, text = self.server.ask("POST", self.address, body, self.session)
                if status == 200:
                    assert json.loads(text)["stored"] == [name]
                    return True
                if status < 500:
                    self.odd.append((status, text))
            self.sent_again += 1
            time.sleep(0.02)
        return False


@contextlib.contextmanager
def at_work(store: Store) -> Iterator[tuple[Server, list[Tablet]]]:
    """A service with four tablets that touch without pause."""
    rooms = store.step("rooms", tablets=TABLETS)
    server = Server(store)
    server.start()
    tablets = [
        Tablet(n, server, rooms["session"], f"/examinations/{pk}/queue/")
        for n, pk in enumerate(rooms["examinations"])
    ]
    for tablet in tablets:
        tablet.start()
    try:
        yield server, tablets
    finally:
        for tablet in tablets:
            tablet.enough.set()
        server.stop()


@pytest.fixture
def busy(store: Store) -> Iterator[tuple[Server, list[Tablet]]]:
    """The same on each kind of store."""
    with at_work(store) as both:
        yield both


def wait_for_progress(tablets: list[Tablet]) -> None:
    """Until one more touch was confirmed: each kill meets a service that is writing."""
    before, end = sum(len(t.confirmed) for t in tablets), time.monotonic() + 30
    while sum(len(t.confirmed) for t in tablets) == before:
        assert time.monotonic() < end, "no touch was confirmed any more"
        time.sleep(0.002)


def finish(server: Server, tablets: list[Tablet]) -> dict[str, Any]:
    """Let each tablet confirm something more, stop, and look at the store from outside."""
    before = [len(t.confirmed) for t in tablets]
    server.wait()
    end = time.monotonic() + 60
    while any(len(t.confirmed) <= n for t, n in zip(tablets, before, strict=True)):
        assert time.monotonic() < end, "no touch was confirmed any more"
        time.sleep(0.05)
    for tablet in tablets:
        tablet.enough.set()
    for tablet in tablets:
        tablet.join(30)
    server.stop()
    return server.store.step("ledger")


def check(server: Server, tablets: list[Tablet]) -> None:
    """Every confirmed touch once; every record folds; the audit is whole and has them all."""
    kept = finish(server, tablets)
    confirmed = [name for tablet in tablets for name in tablet.confirmed]
    missing = set(confirmed) - set(kept["entries"])
    assert not missing, f"{len(missing)} confirmed touches are lost"
    assert len(kept["entries"]) == len(set(kept["entries"]))
    # A touch may be stored and its confirmation lost: at most the one each tablet had in hand.
    assert len(set(kept["entries"]) - set(confirmed)) <= TABLETS
    assert kept["broken"] == ""
    assert kept["writes"] == len(kept["entries"]) + TABLETS
    assert [tablet.odd for tablet in tablets] == [[]] * TABLETS
    assert len(confirmed) >= 10 * TABLETS
    verified = server.store.command("verify")
    assert verified.returncode == 0, verified.stderr


def test_nothing_confirmed_is_lost_when_workers_are_killed_200_times(
    busy: tuple[Server, list[Tablet]],
) -> None:
    server, tablets = busy
    chance, killed = random.Random(6), 0
    while killed < WORKERS_KILLED:
        wait_for_progress(tablets)
        time.sleep(chance.uniform(0, 0.06))
        killed += server.kill_worker(chance)
    check(server, tablets)
    assert sum(len(tablet.confirmed) for tablet in tablets) > WORKERS_KILLED
    assert sum(tablet.sent_again for tablet in tablets) > WORKERS_KILLED // 4


def test_nothing_confirmed_is_lost_when_the_service_is_killed_and_started_again(
    busy: tuple[Server, list[Tablet]],
) -> None:
    server, tablets = busy
    chance = random.Random(7)
    for _ in range(SERVICE_KILLED):
        time.sleep(chance.uniform(0.2, 0.8))
        server.kill()
        server.start()
    check(server, tablets)


@pytest.mark.postgres
def test_nothing_confirmed_is_lost_when_the_database_server_is_stopped_at_once(
    cluster: Any, tmp_path: Any
) -> None:
    (tmp_path / "home").mkdir()
    store = Store(tmp_path / "home", cluster.create("crash"), cluster)
    with at_work(store) as (server, tablets):
        for _ in range(DATABASE_KILLED):
            time.sleep(0.7)
            cluster.stop("immediate")
            cluster.start()
        check(server, tablets)


def test_a_service_that_is_told_to_stop_answers_what_it_has_begun(
    busy: tuple[Server, list[Tablet]],
) -> None:
    server, tablets = busy
    time.sleep(1)
    server.stop()
    server.start()
    check(server, tablets)


def test_a_backup_made_while_tablets_write_holds_everything_confirmed_before_it(
    busy: tuple[Server, list[Tablet]], tmp_path: Any
) -> None:
    server, tablets = busy
    time.sleep(0.5)
    before = [name for tablet in tablets for name in list(tablet.confirmed)]
    done = server.store.command("backup", str(tmp_path / "b"))
    assert done.returncode == 0, done.stderr
    during = sum(len(tablet.confirmed) for tablet in tablets)
    check(server, tablets)
    assert during > len(before), "nobody wrote during the backup"
    other = server.store.sibling("restored")
    assert other.command("restore", str(tmp_path / "b")).returncode == 0
    assert set(before) <= set(other.step("ledger")["entries"])
    assert other.command("verify").returncode == 0
