"""Reads the text parts of a region's folder as plain data: what JSON can hold, and nothing else."""

from __future__ import annotations

import fnmatch
import hashlib
import math
from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from sidewise.errors import UserError, UserErrors
from sidewise.ground.tables import read_table
from sidewise.knowledge.manifest import BESIDE, PARTS, WEIGHING, RegionPart


def read_yaml(path: Path) -> Any:
    """The content of one YAML file; a syntax error names file and line."""
    # Here and not above: where a region is packed, nothing is read as YAML.
    import yaml

    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    try:
        return yaml.load(path.read_text(encoding="utf-8"), Loader=loader)
    except yaml.YAMLError as error:
        raise UserError(path.name, str(error).replace("\n", " "), "valid YAML") from error
    except UnicodeDecodeError as error:
        raise UserError(path.name, f"byte {error.start} that is not UTF-8", "UTF-8 text") from None
    except OSError as error:
        raise UserError(path.name, error.strerror or "", "a file that can be read") from error


def files_of(folder: Path) -> dict[str, tuple[Path, ...]]:
    """The files of each part that is there, in the order of the manifest.

    UserErrors where a required part is missing, part of what weighing needs is, or a file is there
    that is no part of a region.
    """
    found = {part.name: tuple(sorted(folder.glob(part.file))) for part in PARTS}
    present = {name: paths for name, paths in found.items() if paths}
    faults = [*_missing(folder, present), *_half(folder, present), *_strange(folder, present)]
    if faults:
        raise UserErrors(faults)
    return present


def _missing(folder: Path, present: Mapping[str, Any]) -> Iterator[UserError]:
    for part in PARTS:
        if part.required and part.name not in present:
            yield _absent(folder, part, "Every region needs this part.")


def _half(folder: Path, present: Mapping[str, Any]) -> Iterator[UserError]:
    lacking = [part for part in WEIGHING if part.name not in present]
    if len(lacking) < len(WEIGHING):
        for part in lacking:
            yield _absent(folder, part, "Probabilities need all of these parts: "
                          f"{', '.join(p.file for p in WEIGHING)}; or leave out all.")  # fmt: skip


def _absent(folder: Path, part: RegionPart, do: str) -> UserError:
    return UserError(f"region {folder.name}: {part.file}", "no such file", part.what, do)


def _strange(folder: Path, present: Mapping[str, tuple[Path, ...]]) -> Iterator[UserError]:
    known = {path for paths in present.values() for path in paths}
    known |= {path.parent for path in known} - {folder}
    for path in sorted(folder.iterdir()):
        if path in known or any(fnmatch.fnmatch(path.name, beside) for beside in BESIDE):
            continue
        names = [part.file for part in PARTS]
        close = get_close_matches(path.name, names, n=1)
        do = f"Did you mean {close[0]}?" if close else "Take the file away."
        yield UserError(f"region {folder.name}: {path.name}", "a file that is no part of a region",
                        f"one of {', '.join(names)}", do)  # fmt: skip


def read_parts(files: Mapping[str, tuple[Path, ...]]) -> dict[str, Any]:
    """Every part as plain data by its name; UserErrors for all files that cannot be read so."""
    parts: dict[str, Any] = {}
    faults: list[UserError] = []
    for name, paths in files.items():
        try:
            parts[name] = _part(name, paths)
        except UserError as error:
            faults.append(error)
    if faults:
        raise UserErrors(faults)
    return parts


def _part(name: str, paths: tuple[Path, ...]) -> Any:
    if paths[0].suffix == ".csv":
        return read_table(paths[0])
    if name == "items":
        return [item for path in paths for item in _list(path)]
    return _plain_yaml(paths[0])


def _list(path: Path) -> list[Any]:
    data = _plain_yaml(path)
    if not isinstance(data, list):
        raise UserError(path.name, type(data).__name__, "a list of items")
    return data


def _plain_yaml(path: Path) -> Any:
    data = read_yaml(path)
    for problem in _not_plain(data):
        raise UserError(path.name, problem, "texts, numbers, true, false, lists and named fields",
                        "Put it in quotes.")  # fmt: skip
    return data


def _not_plain(data: Any) -> Iterator[str]:
    """What JSON would not give back as it was: dates, other keys than texts, not-a-number."""
    if isinstance(data, dict):
        yield from (f"the key {key!r}" for key in data if not isinstance(key, str))
        for part in data.values():
            yield from _not_plain(part)
    elif isinstance(data, list):
        for part in data:
            yield from _not_plain(part)
    elif not isinstance(data, str | int | float | None) or _is_odd(data):
        yield str(data)


def _is_odd(data: Any) -> bool:
    return isinstance(data, float) and not math.isfinite(data)


def fingerprint_of(files: Mapping[str, tuple[Path, ...]], folder: Path) -> str:
    """SHA-256 over names and bytes of the text files; changes when any of them does."""
    digest = hashlib.sha256()
    for paths in files.values():
        for path in paths:
            content = path.read_bytes()
            digest.update(f"{path.relative_to(folder).as_posix()}\0{len(content)}\0".encode())
            digest.update(content)
    return digest.hexdigest()
