"""Whoever writes into the database without the keeping key is named by `verify`.

A hundred edits drawn at random: to rows of every bound table, to the audit, to triggers, indexes
and the schema, and single bits of the file. What is left out is the list in `keeping/schema.py`.
"""

from __future__ import annotations

import random
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.safe.stores import Store

EDITS = 100
BITS = 60
FREE = {"django_session", "accounts_signedin", "accounts_failure", "sqlite_sequence",
        "examinations_preferences",
        "sqlite_stat1"}  # fmt: skip
"""Written down here again: a table that is added to the program's list must be added here too."""


@pytest.fixture(scope="module")
def stores(tmp_path_factory: pytest.TempPathFactory) -> tuple[Store, Store]:
    """A store with something in every bound table, verified; and a copy in which edits are made."""
    folder = tmp_path_factory.mktemp("edits")
    (folder / "home").mkdir()
    store = Store(folder / "home")
    store.step("seed")
    store.step("fill")
    done = store.command("verify")
    assert done.returncode == 0, done.stderr
    other = store.sibling("edited")
    return store, other


def file_of(store: Store) -> Path:
    return store.home / "sidewise.sqlite3"


def shell(path: Path) -> sqlite3.Connection:
    """A shell of somebody who knows what the guards ask for."""
    link = sqlite3.connect(path, isolation_level=None)
    link.create_function("sidewise_erasing", 0, lambda: "everything")
    link.execute("PRAGMA ignore_check_constraints = ON")
    return link


def fresh_copy(stores: tuple[Store, Store]) -> Path:
    """The edited store as it was before any edit."""
    for path in stores[1].home.glob("*"):
        shutil.rmtree(path) if path.is_dir() else path.unlink()
    shutil.copytree(stores[0].home, stores[1].home, dirs_exist_ok=True)
    link = shell(file_of(stores[1]))
    link.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    link.close()
    return file_of(stores[1])


def names_of(link: sqlite3.Connection, kind: str) -> list[str]:
    sql = "SELECT name FROM sqlite_master WHERE type = ? AND sql IS NOT NULL ORDER BY name"
    return [name for (name,) in link.execute(sql, [kind])]


def without_triggers(link: sqlite3.Connection, table: str, work: Callable[[], Any]) -> None:
    """Take the guards away, do it, put them back as they were."""
    sql = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?"
    triggers = link.execute(sql, [table]).fetchall()
    for name, _ in triggers:
        link.execute(f"DROP TRIGGER {name}")
    work()
    for _, text in triggers:
        link.execute(text)


def edit_row(link: sqlite3.Connection, chance: random.Random) -> str:
    tables = [t for t in names_of(link, "table") if t not in FREE and rows_in(link, t)]
    table = chance.choice(tables)
    columns = [row[1] for row in link.execute(f"PRAGMA table_info({table})")]
    number = chance.choice([row for (row,) in link.execute(f"SELECT rowid FROM {table}")])
    column = chance.choice(columns)
    (old,) = link.execute(f'SELECT "{column}" FROM {table} WHERE rowid = ?', [number]).fetchone()
    without_triggers(link, table, lambda: link.execute(
        f'UPDATE OR REPLACE {table} SET "{column}" = ? WHERE rowid = ?',
        [other_value(old, column, chance), number]))  # fmt: skip
    return f"{table}.{column} of row {number}"


def other_value(old: Any, column: str, chance: random.Random) -> Any:
    """A value of the same kind that says something else."""
    if isinstance(old, int):
        return 1 - old if old in (0, 1) else old + chance.choice([-1, 1, 1000])
    if isinstance(old, bytes):
        place = chance.randrange(len(old))
        return old[:place] + bytes([old[place] ^ 1]) + old[place + 1 :]
    if not old:
        return "x"
    places = [n for n, letter in enumerate(old) if letter.isalnum()] or [0]
    place = chance.choice(places)
    letter = "1" if old[place] != "1" else "2"
    return old[:place] + letter + old[place + 1 :]


def delete_row(link: sqlite3.Connection, chance: random.Random) -> str:
    tables = [t for t in names_of(link, "table") if t not in FREE and rows_in(link, t)]
    table = chance.choice(tables)
    number = chance.choice([row for (row,) in link.execute(f"SELECT rowid FROM {table}")])
    without_triggers(
        link, table, lambda: link.execute(f"DELETE FROM {table} WHERE rowid = ?", [number])
    )
    return f"row {number} out of {table}"


def copy_row(link: sqlite3.Connection, chance: random.Random) -> str:
    """A row slipped in: another one's, under a number and names of its own."""
    tables = [t for t in names_of(link, "table") if t not in FREE and rows_in(link, t)]
    table = chance.choice(tables)
    columns = list(link.execute(f"PRAGMA table_info({table})"))
    row = dict(zip([c[1] for c in columns],
                   link.execute(f"SELECT * FROM {table} ORDER BY random()").fetchone(),
                   strict=True))  # fmt: skip
    unique = unique_columns(link, table)
    for _, name, kind, *_, key in columns:
        if key and kind.lower().startswith(("integer", "bigint")):
            row[name] = 900_000 + chance.randrange(1000)
        elif (key or name in unique) and isinstance(row[name], str):
            row[name] = f"{chance.getrandbits(128):032x}"[: len(row[name])]
        elif name in unique and isinstance(row[name], int) and table == "audit_auditline":
            row[name] = row[name] + 100_000
    marks = ", ".join("?" * len(row))
    link.execute(f"INSERT OR REPLACE INTO {table} VALUES ({marks})", list(row.values()))
    return f"a row slipped into {table}"


