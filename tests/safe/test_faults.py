"""The service is killed again and again in the middle of writing; what it confirmed is there.

Four tablets touch without pause, each sending a touch again until it is confirmed, as the page
does. Meanwhile workers are killed (-9), the whole service is killed and started again, and for
PostgreSQL the database server too. Afterwards every confirmed touch is in the ledger exactly once,
every record folds, and the audit is whole. What is waited for is work done, never a time: on a slow
machine it takes longer and is the same. A deadline only ends what hangs.
"""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import random
import threading
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from tests.safe.server import Server
from tests.safe.stores import Store

pytestmark = pytest.mark.slow
WORKERS_KILLED = int(os.environ.get("SIDEWISE_KILLS", "12"))
"""200 by `make long`; each costs the start of a worker, which is most of what the tests take."""
SERVICE_KILLED = max(2, WORKERS_KILLED // 8)
DATABASE_KILLED = max(2, WORKERS_KILLED // 8)
TABLETS = 4
LEAST = 10
"""Touches that each tablet confirms before the store is looked at."""
POSTGRES = pytest.param("postgresql", marks=[pytest.mark.postgres, pytest.mark.long])
SQLITE = pytest.param("sqlite", marks=pytest.mark.long)
"""The other store of what every run tries on one; workers die on both in every run."""
HANGS_S = 900
"""Without one confirmation for so long nothing more will come on any machine."""


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


def confirmed_by(tablets: list[Tablet]) -> int:
    """How many touches were confirmed so far."""
    return sum(len(tablet.confirmed) for tablet in tablets)


def wait_for_progress(tablets: list[Tablet], touches: int = 1) -> None:
    """Until so many more touches were confirmed: each kill meets a service that is writing."""
    wanted = confirmed_by(tablets) + touches
    wait_until(lambda: confirmed_by(tablets) >= wanted, tablets)


def wait_until(is_done: Callable[[], bool], tablets: list[Tablet]) -> None:
    """Until it is so, for as long as something is still confirmed now and then."""
    seen, end = confirmed_by(tablets), time.monotonic() + HANGS_S
    while not is_done():
        if (now := confirmed_by(tablets)) > seen:
            seen, end = now, time.monotonic() + HANGS_S
        assert time.monotonic() < end, "no touch was confirmed any more"
        time.sleep(0.002)


def finish(server: Server, tablets: list[Tablet]) -> dict[str, Any]:
    """Let each tablet confirm something more, stop, and look at the store from outside."""
    before = [len(t.confirmed) for t in tablets]
    server.wait()
    wanted = [max(LEAST, n + 1) for n in before]
    wait_until(
        lambda: all(len(t.confirmed) >= n for t, n in zip(tablets, wanted, strict=True)), tablets
    )
    for tablet in tablets:
        tablet.enough.set()
    for tablet in tablets:
        tablet.join(HANGS_S)
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
    assert len(confirmed) >= LEAST * TABLETS
    verified = server.store.command("verify")
    assert verified.returncode == 0, verified.stderr


def test_nothing_confirmed_is_lost_when_workers_are_killed_again_and_again(
    busy: tuple[Server, list[Tablet]],
) -> None:
    server, tablets = busy
    chance, killed = random.Random(6), 0
    while killed < WORKERS_KILLED:
        wait_for_progress(tablets)
        time.sleep(chance.uniform(0, 0.06))
        killed += server.kill_worker(chance)
    check(server, tablets)
    assert confirmed_by(tablets) > WORKERS_KILLED
    assert sum(tablet.sent_again for tablet in tablets) > WORKERS_KILLED // 4


@pytest.mark.parametrize("store", ["sqlite", POSTGRES], indirect=True)
def test_nothing_confirmed_is_lost_when_the_service_is_killed_and_started_again(
    busy: tuple[Server, list[Tablet]],
) -> None:
    server, tablets = busy
    chance = random.Random(7)
    for _ in range(SERVICE_KILLED):
        wait_for_progress(tablets, chance.randint(1, 12))
        time.sleep(chance.uniform(0, 0.06))
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
            wait_for_progress(tablets, 2 * TABLETS)
            cluster.stop("immediate")
            cluster.start()
        check(server, tablets)


@pytest.mark.parametrize(
    "store", [SQLITE, pytest.param("postgresql", marks=pytest.mark.postgres)], indirect=True
)
def test_a_service_that_is_told_to_stop_answers_what_it_has_begun(
    busy: tuple[Server, list[Tablet]],
) -> None:
    server, tablets = busy
    wait_for_progress(tablets, 2 * TABLETS)
    server.stop()
    server.start()
    check(server, tablets)


def test_a_backup_made_while_tablets_write_holds_everything_confirmed_before_it(
    busy: tuple[Server, list[Tablet]], tmp_path: Any
) -> None:
    server, tablets = busy
    # Again until somebody wrote meanwhile: mostly during the first.
    while True:
        wait_for_progress(tablets, TABLETS)
        before = [name for tablet in tablets for name in list(tablet.confirmed)]
        (tmp_path / "b").unlink(missing_ok=True)
        done = server.store.command("backup", str(tmp_path / "b"))
        assert done.returncode == 0, done.stderr
        if confirmed_by(tablets) > len(before):
            break
    check(server, tablets)
    other = server.store.sibling("restored")
    # The keeping key is taken to the other machine by hand.
    (other.home / "keeping-key").write_text((server.store.home / "keeping-key").read_text())
    assert other.command("restore", str(tmp_path / "b")).returncode == 0
    assert set(before) <= set(other.step("ledger")["entries"])
    assert other.command("verify").returncode == 0
