"""Backup and restore: what comes back is the same, and nothing else is ever put back.

Run from outside, each step in a process of its own, on both databases.
"""

from __future__ import annotations

import hashlib
import io
import json
import random
import zipfile
from pathlib import Path
from typing import Any

import pytest

from sidewise.web.keeping.envelope import Sealing, opened
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
    other = carry_key(store, store.sibling("other"))
    done = other.command("restore", str(tmp_path / "b"))
    assert done.returncode == 0, done.stderr
    after = other.step("state")
    assert after["tables"] == before["tables"]
    assert after["folded"] == before["folded"]
    assert after["audit"] > before["audit"]
    verified = other.command("verify")
    assert verified.returncode == 0, verified.stderr
    assert "records: 3 read and folded" in verified.stdout


@pytest.mark.parametrize(
    ("step", "app", "count"),
    [
        ("mark", ("marks",), 6),
        ("practise", ("classes", "practice"), 9),
        ("supervise", ("supervised",), 2),
    ],
)
def test_a_restore_gives_teaching_back_row_by_row(
    tmp_path: Path, step: str, app: tuple[str, ...], count: int
) -> None:
    home = tmp_path / "home"
    home.mkdir()
    store = Store(home)
    store.step("seed")
    store.step(step)
    before = store.step("state")
    assert store.command("backup", str(tmp_path / "b")).returncode == 0
    other = carry_key(store, store.sibling("other"))
    done = other.command("restore", str(tmp_path / "b"))
    assert done.returncode == 0, done.stderr
    after = other.step("state")
    kept = [name for name in before["tables"] if name.split(".")[0] in app]
    assert len(kept) == count
    assert all(before["tables"][name][0] for name in kept)
    assert after["tables"] == before["tables"]
    assert other.command("verify").returncode == 0


@pytest.mark.postgres
def test_a_laptops_backup_is_restored_by_a_department(cluster: object, tmp_path: Path) -> None:
    """From SQLite to PostgreSQL and back again: the same rows."""
    (tmp_path / "home").mkdir()
    laptop = Store(tmp_path / "home")
    before = backed_up(laptop, tmp_path / "b")
    (tmp_path / "department").mkdir()
    department = Store(tmp_path / "department", cluster.create("department"), cluster)
    carry_key(laptop, department)
    assert department.command("restore", str(tmp_path / "b")).returncode == 0
    assert department.step("state")["tables"] == before["tables"]
    assert department.command("backup", str(tmp_path / "c")).returncode == 0
    home_again = carry_key(laptop, laptop.sibling("again"))
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


def key_of(store: Store) -> str:
    return (store.home / "keeping-key").read_text().strip()


def carry_key(store: Store, other: Store) -> Store:
    """The keeping key is taken to the other machine by hand."""
    (other.home / "keeping-key").write_text(key_of(store))
    return other


@pytest.fixture
def keyed(laptop: tuple[Store, Path], settings: Any) -> str:
    """This process uses the laptop's keeping key."""
    settings.KEEPING_KEY = key_of(laptop[0])
    return settings.KEEPING_KEY


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


def test_a_backup_holds_no_key_and_no_session(laptop: tuple[Store, Path], keyed: str) -> None:
    store, path = laptop
    keys = [(store.home / "secret-key").read_text().strip().encode(), keyed.encode()]
    with opened(path) as backup, zipfile.ZipFile(backup.file) as archive:
        names = archive.namelist()
        assert not any(key in archive.read(name) for name in names for key in keys)
    assert not any("session" in name or "signedin" in name for name in names)


def test_without_the_signing_key_records_open_and_second_factors_do_not(
    laptop: tuple[Store, Path],
) -> None:
    store, path = laptop
    other = carry_key(store, store.sibling("without-key"))
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


@pytest.mark.parametrize("how", ["bit", "cut", "zeros"])
def test_a_damaged_backup_is_refused_in_a_hundred_places(
    laptop: tuple[Store, Path], tmp_path: Path, how: str, keyed: str
) -> None:
    """Every bit is sealed; zeros over zeros alone change nothing."""
    from sidewise.errors import UserError
    from sidewise.web.keeping.backup import check

    refused = 0
    for seed in range(100):
        damage(laptop[1], tmp_path / "d", how, seed)
        with pytest.raises(UserError):
            check(tmp_path / "d")
        refused += 1
    assert refused == 100


def rewritten(path: Path, target: Path, change: dict[str, bytes], drop: str = "") -> None:
    """Another archive in an envelope that is whole: what only the holder of the key can make."""
    with opened(path) as backup, zipfile.ZipFile(backup.file) as source:
        members = {name: source.read(name) for name in source.namelist() if name != drop}
    with target.open("wb") as raw:
        sealing = Sealing(raw)
        sealing.write(archive_of(members | change))
        sealing.finish()