def unique_columns(link: sqlite3.Connection, table: str) -> set[str]:
    found: set[str] = set()
    for _, name, unique, *_ in link.execute(f"PRAGMA index_list({table})"):
        if unique:
            found |= {row[2] for row in link.execute(f"PRAGMA index_info({name})")}
    return found


def rows_in(link: sqlite3.Connection, table: str) -> int:
    return int(link.execute(f"SELECT count(*) FROM {table}").fetchone()[0])


def drop_trigger(link: sqlite3.Connection, chance: random.Random) -> str:
    name = chance.choice(names_of(link, "trigger"))
    link.execute(f"DROP TRIGGER {name}")
    return f"without trigger {name}"


def weaken_trigger(link: sqlite3.Connection, chance: random.Random) -> str:
    name = chance.choice(names_of(link, "trigger"))
    sql = "SELECT sql FROM sqlite_master WHERE name = ?"
    (text,) = link.execute(sql, [name]).fetchone()
    link.execute(f"DROP TRIGGER {name}")
    head = text[: text.upper().index("BEGIN")]
    link.execute(f"{head} BEGIN SELECT 1; END")
    return f"a trigger {name} that does nothing"


def add_trigger(link: sqlite3.Connection, chance: random.Random) -> str:
    tables = [t for t in names_of(link, "table") if not t.startswith("sqlite_")]
    table = chance.choice(tables)
    link.execute(f"CREATE TRIGGER quiet AFTER INSERT ON {table} BEGIN SELECT 1; END")
    return f"a trigger added to {table}"


def drop_index(link: sqlite3.Connection, chance: random.Random) -> str:
    name = chance.choice(names_of(link, "index"))
    link.execute(f"DROP INDEX {name}")
    return f"without index {name}"


def add_column(link: sqlite3.Connection, chance: random.Random) -> str:
    tables = [t for t in names_of(link, "table") if not t.startswith("sqlite_")]
    table = chance.choice(tables)
    link.execute(f"ALTER TABLE {table} ADD COLUMN more text")
    return f"a column added to {table}"


def add_view(link: sqlite3.Connection, chance: random.Random) -> str:
    link.execute("CREATE VIEW more AS SELECT 1")
    return "a view added"


HOW = (edit_row, edit_row, edit_row, edit_row, delete_row, copy_row, drop_trigger, weaken_trigger,
       add_trigger, drop_index, add_column, add_view)  # fmt: skip


def verified(store: Store, edits: list[dict[str, Any]]) -> list[list[str]]:
    """What verify names after each edit, all of them in one process."""
    answer: list[list[str]] = store.step("verify_each", files=[str(e["file"]) for e in edits])
    return answer


def test_a_hundred_random_edits_are_named(stores: tuple[Store, Store], tmp_path: Path) -> None:
    edits = []
    for seed in range(EDITS):
        chance = random.Random(seed)
        path = fresh_copy(stores)
        link = shell(path)
        before = list(link.iterdump())
        what = chance.choice(HOW)(link, chance)
        assert list(link.iterdump()) != before, f"{seed}: {what} changed nothing"
        link.close()
        shutil.copy(path, tmp_path / str(seed))
        edits.append({"file": tmp_path / str(seed), "what": what})
    found = verified(stores[1], edits)
    unseen = [edit["what"] for edit, named in zip(edits, found, strict=True) if not named]
    assert len(found) == EDITS
    assert unseen == []


def test_every_bound_table_has_rows_here(stores: tuple[Store, Store]) -> None:
    """An edit of a table without rows could not be drawn."""
    link = shell(file_of(stores[0]))
    filled = {table for table in names_of(link, "table") if rows_in(link, table)}
    empty = set(names_of(link, "table")) - filled - FREE
    link.close()
    # Groups and rights of Django's own, which the program does not use.
    assert empty == {"auth_group", "auth_group_permissions", "accounts_user_groups",
                     "accounts_user_user_permissions"}  # fmt: skip
    assert len(filled) >= 19


def test_the_tables_left_out_are_those_written_down() -> None:
    from sidewise.web.keeping import schema

    assert set(schema.FREE) == FREE
    assert all(schema.FREE.values())


def test_bits_of_the_file_that_hold_something_are_named(
    stores: tuple[Store, Store], tmp_path: Path
) -> None:
    """A bit holds something if SQLite reads another content, an error or a damaged file."""
    edits, seed = [], 0
    clean = said_by_sqlite(fresh_copy(stores))
    while len(edits) < BITS:
        chance, seed = random.Random(seed), seed + 1
        data = bytearray(fresh_copy(stores).read_bytes())
        place = chance.randrange(len(data))
        data[place] ^= 1 << chance.randrange(8)
        path = tmp_path / str(seed)
        path.write_bytes(data)
        if said_by_sqlite(path) != clean:
            edits.append({"file": path, "what": f"byte {place}"})
    found = verified(stores[1], edits)
    unseen = [edit["what"] for edit, named in zip(edits, found, strict=True) if not named]
    assert unseen == []


def said_by_sqlite(path: Path) -> Any:
    """Everything but the tables left out, as plain SQLite reads it, and its own check."""
    link = sqlite3.connect(path)
    try:
        tables = [t for t in names_of(link, "table") if t not in FREE]
        rows = [sorted(map(repr, link.execute(f"SELECT * FROM {t}"))) for t in tables]
        shape = link.execute("SELECT type, name, tbl_name, sql FROM sqlite_master").fetchall()
        return rows, shape, link.execute("PRAGMA integrity_check").fetchall()
    except (sqlite3.Error, UnicodeDecodeError) as error:
        return str(error)
    finally:
        link.close()
