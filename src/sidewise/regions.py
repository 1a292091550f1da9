"""The door to the knowledge: finds the available regions, loads each once and checks it.

A region is a folder of data. It is found beside the program, in `knowledge/` of a person's own
data folder, and by entry points of the group `sidewise.regions`, whose name is the region's and
whose value is the package that holds its folder; no code of that package is run.
"""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from importlib.machinery import ModuleSpec, PathFinder
from pathlib import Path
from threading import RLock
from typing import TYPE_CHECKING, Any

from sidewise.errors import UserError, UserErrors
from sidewise.ground.entry_points import entry_points_of
from sidewise.ground.home import home_folder
from sidewise.ground.language import add_words_of
from sidewise.knowledge.kept_views import kept_views, views_key, write_views
from sidewise.knowledge.manifest import PACK, TRANSLATIONS, VIEWS
from sidewise.knowledge.pack import note_checked, was_checked, write_pack
from sidewise.knowledge.region import Region, open_region, shipped_folders

if TYPE_CHECKING:
    from importlib.metadata import EntryPoint

GROUP = "sidewise.regions"
ROOMS = ("ground", "kinds", "protocol", "knowledge", "record", "measure", "evidence", "network",
         "reason")  # fmt: skip
"""The rooms whose modules make the views that are kept, or are used by them."""
KEPT = {
    "judging": (
        "sidewise.protocol.loader._protocol",
        "sidewise.reason.judging.flags._flag_book",
        "sidewise.reason.judging.called_for._rules",
        "sidewise.reason.judging.visit_calls._visit_rules",
        "sidewise.reason.judging.variants._variants",
        "sidewise.reason.judging.grading._grading",
    ),
    "measuring": ("sidewise.measure.norms.tables._tables",),
    "weighing": (
        "sidewise.evidence.conditions._conditions",
        "sidewise.evidence.conditions._families",
        "sidewise.evidence.pretest.table._table",
    ),
    "studies": (
        "sidewise.evidence.studies.rows._rows",
        "sidewise.evidence.fit.links._links",
    ),
}
"""The views that a start is spared, by the group that is read as one."""
Check = Callable[[Region], Any]


class Regions(Mapping[str, Region]):
    """The regions found, by name; each is loaded and checked when first asked for."""

    def __init__(self, folders: Mapping[str, Path], cache: Path | None = None) -> None:
        self.folders = folders
        self.cache = cache
        self._loaded: dict[str, Region] = {}
        self._loading = RLock()

    def __getitem__(self, name: str) -> Region:
        """UserErrors where the region of that name cannot be used; KeyError if there is none."""
        folder = self.folders[name]
        with self._loading:
            if name not in self._loaded:
                self._loaded[name] = load_region(folder, name, self.cache)
            return self._loaded[name]

    def __contains__(self, name: object) -> bool:
        return name in self.folders

    def __iter__(self) -> Iterator[str]:
        return iter(self.folders)

    def __len__(self) -> int:
        return len(self.folders)

    @property
    def only(self) -> Region | None:
        """The region where there is one; None where there is a choice."""
        return self[next(iter(self))] if len(self) == 1 else None

    def chosen(self, name: str, where: str = "--region") -> Region:
        """The region called `name`, or the only one for ""; UserError where it is not clear."""
        if not name and (only := self.only) is not None:
            return only
        if name not in self.folders:
            raise UserError(where, name or None, f"one of {', '.join(self.folders)}",
                            "Say which region is meant.")  # fmt: skip
        return self[name]


def regions() -> Regions:
    """The regions of this machine. UserError where two of them have one name."""
    return _regions(home_folder())


def every_region() -> tuple[Region, ...]:
    """All regions, loaded and checked; UserError where one cannot be used."""
    return tuple(regions().values())


@lru_cache(maxsize=8)
def _regions(home: Path) -> Regions:
    return Regions(found_folders(home), home / "cache" / "knowledge")


def forget_regions() -> None:
    """Search for regions again next time: for tests, and after a folder was added."""
    _regions.cache_clear()


def region_of_record(record: Any) -> Region:
    """The region named in a record; UserError where it is not installed here."""
    return regions().chosen(record.region, "region")


def found_folders(home: Path) -> dict[str, Path]:
    """The folder of every region by name, in order of the names; none is opened."""
    found: dict[str, Path] = {}
    own = sorted((home / "knowledge").glob("*/region.yaml"))
    for name, folder in (
        *shipped_folders().items(),
        *((path.parent.name, path.parent) for path in own),
        *((entry.name, data_folder(entry)) for entry in entry_points_of(GROUP)),
    ):
        if name in found:
            raise UserError(f"region {name}", f"{found[name]} and {folder}", "one folder a name",
                            "Give one of them another name, or take it away.")  # fmt: skip
        found[name] = folder
    return dict(sorted(found.items()))


