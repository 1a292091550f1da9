"""A region as a value: loaded and checked once at the door, then passed along.

The parts are plain data. What they mean is made by higher rooms, each once for a region:
`region.view(build)` calls `build(region)` the first time and keeps what it returned.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from threading import RLock
from typing import Any, Concatenate, NoReturn, ParamSpec, TypeVar

from sidewise.errors import UserError
from sidewise.knowledge.kept_views import ABSENT, KeptViews, builder_name
from sidewise.knowledge.manifest import BY_NAME, FIT, WEIGHING
from sidewise.knowledge.pack import cache_file, packed_parts, write_pack
from sidewise.knowledge.reading import files_of, fingerprint_of, read_parts

SHIPPED = Path(__file__).parent
View = TypeVar("View")
P = ParamSpec("P")


@dataclass(frozen=True, eq=False)
class Region:
    """One region's knowledge. Two are the same only if they are the same object.

    parts: plain data of each part that is there, by name. fingerprint: of all text files.
    """

    id: str
    label: str
    folder: Path = field(repr=False)
    fingerprint: str = field(repr=False)
    parts: Mapping[str, Any] = field(repr=False)
    _views: dict[tuple[Any, ...], Any] = field(default_factory=dict, init=False, repr=False)
    # Made and checked before, when the region was packed; a region of other parts has none.
    _kept: KeptViews | None = field(default=None, init=False, repr=False)
    # Re-entrant: a view is made from other views.
    _making: RLock = field(default_factory=RLock, init=False, repr=False)

    def has(self, part: str) -> bool:
        """Whether an optional part is there."""
        assert part in BY_NAME, f"no part is called {part}"
        return part in self.parts

    def part(self, name: str) -> Any:
        """The plain data of a part; UserError that says what is missing where it is absent."""
        if not self.has(name):
            part = BY_NAME[name]
            raise UserError(f"region {self.id}: {part.file}", "no such part", part.what,
                            part.without)  # fmt: skip
        return self.parts[name]

    def without(self, *parts: str) -> tuple[str, ...]:
        """Of these optional parts, what there is not because one is absent, each sentence once."""
        return tuple(dict.fromkeys(BY_NAME[name].without for name in parts if not self.has(name)))

    @property
    def has_weighing(self) -> bool:
        """Whether probabilities can be worked out: every part is there and a study measures one."""
        there = all(self.has(part.name) for part in WEIGHING)
        return there and any(row.get("use") == "fit" for row in self.parts["accuracy"])

    @property
    def is_shipped(self) -> bool:
        """Whether it came with the program."""
        return self.folder.parent == SHIPPED

    @property
    def fit(self) -> tuple[Path, ...]:
        """The files of what was learned from the studies; they need not be there yet."""
        return tuple(self.folder / name for name in FIT)

    def view(
        self, build: Callable[Concatenate[Region, P], View], *args: P.args, **kwargs: P.kwargs
    ) -> View:
        """What `build(region, *args)` returns, made once; threads that ask meanwhile wait.

        Kept as long as the region: `args` must have few values.
        """
        assert not kwargs, "views are told apart by position"
        key = (build, *args)
        try:
            found: View = self._views[key]
        except KeyError:
            with self._making:
                if key not in self._views:
                    kept = ABSENT if self._kept is None or args else self._kept.get(build)
                    made = build(self, *args, **kwargs) if kept is ABSENT else kept
                    self._views[key] = made
                found = self._views[key]
        return found

    def believe(self, kept: KeptViews) -> None:
        """Take views from here instead of making them."""
        object.__setattr__(self, "_kept", kept)

    def made_views(self) -> dict[str, Any]:
        """The views made so far, by the name of what makes them; those of a choice left out."""
        alone = ((key[0], made) for key, made in self._views.items() if len(key) == 1)
        return {builder_name(build): made for build, made in alone}

    def __reduce__(self) -> NoReturn:
        raise TypeError("a region does not travel between processes: each opens its own")


def open_region(folder: Path, name: str = "", cache: Path | None = None) -> Region:
    """The region in a folder, its parts read and nothing of their meaning checked yet.

    name: what it must call itself (default: as the folder is called). cache: a folder where its
    packed form stands, or is put where it can be written. UserErrors where parts are missing,
    strange or cannot be read.
    """
    if not folder.is_dir():
        raise UserError(f"region {name or folder.name}", "no such folder", "a folder of knowledge")
    files = files_of(folder)
    fingerprint = fingerprint_of(files, folder)
    parts = packed_parts(folder, fingerprint, cache)
    if parts is None:
        parts = read_parts(files)
        if cache is not None:
            write_pack(cache_file(folder, cache, "json"), fingerprint, parts)
    return region_of(folder, name or folder.name, fingerprint, parts)


def region_of(folder: Path, name: str, fingerprint: str, parts: Mapping[str, Any]) -> Region:
    """A region of these parts; UserError where it does not call itself `name`."""
    data = parts["region"]
    if not isinstance(data, dict) or data.get("region") != name:
        got = data.get("region") if isinstance(data, dict) else data
        raise UserError(f"region {name}: region.yaml: region", got, f'"{name}"',
                        "A region is called as its folder or entry point is.")  # fmt: skip
    return Region(name, str(data.get("label", name)), folder, fingerprint, parts)


def shipped_folders() -> dict[str, Path]:
    """The folders of the regions that come with the program, by name."""
    found = sorted(SHIPPED.glob("*/region.yaml"))
    return {path.parent.name: path.parent for path in found}


def known_name(regions: Mapping[str, Region], name: object) -> str:
    """The name of one of the regions, which is not opened; UserError with those there are."""
    if not isinstance(name, str) or name not in regions:
        raise UserError("region", name or None, f"one of {', '.join(sorted(regions))}")
    return name


def chosen_region(regions: Mapping[str, Region], name: object) -> Region:
    """The region of that name; UserError with the known names if there is none."""
    return regions[known_name(regions, name)]