def archive_of(members: dict[str, bytes]) -> bytes:
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w") as new:
        for name, content in members.items():
            new.writestr(name, content)
    return whole.getvalue()


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
    laptop: tuple[Store, Path], tmp_path: Path, change: dict[str, bytes], drop: str, words: str,
    keyed: str,
) -> None:  # fmt: skip
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
    laptop: tuple[Store, Path], tmp_path: Path, keyed: str
) -> None:
    """Somebody who also mends the manifest is still met by the chain, whose seals do not fit."""
    with opened(laptop[1]) as backup, zipfile.ZipFile(backup.file) as archive:
        lines = archive.read("audit.auditline.jsonl").replace(b'"act": "write"', b'"act": "read"')
        manifest = json.loads(archive.read("manifest.json"))
    manifest["tables"]["audit.auditline"]["sha256"] = hashlib.sha256(lines).hexdigest()
    change = {"audit.auditline.jsonl": lines, "manifest.json": json.dumps(manifest).encode()}
    rewritten(laptop[1], tmp_path / "d", change)
    other = carry_key(laptop[0], laptop[0].sibling("mended"))
    done = other.command("restore", str(tmp_path / "d"))
    assert done.returncode == 2
    assert "an audit chain where line 6 was changed" in done.stderr
    assert other.step("state")["patients"] == []


def test_a_backup_of_a_newer_version_is_refused(
    laptop: tuple[Store, Path], tmp_path: Path, keyed: str
) -> None:
    with opened(laptop[1]) as backup, zipfile.ZipFile(backup.file) as archive:
        manifest = json.loads(archive.read("manifest.json"))
    manifest["migrations"]["patients"].append("0099_from_the_future")
    rewritten(laptop[1], tmp_path / "d", {"manifest.json": json.dumps(manifest).encode()})
    other = carry_key(laptop[0], laptop[0].sibling("older"))
    done = other.command("restore", str(tmp_path / "d"))
    assert done.returncode == 2
    assert "0099_from_the_future" in done.stderr


def test_what_was_erased_does_not_come_back_with_an_older_backup(
    tmp_path: Path, store: Store
) -> None:
    store.settings = {"SIDEWISE_KEEP_PATIENT_YEARS": "0"}
    backed_up(store, tmp_path / "b")
    assert store.step("erase_patient", code="TERN-1")["patients"] == ["TERN-0", "TERN-2"]
    if store.cluster:
        home, store = store.home, carry_key(store, store.sibling("again"))
        (store.home / "erased").write_text((home / "erased").read_text())
        done = store.command("restore", str(tmp_path / "b"))
    else:
        done = store.command("restore", "--replace", str(tmp_path / "b"))
    assert "1 record(s) erased since the backup were erased again" in done.stdout
    assert store.step("state")["patients"] == ["TERN-0", "TERN-2"]
    assert store.command("verify").returncode == 0


def forged(path: Path, target: Path) -> None:
    """An envelope made with another key around rows in which a student administers."""
    with opened(path) as backup, zipfile.ZipFile(backup.file) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    users = members["accounts.user.jsonl"].replace(b'"role": "student"', b'"role": "administrator"')
    assert users != members["accounts.user.jsonl"]
    manifest = json.loads(members["manifest.json"])
    manifest["tables"]["accounts.user"]["sha256"] = hashlib.sha256(users).hexdigest()
    mended = {"accounts.user.jsonl": users, "manifest.json": json.dumps(manifest).encode()}
    target.write_bytes(archive_of(members | mended))


def test_a_forged_backup_without_an_envelope_is_refused(
    laptop: tuple[Store, Path], tmp_path: Path, keyed: str
) -> None:
    forged(laptop[1], tmp_path / "d")
    done = laptop[0].command("verify", "--backup", str(tmp_path / "d"))
    assert done.returncode == 2
    assert "no envelope, though its version writes one" in done.stderr


def test_a_forged_backup_in_an_envelope_of_another_key_is_refused(
    laptop: tuple[Store, Path], tmp_path: Path, keyed: str, settings: Any
) -> None:
    forged(laptop[1], tmp_path / "d")
    settings.KEEPING_KEY = "a key of somebody else's"
    with (tmp_path / "e").open("wb") as raw:
        sealing = Sealing(raw)
        sealing.write((tmp_path / "d").read_bytes())
        sealing.finish()
    done = laptop[0].command("restore", "--replace", str(tmp_path / "e"))
    assert done.returncode == 2
    assert "sealed with another key" in done.stderr
    assert "keeping-key" in done.stderr


def test_rows_changed_inside_a_whole_envelope_are_met_by_the_audit(
    laptop: tuple[Store, Path], tmp_path: Path, keyed: str
) -> None:
    """Even with the key of the envelope: the audit binds every account as it was."""
    forged(laptop[1], tmp_path / "d")
    with (tmp_path / "e").open("wb") as raw:
        sealing = Sealing(raw)
        sealing.write((tmp_path / "d").read_bytes())
        sealing.finish()
    done = carry_key(laptop[0], laptop[0].sibling("student")).command(
        "restore", str(tmp_path / "e")
    )
    assert done.returncode == 2
    assert "accounts.user 2 with a changed content" in done.stderr


def test_a_backup_says_nothing_readable(laptop: tuple[Store, Path]) -> None:
    content = laptop[1].read_bytes()
    # Sealed bytes are random: a word of two letters stands somewhere in most of them, so an
    # archive is known by the four bytes its entries begin with.
    words = (b"TERN", b"owner", b"hawkins", b"manifest", b"PK\x03\x04")
    assert not any(word in content for word in words)
