"""PostgreSQL fails over to a standby, and is put back to a point in time: what was confirmed stays.

A standby that answers before a commit is confirmed (`synchronous_standby_names`) takes over after
the first server was stopped at once. A base backup with the archived log goes back to a named
point; then the note outside the database tells that lines are missing, and operations.md says
what to do. Both are PostgreSQL's own means (its manual, chapters 26.2 and 25.3; recalled).
"""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.safe.stores import Store
from tests.setup_postgres import Cluster, find_binaries

pytestmark = [pytest.mark.postgres, pytest.mark.long]
HANGS_S = 300


@pytest.fixture
def place() -> Iterator[Path]:
    """A folder that the server's user can reach: those of pytest are closed to others."""
    folder = Path(tempfile.mkdtemp(prefix="sidewise-postgres-"))
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def first(place: Path) -> Iterator[Cluster]:
    """A server of one's own, with its log archived."""
    binaries = find_binaries()
    if binaries is None:
        pytest.skip("no PostgreSQL binaries here")
    folder = place / "first"
    folder.mkdir()
    server = Cluster(binaries, folder)
    server.make()
    archive = _owned(server, folder / "archive")
    _configure(server, "wal_level = replica", "archive_mode = on",
               f"archive_command = 'cp %p {archive}/%f'", "max_wal_senders = 4")  # fmt: skip
    server.start()
    yield server
    _stop(server)


def _owned(server: Cluster, folder: Path) -> Path:
    folder.mkdir()
    folder.chmod(0o700)
    if server.as_user:
        shutil.chown(folder, server.as_user[1].split("=")[1])
    return folder


def _configure(server: Cluster, *lines: str) -> None:
    with (server.data / "postgresql.auto.conf").open("a") as file:
        file.writelines(f"{line}\n" for line in lines)


def _stop(server: Cluster) -> None:
    if (server.data / "postmaster.pid").exists():
        server.stop("immediate")


def copy_of(server: Cluster, folder: Path, *options: str) -> Cluster:
    """A base backup of a running server, ready to be started on a port of its own."""
    folder.mkdir()
    other = Cluster(server.binaries, folder)
    other.password = server.password
    other.as_user = server.as_user
    if server.as_user:
        shutil.chown(folder, server.as_user[1].split("=")[1])
    address = f"host=127.0.0.1 port={server.port} user=sidewise password={server.password}"
    server._run(
        "pg_basebackup",
        "-D",
        str(other.data),
        "-X",
        "stream",
        "-c",
        "fast",
        "-d",
        address,
        *options,
    )
    return other


def said(server: Cluster, question: str) -> Any:
    """One value."""
    import psycopg

    with psycopg.connect(server.url(), autocommit=True) as link:
        row = link.execute(question).fetchone()
        assert row is not None
        return row[0]


def wait_until(is_so: Callable[[], bool]) -> None:
    """The deadline only ends what hangs."""
    end = time.monotonic() + HANGS_S
    while not is_so():
        assert time.monotonic() < end
        time.sleep(0.1)


def test_a_standby_that_takes_over_has_everything_that_was_confirmed(
    first: Cluster, place: Path, tmp_path: Path
) -> None:
    standby = copy_of(first, place / "standby", "-R")
    _configure(standby, "archive_mode = off")
    standby.start()
    try:
        said(first, "SELECT pg_sleep(0)::text")
        _configure(first, "synchronous_standby_names = '*'", "synchronous_commit = on")
        assert said(first, "SELECT pg_reload_conf()")
        wait_until(lambda: said(first, "SELECT count(*) FROM pg_stat_replication") == 1)
        (tmp_path / "home").mkdir()
        store = Store(tmp_path / "home", first.create("shift"), first)
        before = store.step("seed", patients=2, touches=4)
        first.stop("immediate")
        standby._run("pg_ctl", "-D", str(standby.data), "-w", "promote")
        # The address moves to the other server, as a department's does.
        store.url = standby.url("shift")
        assert store.step("state") == before
        done = store.command("verify")
        assert done.returncode == 0, done.stderr
        assert store.step("seed_more") > before["entries"]
    finally:
        _stop(standby)


def test_a_restore_to_a_point_in_time_is_noticed_and_taken_as_operations_says(
    first: Cluster, place: Path, tmp_path: Path
) -> None:
    (tmp_path / "home").mkdir()
    store = Store(tmp_path / "home", first.create("shift"), first)
    store.step("seed", patients=1, touches=3)
    assert store.command("verify").returncode == 0
    before = store.step("state")
    past = copy_of(first, place / "past")
    assert said(first, "SELECT pg_create_restore_point('before the mistake')::text")
    store.step("seed_more")
    said(first, "SELECT pg_switch_wal()::text")
    wait_until(lambda: said(first, "SELECT archived_count FROM pg_stat_archiver") > 0)
    first.stop("fast")
    archive = first.folder / "archive"
    _configure(past, f"restore_command = 'cp {archive}/%f %p'", "archive_mode = off",
               "recovery_target_name = 'before the mistake'", "recovery_target_action = 'promote'",
               "synchronous_standby_names = ''")  # fmt: skip
    _signal(past)
    past.start()
    try:
        wait_until(lambda: not said(past, "SELECT pg_is_in_recovery()"))
        store.url = past.url("shift")
        assert store.step("state") == before
        # What was written after the point is gone, and the note outside tells so.
        done = store.command("verify")
        assert done.returncode == 2
        assert "are missing" in done.stderr
        _as_operations_says(store.home)
        done = store.command("verify")
        assert done.returncode == 0, done.stderr
    finally:
        _stop(past)


def _signal(server: Cluster) -> None:
    path = server.data / "recovery.signal"
    path.touch()
    if server.as_user:
        shutil.chown(path, server.as_user[1].split("=")[1])


def _as_operations_says(home: Path) -> None:
    """Put the notes of the lost lines aside; they are kept as evidence."""
    for name in ("audit-head", "audit-anchors"):
        if (home / name).exists():
            (home / name).rename(home / f"{name}.before-point-in-time")