def data_folder(entry: EntryPoint) -> Path:
    """The folder an entry point names, found without importing anything of it."""
    first, *rest = entry.module.split(".")
    spec = _top_spec(first)
    name = first
    for part in rest:
        name = f"{name}.{part}"
        spec = PathFinder.find_spec(name, spec.submodule_search_locations) if spec else None
    places = list(spec.submodule_search_locations or ()) if spec else []
    for place in map(Path, places):
        if (place / "region.yaml").is_file():
            return place
    raise UserError(f"entry point {GROUP}: {entry.name}", entry.value,
                    "a package whose folder holds region.yaml",
                    "Install it again, or remove the package that names it.")  # fmt: skip


def _top_spec(name: str) -> ModuleSpec | None:
    # Of a name without dots the finders are only asked; nothing is imported.
    try:
        return importlib.util.find_spec(name)
    except (ImportError, ValueError):
        return None


def load_region(folder: Path, name: str = "", cache: Path | None = None) -> Region:
    """The region in a folder, all of it read and checked.

    name: what it must call itself (default: as the folder). cache: where its packed form and the
    note that it was checked are kept; without it everything is read and checked anew.
    UserErrors with everything that is wrong, each with its file and place.
    """
    region = open_region(folder, name, cache)
    add_words_of(folder / TRANSLATIONS)
    checked = cache is not None and was_checked(folder, region.fingerprint, cache)
    if checked and region.is_shipped:
        key = views_key(region.fingerprint, ROOMS)
        if (kept := kept_views(folder / VIEWS, key)) is not None:
            region.believe(kept)
    if not checked:
        check_region(region)
        if cache is not None:
            note_checked(folder, region.fingerprint, cache)
            keep_views(region)
    return region


def keep_views(region: Region) -> bool:
    """Keep the views of a region that was just checked beside its files; whether it could be.

    Only of a region that came with the program: a data folder is no place for what a start
    believes unseen.
    """
    if not region.is_shipped:
        return False
    key = views_key(region.fingerprint, ROOMS)
    return write_views(region.folder / VIEWS, key, region.made_views(), KEPT)


def check_region(region: Region) -> None:
    """Make every typed view of a region once. UserErrors where one cannot be made."""
    faults: list[UserError] = []
    for check in (*_protocol_checks(), *_weighing_checks(region)):
        try:
            check(region)
        except UserErrors as errors:
            faults += errors.errors
        except UserError as error:
            faults.append(error)
        if faults and check is _protocol_checks()[0]:
            break  # Everything else speaks of the protocol, and would only repeat this.
    if faults:
        unlike = {error.message: error for error in faults}
        raise UserErrors([_of_region(region, error) for error in unlike.values()])


def main(folders: list[str]) -> int:
    """Check and pack the regions named, or those that come with the program, beside their files.

    So that no start has to, wherever its data folder is. Status 2 where one cannot be used.
    """
    try:
        for folder in map(Path, folders) if folders else shipped_folders().values():
            region = load_region(folder)
            write_pack(folder / PACK, region.fingerprint, region.parts)
            note_checked(folder, region.fingerprint, None)
            keep_views(region)
            print(f"{region.id}: checked and packed.")
    except UserError as error:
        print(error.message, file=sys.stderr)
        return 2
    return 0


def _of_region(region: Region, error: UserError) -> UserError:
    head = f"region {region.id}"
    where = error.where if error.where.startswith(head) else f"{head}: {error.where or 'protocol'}"
    return UserError(where, error.got, error.expected, error.do)


def _protocol_checks() -> tuple[Check, ...]:
    from sidewise.measure.norms.tables import tables_of
    from sidewise.protocol import protocol_of
    from sidewise.protocol.figure import figure_of
    from sidewise.protocol.outside_codes import outside_codes_of
    from sidewise.reason.judging.called_for import called_for_rules
    from sidewise.reason.judging.flags import flag_book_of
    from sidewise.reason.judging.grading import grading_of
    from sidewise.reason.judging.variants import variants_of
    from sidewise.reason.judging.visit_calls import visit_rules
    from sidewise.record.line.words import line_words_of

    return (
        protocol_of,
        called_for_rules,
        visit_rules,
        flag_book_of,
        variants_of,
        grading_of,
        figure_of,
        line_words_of,
        tables_of,
        outside_codes_of,
        _practice_words,
    )


def _practice_words(region: Region) -> None:
    """UserError where the words for simulated patients are there and faulty."""
    if region.has("practice"):
        from sidewise.practice.ways import patient_ways

        patient_ways(region)


def _weighing_checks(region: Region) -> tuple[Check, ...]:
    """What probabilities need; nothing numerical is imported for a region without them."""
    if not region.has_weighing:
        return ()
    from sidewise.evidence.fit.fitted import fitted_of
    from sidewise.evidence.fit.inputs import inputs_of

    return (inputs_of, fitted_of, _fit_is_of_these_figures)


def _fit_is_of_these_figures(region: Region) -> None:
    """UserError where figures have changed since the fit was made."""
    from sidewise.evidence.fit.fitted import build_command, fitted_of
    from sidewise.evidence.fit.inputs import inputs_of

    fitted, inputs = fitted_of(region), inputs_of(region)
    if fitted.fingerprint != inputs.fingerprint:
        raise UserError("fitted.npz", f"a fit of {fitted.fingerprint[:12]}",
                        f"one of the figures as they are, {inputs.fingerprint[:12]}",
                        build_command(region))  # fmt: skip


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
