"""Who may hold a file's lock with whom, by flock and by the byte ranges that Windows has."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from sidewise.ground import file_lock
from sidewise.ground.file_lock import SEATS, take_lock

ROOT = Path(__file__).parents[2]


class ByteRanges:
    """`msvcrt.locking` as the Python manual describes it: a range from where the file stands, for
    one descriptor; a range that touches one of another descriptor is an OSError."""

    LK_NBLCK = 2

    def __init__(self) -> None:
        self.taken: list[tuple[int, int, int]] = []

    def locking(self, descriptor: int, _mode: int, length: int) -> None:
        first = os.lseek(descriptor, 0, os.SEEK_CUR)
        for _, start, end in self.taken:
            if first < end and start < first + length:
                raise OSError(36, "resource deadlock avoided")
        self.taken.append((descriptor, first, first + length))

    def give_back(self, descriptor: int) -> None:
        self.taken = [one for one in self.taken if one[0] != descriptor]


@pytest.fixture(params=["flock", "byte ranges"])
def system(request: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Closing a file gives its lock back, on either system."""
    if request.param == "flock":
        pytest.importorskip("fcntl")
        return SimpleNamespace(give_back=lambda _: None)
    ranges = ByteRanges()
    monkeypatch.setattr(file_lock, "find_spec", lambda _: None)
    monkeypatch.setattr(file_lock, "import_module", {"msvcrt": ranges}.__getitem__)
    return ranges


@pytest.fixture
def files(tmp_path: Path) -> Iterator[list[Any]]:
    (tmp_path / "in-use").touch()
    opened = [(tmp_path / "in-use").open("a+") for _ in range(3)]
    yield opened
    for file in opened:
        file.close()


def test_many_share_and_nobody_is_alone_meanwhile(system: Any, files: list[Any]) -> None:
    assert take_lock(files[0], alone=False)
    assert take_lock(files[1], alone=False)
    assert not take_lock(files[2], alone=True)


def test_who_is_alone_keeps_everybody_out_until_the_file_is_closed(
    system: Any, files: list[Any]
) -> None:
    assert take_lock(files[0], alone=True)
    assert not take_lock(files[1], alone=False)
    assert not take_lock(files[2], alone=True)
    system.give_back(files[0].fileno())
    files[0].close()
    assert take_lock(files[1], alone=False)


def test_the_file_is_written_where_it_stood(system: Any, files: list[Any]) -> None:
    """The ranges lie far behind its end, so that others can read what stands in it."""
    assert take_lock(files[0], alone=False)
    files[0].write("service\n")
    files[0].flush()
    assert os.fstat(files[0].fileno()).st_size == len("service\n")
    assert file_lock.FIRST_SEAT > 1_000_000
    assert SEATS > 1


HIDDEN = """
import importlib, pkgutil, sys
for name in ("fcntl", "resource", "termios", "pwd", "grp"):
    sys.modules[name] = None
import django, os
os.environ["DJANGO_SETTINGS_MODULE"] = "sidewise.web.settings"
django.setup()
import sidewise
count = 0
# What serves takes hold of the data folder as soon as it is imported.
skipped = ("sidewise.web.manage", "sidewise.web.wsgi")
for found in pkgutil.walk_packages(sidewise.__path__, "sidewise."):
    if "migrations" not in found.name and not found.name.startswith(skipped):
        importlib.import_module(found.name)
        count += 1
print(count)
"""


@pytest.mark.slow
def test_everything_is_imported_where_unix_alone_has_its_modules_hidden(tmp_path: Path) -> None:
    env = {**os.environ, "SIDEWISE_HOME": str(tmp_path)}
    done = subprocess.run([sys.executable, "-c", HIDDEN], capture_output=True, text=True,
                          check=False, env=env, cwd=ROOT)  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) > 400
