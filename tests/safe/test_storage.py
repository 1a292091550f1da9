"""A full disk, a read-only folder, a damaged file, a restore beside the service: all in words."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.db.utils import OperationalError
from django.urls import reverse

from sidewise.web import storage
from sidewise.web.examinations.models import LedgerEntry
from tests.safe.conftest import Clinic, entry
from tests.safe.stores import ROOT, Store

SQLITE_ONLY = "the faults are SQLite's own"


@pytest.fixture(autouse=True)
def no_former_trouble() -> None:
    storage._last.clear()


@pytest.fixture
def full(clinic: Clinic) -> Any:
    """SQLite refuses every new page, as on a full disk."""
    if connection.vendor != "sqlite":
        pytest.skip(SQLITE_ONLY)
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA page_count")
        (pages,) = cursor.fetchone()
        cursor.execute(f"PRAGMA max_page_count = {pages}")
    yield
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA max_page_count = 1073741823")


def touches(clinic: Clinic, number: int) -> Any:
    """A sending too large for the pages that are left."""
    sent = []
    for place in range(number):
        one = entry(name=f"t{place}")
        one["deed"]["finding"]["note"] = "x" * 1500
        sent.append(one)
    url = reverse("touch", args=[clinic.examination.pk])
    body = json.dumps({"entries": sent})
    return clinic.client("owner").post(url, body, content_type="application/json")


@pytest.mark.django_db
def test_a_full_disk_is_said_in_words_and_nothing_confirmed_is_lost(
    clinic: Clinic, full: Any
) -> None:
    before = list(LedgerEntry.objects.values_list("pk", flat=True))
    answer = touches(clinic, 100)
    assert answer.status_code == 503
    assert "The disk of the server is full." in answer.content.decode()
    assert "was not" in answer.content.decode()
    assert answer["Retry-After"] == "30"
    assert list(LedgerEntry.objects.values_list("pk", flat=True)) == before


@pytest.mark.django_db
def test_the_health_page_says_that_the_disk_is_full(clinic: Clinic, full: Any) -> None:
    client = clinic.client("nobody")
    assert client.get("/health/").status_code == 200
    touches(clinic, 100)
    answer = client.get("/health/")
    assert (answer.status_code, answer.content) == (503, b"disk-full\n")


@pytest.mark.django_db
def test_the_health_page_says_so_before_the_disk_is_full(clinic: Clinic, monkeypatch: Any) -> None:
    room = shutil.disk_usage("/")._replace(free=storage.LEAST_FREE - 1)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: room)
    answer = clinic.client("nobody").get("/health/")
    assert (answer.status_code, answer.content) == (503, b"disk-full\n")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: room._replace(free=storage.LEAST_FREE))
    assert clinic.client("nobody").get("/health/").status_code == 200


@pytest.mark.django_db
def test_an_error_of_another_kind_still_says_nothing_of_itself(
    clinic: Clinic, monkeypatch: Any
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise OperationalError("no such column: zanzibarite")

    monkeypatch.setattr("sidewise.web.examinations.store.write", broken)
    answer = touches(clinic, 1)
    assert answer.status_code == 500
    assert b"zanzibarite" not in answer.content


@pytest.fixture(scope="module")
def laptop(tmp_path_factory: pytest.TempPathFactory) -> Store:
    home = tmp_path_factory.mktemp("laptop") / "home"
    home.mkdir()
    store = Store(home)
    store.step("seed")
    assert store.command("backup", str(home.parent / "b")).returncode == 0
    return store


def in_words(done: subprocess.CompletedProcess[str], *words: str) -> None:
    assert done.returncode == 2, done.stderr
    assert "Traceback" not in done.stderr
    assert all(word in done.stderr for word in words), done.stderr


@pytest.mark.parametrize(
    "command", [["verify"], ["backup", "B"], ["restore", "--replace", "SAVED"]]
)
def test_a_damaged_database_is_said_in_words(
    laptop: Store, tmp_path: Path, command: list[str]
) -> None:
    broken = copied(laptop, tmp_path)
    (broken.home / "sidewise.sqlite3").write_bytes(b"SQLite format 3\x00" + b"\xff" * 8192)
    places = {"B": str(tmp_path / "b"), "SAVED": str(laptop.home.parent / "b")}
    done = broken.command(*(places.get(word, word) for word in command))
    in_words(done, "the store:", "restore the last backup")


def copied(store: Store, tmp_path: Path) -> Store:
    home = tmp_path / "home"
    shutil.copytree(store.home, home)
    return Store(home)


def test_a_backup_onto_a_full_disk_is_said_in_words(laptop: Store, tmp_path: Path) -> None:
    """Every write to /dev/full fails as on a full disk."""
    if not os.path.exists("/dev/full"):
        pytest.skip("no /dev/full here")
    code = (
        "import os, sys; sys.argv = ['sidewise', 'backup', sys.argv[1]]\n"
        "real = os.open\n"
        "os.open = lambda p, *a, **k: real('/dev/full' if str(p).endswith('.part') else p, "
        "*([os.O_WRONLY] if str(p).endswith('.part') else a), **k)\n"
        "from sidewise.cli import main; main()"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "b")], env=laptop.environment,
        capture_output=True, text=True, check=False, cwd=ROOT,
    )  # fmt: skip
    in_words(done, "Make room on the disk")
    assert not (tmp_path / "b").exists()


def test_a_restore_beside_a_running_service_is_refused_and_names_it(
    laptop: Store, tmp_path: Path
) -> None:
    store = copied(laptop, tmp_path)
    code = "import sidewise.web.wsgi, sys; print('up', flush=True); sys.stdin.read()"
    service = subprocess.Popen(
        [sys.executable, "-c", code], env=store.environment, cwd=ROOT, text=True,
        stdin=subprocess.PIPE, stdout=subprocess.PIPE,
    )  # fmt: skip
    assert service.stdin is not None
    assert service.stdout is not None
    saved = str(laptop.home.parent / "b")
    try:
        assert service.stdout.readline() == "up\n"
        done = store.command("restore", "--replace", saved)
        in_words(done, f"the service (process {service.pid}", "Stop the service")
        assert store.command("verify").returncode == 0
    finally:
        service.kill()
        service.communicate()
    # Killed, it left its name in the file; the hold went with it.
    done = store.command("restore", "--replace", saved)
    assert done.returncode == 0, done.stderr


def test_a_service_does_not_start_in_the_middle_of_a_restore(laptop: Store, tmp_path: Path) -> None:
    store = copied(laptop, tmp_path)
    code = (
        "from sidewise.web.keeping import place\n"
        "import subprocess, sys\n"
        "with place.held('sidewise restore', alone=True):\n"
        "    sys.exit(subprocess.run([sys.executable, '-c', 'import sidewise.web.wsgi'],"
        " capture_output=True).returncode)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], env=store.environment, cwd=ROOT, check=False
    )
    assert done.returncode != 0
