"""Backup and restore: what comes back is the same, and nothing else is ever put back.

Run from outside, each step in a process of its own, on both databases.
"""

from __future__ import annotations

import random
import zipfile
from pathlib import Path

import pytest

from tests.safe.stores import Store

pytestmark = pytest.mark.slow


def backed_up(store: Store, path: Path) -> dict:
    before = store.step("seed")
    done = store.command("backup", str(path))
    assert done.returncode == 0, done.stderr
    return before


def test_a_restore_drill_gives_every_row_back(store: Store, tmp_path: Path) -> None:
    """Backup, another machine, restore, compare; then the service goes on from there."""
    before = backed_up(store, tmp_path / "b")
    other = store.sibling("other")
    done = other.command("restore", str(tmp_path / "b"))
    assert done.returncode == 0, done.stderr
    after = other.step("state")
    assert after["tables"] == before["tables"]
    assert after["folded"] == before["folded"]
    assert after["audit"] == before["audit"] + 1
    verified = other.command("verify")
    assert verified.returncode == 0, verified.stderr
    assert "records: 3 read and folded" in verified.stdout


@pytest.mark.postgres
def test_a_laptops_backup_is_restored_by_a_department(cluster: object, tmp_path: Path) -> None:
    """From SQLite to PostgreSQL and back again: the same rows."""
    (tmp_path / "home").mkdir()
    laptop = Store(tmp_path / "home")
    before = backed_up(laptop, tmp_path / "b")
    (tmp_path / "department").mkdir()
    department = Store(tmp_path / "department", cluster.create("department"), cluster)
    assert department.command("restore", str(tmp_path / "b")).returncode == 0
    assert department.step("state")["tables"] == before["tables"]
    assert department.command("backup", str(tmp_path / "c")).returncode == 0
    home_again = laptop.sibling("again")
    assert home_again.command("restore", str(tmp_path / "c")).returncode == 0
    assert home_again.step("state")["tables"] == before["tables"]


def test_a_restore_over_present_data_is_refused(store: Store, tmp_path: Path) -> None:
    before = backed_up(store, tmp_path / "b")
    done = store.command("restore", str(tmp_path / "b"))
    assert done.returncode == 2
    assert "a database with records in it" in done.stderr
    assert "Traceback" not in done.stderr
    assert store.step("state")["tables"] == before["tables"]


def test_a_backup_never_overwrites(store: Store, tmp_path: Path) -> None:
    backed_up(store, tmp_path / "b")
    done = store.command("backup", str(tmp_path / "b"))
    assert done.returncode == 2
    assert "a name that is not taken" in done.stderr


@pytest.fixture(scope="module")
def laptop(tmp_path_factory: pytest.TempPathFactory) -> tuple[Store, Path]:
    """A store with records, and its backup."""
    folder = tmp_path_factory.mktemp("laptop")
    (folder / "home").mkdir()
    store = Store(folder / "home")
    backed_up(store, folder / "b")
    return store, folder / "b"


def test_a_replaced_database_is_kept_beside(laptop: tuple[Store, Path]) -> None:
    store, path = laptop
    done = store.command("restore", "--replace", str(path))
    assert done.returncode == 0, done.stderr
    kept = list(store.home.glob("sidewise.sqlite3.before-restore-*"))
    assert len(kept) == 1
    assert str(kept[0]) in done.stdout
    assert store.command("verify").returncode == 0


def test_a_backup_is_readable_by_its_owner_only(laptop: tuple[Store, Path]) -> None:
    assert laptop[1].stat().st_mode & 0o777 == 0o600


def test_a_backup_holds_no_signing_key_and_no_session(laptop: tuple[Store, Path]) -> None:
    store, path = laptop
    key = (store.home / "secret-key").read_text().strip().encode()
    with zipfile.ZipFile(path) as archive:
        names = archive.namelist()
        assert not any(key in archive.read(name) for name in names)
    assert not any("session" in name or "signedin" in name for name in names)


def test_without_the_signing_key_records_open_and_second_factors_do_not(
    laptop: tuple[Store, Path],
) -> None:
    store, path = laptop
    other = store.sibling("without-key")
    other.command("restore", str(path))
    assert store.step("factor_opens") is True
    assert other.step("factor_opens") is False
    (other.home / "secret-key").write_text((store.home / "secret-key").read_text())
    assert other.step("factor_opens") is True


# In one process: many ways to damage a file, each read as `restore` reads it first.


def damage(path: Path, target: Path, how: str, seed: int) -> None:
    data, chance = bytearray(path.read_bytes()), random.Random(seed)
    if how == "bit":
        place = chance.randrange(len(data))
        data[place] ^= 1 << chance.randrange(8)
    elif how == "cut":
        del data[chance.randrange(len(data)) :]
    elif how == "zeros":
        start = chance.randrange(len(data) - 40)
        data[start : start + 40] = bytes(40)
    target.write_bytes(data)


def _same_content(path: Path, other: Path) -> bool:
    """A flipped bit in a field that carries nothing (a time stamp) changes nothing."""
    with zipfile.ZipFile(path) as a, zipfile.ZipFile(other) as b:
        return a.namelist() == b.namelist() and all(a.read(n) == b.read(n) for n in a.namelist())


