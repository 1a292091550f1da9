"""The backup file as an archive: what it may hold, how far it may unpack; and one plain drill.

Limits are tested one below, at and one above. Nothing may be unpacked before the archive has said
what it would come to (CWE-409, data that unpacks to much more).
"""

from __future__ import annotations

import hashlib
import io
import json
import struct
import zipfile
from pathlib import Path
from typing import Any

import pytest

from sidewise.errors import UserError
from sidewise.web.keeping import backup
from tests.safe.stores import Store

AUDIT = "audit.auditline"


def manifest(tables: dict[str, str]) -> str:
    """What a backup of these tables says of itself."""
    told = {
        name: {"rows": text.count("\n"), "sha256": hashlib.sha256(text.encode()).hexdigest()}
        for name, text in tables.items()
    }
    return json.dumps(
        {"format": backup.FORMAT, "made_at": "2026-03-02T09:40:00+00:00", "version": "0.1.0",
         "migrations": {}, "tables": told, "audit_lines": 0, "audit_seal": ""}
    )  # fmt: skip


def archive(path: Path, tables: dict[str, str], more: dict[str, bytes] | None = None) -> Path:
    """A backup of these tables, with further members."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, text in tables.items():
            packed.writestr(f"{name}.jsonl", text)
        for name, content in (more or {}).items():
            packed.writestr(name, content)
        packed.writestr(backup.MANIFEST, manifest(tables))
    return path


def refused(path: Path, why: str) -> None:
    with pytest.raises(UserError, match=why):
        backup.check(path)


def test_a_small_archive_of_ours_is_taken(tmp_path: Path) -> None:
    assert backup.check(archive(tmp_path / "b", {AUDIT: '{"id": 1}\n'})).total == 1


@pytest.mark.parametrize("members", [backup.MOST_MEMBERS - 1, backup.MOST_MEMBERS])
def test_as_many_members_as_allowed_are_taken(members: int, tmp_path: Path) -> None:
    tables = {f"app.t{number}": "" for number in range(members - 1)}
    assert len(backup.check(archive(tmp_path / "b", tables)).tables) == members - 1


def test_one_member_more_is_refused(tmp_path: Path) -> None:
    tables = {f"app.t{number}": "" for number in range(backup.MOST_MEMBERS)}
    refused(archive(tmp_path / "b", tables), f"{backup.MOST_MEMBERS + 1} members, more than")


@pytest.fixture
def unpacks_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """A refusal that first unpacks has come too late."""

    def never(*_: Any, **__: Any) -> None:
        raise AssertionError("something was unpacked")

    monkeypatch.setattr(zipfile.ZipFile, "open", never)


@pytest.fixture
def bomb(tmp_path: Path) -> Path:
    """A hundred kilobytes that unpack to a byte more than allowed."""
    zeros = bytes(backup.MOST_UNPACKED + 1 - len(manifest({})))
    return archive(tmp_path / "bomb", {}, {"zeros": zeros})


def test_what_unpacks_to_too_much_is_refused_before_it_is_unpacked(
    bomb: Path, unpacks_nothing: None
) -> None:
    assert bomb.stat().st_size * 500 < backup.MOST_UNPACKED
    refused(bomb, "100 MB when unpacked, more than any backup")


@pytest.mark.parametrize(("over", "why"), [(0, "other members"), (1, "when unpacked")])
def test_a_large_file_may_unpack_to_a_multiple_of_its_size(
    over: int, why: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = archive(tmp_path / "b", {}, {"zeros": bytes(100_000)})
    unpacked = 100_000 + len(manifest({}))
    monkeypatch.setattr(backup, "MOST_UNPACKED", 1)
    monkeypatch.setattr(backup, "MOST_TIMES", (unpacked - over) / path.stat().st_size)
    refused(path, why)


def test_a_false_declaration_of_its_size_is_a_damaged_member(tmp_path: Path) -> None:
    text = '{"id": 1}\n' * 100_000
    path = archive(tmp_path / "b", {AUDIT: text})
    whole = bytearray(path.read_bytes())
    size = struct.pack("<I", len(text))
    while (at := whole.find(size)) >= 0:
        whole[at : at + 4] = struct.pack("<I", 10)
    path.write_bytes(whole)
    with zipfile.ZipFile(path) as packed:
        assert packed.getinfo(f"{AUDIT}.jsonl").file_size == 10
    refused(path, "BadZipFile|another content")


@pytest.mark.parametrize(("length", "taken"), [(99, True), (100, True), (101, False)])
def test_a_row_may_be_so_long_and_no_longer(
    length: int, taken: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(backup, "LONGEST_LINE", 1_000)
    path = archive(tmp_path / "b", {AUDIT: "x" * (length * 10 - 1) + "\n"})
    if taken:
        assert backup.check(path).total == 1
    else:
        refused(path, "ValueError")


def test_a_manifest_that_is_too_long_is_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = archive(tmp_path / "b", {})
    monkeypatch.setattr(backup, "LONGEST_LINE", len(manifest({})) - 1)
    refused(path, "a file of another kind")


def test_an_archive_within_an_archive_is_not_opened(tmp_path: Path) -> None:
    inner = io.BytesIO()
    with zipfile.ZipFile(inner, "w") as packed:
        packed.writestr(backup.MANIFEST, manifest({}))
    refused(archive(tmp_path / "b", {}, {"inner.zip": inner.getvalue()}), "other members")


def test_a_laptops_records_come_back_from_their_backup(tmp_path: Path) -> None:
    """The plain way, on every run; the long drill on both databases is among the slow tests."""
    (tmp_path / "home").mkdir()
    laptop = Store(tmp_path / "home")
    before = laptop.step("seed")
    assert laptop.command("backup", str(tmp_path / "b")).returncode == 0
    other = laptop.sibling("other")
    (other.home / "keeping-key").write_text((laptop.home / "keeping-key").read_text())
    done = other.command("restore", str(tmp_path / "b"))
    assert done.returncode == 0, done.stderr
    assert other.step("state")["tables"] == before["tables"]
