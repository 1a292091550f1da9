"""The packed form of a region: every text part in one JSON file, so that a start parses no YAML.

Each part stands in a line of its own and is decoded when it is first asked for: to check a record
needs none of the tables of figures.

A pack names the hash of the text files it was made from, and carries a hash of its own content.
One of another key, or a damaged one, counts for nothing. Whether the meaning of the parts was
checked is noted apart, for one version of the program, so that this too is done once.

`python -m sidewise.knowledge.pack [FOLDER ...]` packs the regions that come with the program, or
those named, beside their files. `python -m sidewise.regions` checks them as well.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from sidewise import __version__
from sidewise.errors import UserError
from sidewise.ground.whole_file import write_text
from sidewise.knowledge.manifest import CHECKED, FIT, PACK
from sidewise.knowledge.reading import files_of, fingerprint_of, read_parts

FORMAT = "sidewise-pack/2"


class PackedParts(Mapping[str, Any]):
    """The parts of a pack by name, each decoded when it is first asked for."""

    def __init__(self, lines: Mapping[str, bytes]) -> None:
        self._lines = lines
        self._decoded: dict[str, Any] = {}

    def __getitem__(self, name: str) -> Any:
        if name not in self._decoded:
            self._decoded[name] = _rows(json.loads(self._lines[name]))
        return self._decoded[name]

    def __contains__(self, name: object) -> bool:
        return name in self._lines

    def __iter__(self) -> Iterator[str]:
        return iter(self._lines)

    def __len__(self) -> int:
        return len(self._lines)


def packed_parts(folder: Path, fingerprint: str, cache: Path | None) -> Mapping[str, Any] | None:
    """The parts from the pack beside the files or in the cache, if one has this key; else None."""
    for path in (folder / PACK, *((cache_file(folder, cache, "json"),) if cache else ())):
        if (parts := _read(path, fingerprint)) is not None:
            return parts
    return None


def cache_file(folder: Path, cache: Path, kind: str) -> Path:
    """Where something of a folder stands in a cache; folders of one name do not share it."""
    place = _digest(str(folder.resolve()))[:12]
    return cache / f"{folder.name}-{place}.{kind}"


def write_pack(path: Path, fingerprint: str, parts: Mapping[str, Any]) -> bool:
    """Write a pack; whether it could be. A place that cannot be written is no error."""
    lines = (
        json.dumps(_table(data), ensure_ascii=False, separators=(",", ":"))
        for data in parts.values()
    )
    text = "\n".join(lines)
    head = json.dumps(
        {
            "format": FORMAT,
            "key": fingerprint,
            "sha256": _digest("\n".join([*parts, text])),
            "parts": list(parts),
        }
    )
    return _written(path, f"{head}\n{text}\n")


def checked_key(fingerprint: str, folder: Path) -> str:
    """What was checked and by whom: the text, what was learned from it, and the program."""
    digest = hashlib.sha256(f"{FORMAT}\0{__version__}\0{fingerprint}".encode())
    for name in FIT:
        path = folder / name
        digest.update(hashlib.sha256(path.read_bytes()).digest() if path.exists() else b"-")
    return digest.hexdigest()


def was_checked(folder: Path, fingerprint: str, cache: Path) -> bool:
    """Whether this program has checked exactly this before, here or when it was installed."""
    key = checked_key(fingerprint, folder)
    return any(_noted(path) == key for path in (folder / CHECKED, _note(folder, cache)))


def note_checked(folder: Path, fingerprint: str, cache: Path | None) -> bool:
    """Note, in the cache or beside the files, that all of it was sound; whether it could be."""
    path = _note(folder, cache) if cache else folder / CHECKED
    return _written(path, f"{checked_key(fingerprint, folder)}\n")


def _note(folder: Path, cache: Path) -> Path:
    return cache_file(folder, cache, "checked")


def _noted(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8").strip()
    except (OSError, ValueError):
        return ""


def _written(path: Path, text: str) -> bool:
    try:
        _private(path.parent)
        write_text(path, text)
    except (OSError, UserError):
        return False
    return True


def _private(folder: Path) -> None:
    """Make a folder, and those above it that are not there, for its owner only.

    The data folder may be among them: patients' records come to stand in it later.
    """
    for one in (*reversed(folder.parents), folder):
        if not one.exists():
            one.mkdir(mode=0o700, exist_ok=True)


def _read(path: Path, key: str) -> PackedParts | None:
    """The parts of a pack with this key; None for none, another key, or a damaged one."""
    try:
        head, _, rest = path.read_bytes().partition(b"\n")
        named = json.loads(head)
        # Of texts in JSON no line breaks but those between the parts. They stay bytes: most are
        # not asked for, and a megabyte is not decoded to be hashed.
        content = rest.rstrip(b"\n")
        lines = content.split(b"\n")
        names = named["parts"]
        digest = hashlib.sha256("".join(f"{name}\n" for name in names).encode())
        digest.update(content)
        sound = {"format": FORMAT, "key": key, "sha256": digest.hexdigest(), "parts": names}
        return PackedParts(dict(zip(names, lines, strict=True))) if named == sound else None
    except (OSError, ValueError, TypeError, KeyError, RecursionError):
        return None


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _table(data: Any) -> Any:
    # A table as columns and rows: its names are then written once, not with every row.
    is_table = isinstance(data, list) and bool(data) and all(isinstance(r, dict) for r in data)
    columns = list(data[0]) if is_table else []
    if not is_table or any(list(row) != columns for row in data):
        return {"data": data}
    return {"columns": columns, "rows": [list(row.values()) for row in data]}


def _rows(entry: Mapping[str, Any]) -> Any:
    if "data" in entry:
        return entry["data"]
    return [dict(zip(entry["columns"], row, strict=True)) for row in entry["rows"]]


def _shipped(here: Path) -> list[Path]:
    return sorted(path.parent for path in here.glob("*/region.yaml"))


def main(folders: list[str]) -> int:
    """Pack the regions named, or those beside this file; status 2 where one cannot be used."""
    here = Path(__file__).parent
    try:
        for folder in map(Path, folders) if folders else _shipped(here):
            files = files_of(folder)
            if not write_pack(folder / PACK, fingerprint_of(files, folder), read_parts(files)):
                raise UserError(str(folder), "no permission", "a folder that can be written to")
            print(f"{folder.name}: {os.path.getsize(folder / PACK):,} bytes in {PACK}")
    except UserError as error:
        print(error.message, file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
