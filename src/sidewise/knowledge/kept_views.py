"""Views of a region as they were made and checked when it was packed, so that a start makes none.

They stand beside the files of a region that comes with the program, as byte code stands beside
modules, and as byte code they are believed only as long as nothing they were made from has changed:
the text of the region, every module of the rooms that make them, the version of Python and of
pydantic. A file of another key, another owner, one that others may write to, or a damaged one
counts for nothing: views are then made and checked as ever.

It is a pickle that can make values of this program and of a few plain types and nothing else: no
function is called. See docs/decisions/kept-views.md.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import pickle
import stat
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from sidewise import __version__
from sidewise.errors import UserError
from sidewise.ground.whole_file import write_bytes

FORMAT = "sidewise-views/1"
ROOT = Path(__file__).parents[1]
PLAIN = frozenset({("builtins", "frozenset"), ("builtins", "set"), ("builtins", "slice"),
                   ("pathlib", "PosixPath"), ("pathlib", "WindowsPath")})  # fmt: skip
"""What may stand in a view besides texts, numbers, lists and values of this program."""
UNREADABLE = (pickle.UnpicklingError, AttributeError, EOFError, ImportError, LookupError,
              TypeError, ValueError)  # fmt: skip
ABSENT: Final = object()
Groups = Mapping[str, Sequence[str]]
"""Builders of views by the group that is read as one: values that views share stay shared."""


def builder_name(build: Callable[..., Any]) -> str:
    """The name of the function that makes a view."""
    return f"{build.__module__}.{build.__qualname__}"


def views_key(fingerprint: str, rooms: Iterable[str]) -> str:
    """What views are made from: a region's text, the modules of these rooms, and what runs them."""
    from pydantic import VERSION

    digest = hashlib.sha256(
        f"{FORMAT}\0{__version__}\0{sys.version}\0{VERSION}\0{fingerprint}".encode()
    )
    for room in rooms:
        for name, size, changed in sorted(_modules(ROOT / room)):
            digest.update(f"{name}\0{size}\0{changed}\0".encode())
    return digest.hexdigest()


def _modules(folder: Path | str) -> Iterator[tuple[str, int, int]]:
    """Every module below a folder: where it is, how long and since when, as byte code is held
    against its source."""
    for entry in os.scandir(folder):
        if entry.name.endswith(".py"):
            found = entry.stat()
            yield entry.path, found.st_size, found.st_mtime_ns
        elif entry.is_dir() and "." not in entry.name and not entry.name.startswith("_"):
            yield from _modules(entry.path)


@dataclass(frozen=True, slots=True)
class _Group:
    """Views that are read as one: where they stand in the file, and what they hash to."""

    views: tuple[str, ...]
    start: int
    bytes: int
    sha256: str


class KeptViews:
    """The views in a file, each group read when one of its views is first asked for.

    A group that cannot be read as it was written is as if it were not there.
    """

    def __init__(self, path: Path, groups: Sequence[_Group]) -> None:
        self._path = path
        self._group_of = {name: group for group in groups for name in group.views}
        self._made: dict[str, Any] = {}

    def get(self, build: Callable[..., Any]) -> Any:
        """What `build` made, or ABSENT where it is not kept."""
        return self._named(builder_name(build))

    def _named(self, name: str) -> Any:
        group = self._group_of.get(name)
        if group is None:
            return ABSENT
        if name not in self._made:
            self._made |= self._read(group)
        return self._made[name]

    def _read(self, group: _Group) -> dict[str, Any]:
        try:
            with self._path.open("rb") as file:
                file.seek(group.start)
                data = file.read(group.bytes)
        except OSError:
            data = b""
        if hashlib.sha256(data).hexdigest() != group.sha256:
            return dict.fromkeys(group.views, ABSENT)
        try:
            found = _Reader(io.BytesIO(data), self._earlier).load()
            return dict(zip(group.views, found, strict=True))
        except UNREADABLE:
            return dict.fromkeys(group.views, ABSENT)

    def _earlier(self, name: str) -> Any:
        found = self._named(name)
        if found is ABSENT:
            raise pickle.UnpicklingError(f"{name} is not kept")
        return found


def write_views(path: Path, key: str, made: Mapping[str, Any], groups: Groups) -> bool:
    """Write views by the names of their builders; whether it could be.

    A group with a view that is not there is left out. A place that cannot be written is no error.
    """
    whole = {group: names for group, names in groups.items() if all(n in made for n in names)}
    data: dict[str, bytes] = {}
    earlier: dict[int, str] = {}
    for group, names in whole.items():
        views = tuple(made[name] for name in names)
        data[group] = _pickled(views, earlier)
        earlier |= {id(view): name for name, view in zip(names, views, strict=True)}
    head = {
        "format": FORMAT,
        "key": key,
        "groups": [
            {"name": group, "views": names, "bytes": len(data[group]),
             "sha256": hashlib.sha256(data[group]).hexdigest()}
            for group, names in whole.items()
        ],
    }  # fmt: skip
    try:
        write_bytes(path, b"\n".join([json.dumps(head).encode(), b"".join(data.values())]))
    except UserError:
        return False
    return True


def kept_views(path: Path, key: str) -> KeptViews | None:
    """The views of a file with this key; None for none, another key or a file not to be believed.

    Believed is a file of whoever owns its folder, to which nobody else may write.
    """
    try:
        with path.open("rb") as file:
            if not _is_ours(os.fstat(file.fileno()), path.parent.stat()):
                return None
            first = file.readline()
        head = json.loads(first)
        if head["format"] != FORMAT or head["key"] != key:
            return None
        return KeptViews(path, tuple(_groups(head["groups"], len(first))))
    except (OSError, ValueError, TypeError, KeyError):
        return None


def _groups(listed: Sequence[Mapping[str, Any]], start: int) -> Iterator[_Group]:
    for one in listed:
        yield _Group(tuple(one["views"]), start, one["bytes"], one["sha256"])
        start += one["bytes"]


def _is_ours(file: os.stat_result, folder: os.stat_result) -> bool:
    if os.name != "posix":
        # Elsewhere owners are not numbers, and the folder of a program is its installer's.
        return True
    others = stat.S_IWGRP | stat.S_IWOTH
    return file.st_uid == folder.st_uid and not file.st_mode & others


def _pickled(views: tuple[Any, ...], earlier: Mapping[int, str]) -> bytes:
    to = io.BytesIO()
    writer = _Writer(to, protocol=5)
    writer.earlier = earlier
    writer.dump(views)
    return to.getvalue()


class _Writer(pickle.Pickler):
    """A view of an earlier group is written as its name."""

    earlier: Mapping[int, str] = {}

    def persistent_id(self, obj: Any) -> str | None:
        return self.earlier.get(id(obj))


class _Reader(pickle.Unpickler):
    """Makes values of this program and plain ones; anything else is refused."""

    def __init__(self, file: io.BytesIO, view: Callable[[str], Any]) -> None:
        super().__init__(file)
        self._view = view

    def persistent_load(self, pid: Any) -> Any:
        return self._view(pid)

    def find_class(self, module: str, name: str) -> Any:
        """A class, by its own name, of this program or of the plain ones."""
        if (module, name) not in PLAIN and not module.startswith("sidewise."):
            raise pickle.UnpicklingError(f"{module}.{name} is no value of a view")
        found = super().find_class(module, name)
        # A name with dots could lead from a module of ours to a class that one imports.
        if not isinstance(found, type) or found.__module__ != module:
            raise pickle.UnpicklingError(f"{module}.{name} is no class of that module")
        return found
