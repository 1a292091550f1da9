"""An upgrade keeps the database as it was; data of a newer version are not opened."""

from __future__ import annotations

import sqlite3
import stat
from pathlib import Path

from tests.commands.test_anywhere import run
from tests.old_data.doors import Home


def names(path: Path) -> set[str]:
    with sqlite3.connect(path) as opened:
        found = {name for (name,) in opened.execute("SELECT name FROM django_migrations")}
    opened.close()
    return found


def whole(path: Path) -> list[str]:
    with sqlite3.connect(path) as opened:
        found = list(opened.iterdump())
    opened.close()
    return found


def test_an_upgrade_keeps_the_database_as_it_was(home: Home) -> None:
    database = home.folder / "sidewise.sqlite3"
    before = names(database)
    done = run("verify", SIDEWISE_HOME=str(home.folder))
    assert done.returncode == 0, done.stderr
    assert names(database) > before
    (copy,) = home.folder.glob("before-upgrade-*.sqlite3")
    assert names(copy) == before
    assert stat.S_IMODE(copy.stat().st_mode) == 0o600
    # Nothing more to change: nothing more to copy.
    assert run("verify", SIDEWISE_HOME=str(home.folder)).returncode == 0
    assert list(home.folder.glob("before-upgrade-*.sqlite3")) == [copy]


def test_data_of_a_newer_version_are_refused_in_words_and_left_alone(home: Home) -> None:
    database = home.folder / "sidewise.sqlite3"
    with sqlite3.connect(database) as opened:
        opened.execute("INSERT INTO django_migrations (app, name, applied) "
                       "VALUES ('examinations', '0099_later', '2030-01-01')")  # fmt: skip
    opened.close()
    before = whole(database)
    done = run("verify", SIDEWISE_HOME=str(home.folder))
    assert (done.returncode, done.stdout) == (2, "")
    assert "data of a newer version (examinations 0099_later)" in done.stderr
    assert "Install the newer version again; nothing was changed." in done.stderr
    assert "Traceback" not in done.stderr
    assert whole(database) == before