@pytest.mark.parametrize("how", ["bit", "cut", "zeros"])
def test_a_damaged_backup_is_refused_in_a_hundred_places(
    laptop: tuple[Store, Path], tmp_path: Path, how: str
) -> None:
    from sidewise.errors import UserError
    from sidewise.web.keeping.backup import check

    refused = 0
    for seed in range(100):
        damage(laptop[1], tmp_path / "d", how, seed)
        try:
            check(tmp_path / "d")
        except UserError:
            refused += 1
        else:
            assert _same_content(laptop[1], tmp_path / "d"), (how, seed)
    assert refused >= 60


def rewritten(path: Path, target: Path, change: dict[str, bytes], drop: str = "") -> None:
    """A zip that is whole as a zip, with other members."""
    with zipfile.ZipFile(path) as source, zipfile.ZipFile(target, "w") as new:
        for name in source.namelist():
            if name != drop:
                new.writestr(name, change.get(name, source.read(name)))
        for name in set(change) - set(source.namelist()):
            new.writestr(name, change[name])


@pytest.mark.parametrize(
    ("change", "drop", "words"),
    [
        ({"manifest.json": b'{"format": "other/1"}'}, "", "a file of another kind"),
        ({"manifest.json": b"[]"}, "", "a file of another kind"),
        ({"manifest.json": b"{"}, "", "JSONDecodeError"),
        ({"extra.jsonl": b"{}"}, "", "other members"),
        ({}, "patients.patient.jsonl", "other members"),
        ({"patients.patient.jsonl": b""}, "", "another content of patients.patient"),
    ],
)
def test_a_foreign_or_changed_backup_is_refused_with_the_reason(
    laptop: tuple[Store, Path], tmp_path: Path, change: dict[str, bytes], drop: str, words: str
) -> None:
    from sidewise.errors import UserError
    from sidewise.web.keeping.backup import check

    rewritten(laptop[1], tmp_path / "d", change, drop)
    with pytest.raises(UserError, match=words):
        check(tmp_path / "d")


@pytest.mark.parametrize("content", [b"", b"not a zip", b"PK\x03\x04", b"\x00" * 5000])
def test_another_kind_of_file_is_refused_by_the_command(
    laptop: tuple[Store, Path], tmp_path: Path, content: bytes
) -> None:
    (tmp_path / "d").write_bytes(content)
    done = laptop[0].command("verify", "--backup", str(tmp_path / "d"))
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert "damaged or foreign" in done.stderr.lower()


def test_a_backup_whose_rows_were_changed_with_their_digest_fails_its_audit(
    laptop: tuple[Store, Path], tmp_path: Path
) -> None:
    """Somebody who also mends the manifest is still met by the chain, whose seals do not fit."""
    import hashlib
    import json

    with zipfile.ZipFile(laptop[1]) as archive:
        lines = archive.read("audit.auditline.jsonl").replace(b'"act": "write"', b'"act": "read"')
        manifest = json.loads(archive.read("manifest.json"))
    manifest["tables"]["audit.auditline"]["sha256"] = hashlib.sha256(lines).hexdigest()
    change = {"audit.auditline.jsonl": lines, "manifest.json": json.dumps(manifest).encode()}
    rewritten(laptop[1], tmp_path / "d", change)
    other = laptop[0].sibling("mended")
    done = other.command("restore", str(tmp_path / "d"))
    assert done.returncode == 2
    assert "an audit chain where line 1 was changed" in done.stderr
    assert other.step("state")["patients"] == []


def test_a_backup_of_a_newer_version_is_refused(laptop: tuple[Store, Path], tmp_path: Path) -> None:
    import json

    with zipfile.ZipFile(laptop[1]) as archive:
        manifest = json.loads(archive.read("manifest.json"))
    manifest["migrations"]["patients"].append("0099_from_the_future")
    rewritten(laptop[1], tmp_path / "d", {"manifest.json": json.dumps(manifest).encode()})
    done = laptop[0].sibling("older").command("restore", str(tmp_path / "d"))
    assert done.returncode == 2
    assert "0099_from_the_future" in done.stderr


def test_what_was_erased_does_not_come_back_with_an_older_backup(
    tmp_path: Path, store: Store
) -> None:
    store.settings = {"SIDEWISE_KEEP_PATIENT_YEARS": "0"}
    backed_up(store, tmp_path / "b")
    assert store.step("erase_patient", code="TERN-1")["patients"] == ["TERN-0", "TERN-2"]
    if store.cluster:
        home, store = store.home, store.sibling("again")
        (store.home / "erased").write_text((home / "erased").read_text())
        done = store.command("restore", str(tmp_path / "b"))
    else:
        done = store.command("restore", "--replace", str(tmp_path / "b"))
    assert "1 record(s) erased since the backup were erased again" in done.stdout
    assert store.step("state")["patients"] == ["TERN-0", "TERN-2"]
    assert store.command("verify").returncode == 0
