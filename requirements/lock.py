"""Writes the users' locks from the developers': only what is needed, each file with its hashes.

    python requirements/lock.py INDEX

INDEX is the address of a package index that speaks the simple API in JSON; it is stored nowhere.
Only pins that no lock has yet are asked for. `files.txt` keeps the names of the files, so that a
test can tell which systems have a wheel of each without asking anybody. Run it in the developers'
environment after `locked.txt` has changed. What only another system needs must be pinned in
`elsewhere.txt`.
"""

from __future__ import annotations

import json
import re
import sys
import urllib.request
from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError, requires
from pathlib import Path
from typing import NamedTuple

from packaging.markers import default_environment
from packaging.requirements import Requirement

HERE = Path(__file__).parent
LOCKS = {
    "users.txt": ("marks", "compiled", "documents"),
    "department.txt": ("marks", "batch", "tables", "documents", "cluster", "pictures", "motion",
                       "compiled", "department", "single-sign-on", "planning", "practice"),
}  # fmt: skip
"""Each lock with its extras: what `make run` installs, and what a department or container does."""
SYSTEMS = (
    {"sys_platform": "linux", "platform_system": "Linux", "os_name": "posix",
     "platform_machine": "x86_64"},
    {"sys_platform": "linux", "platform_system": "Linux", "os_name": "posix",
     "platform_machine": "aarch64"},
    {"sys_platform": "darwin", "platform_system": "Darwin", "os_name": "posix",
     "platform_machine": "arm64"},
    {"sys_platform": "win32", "platform_system": "Windows", "os_name": "nt",
     "platform_machine": "AMD64"},
)  # fmt: skip
PYTHONS = ("3.11", "3.12", "3.13")
FEW_WHEELS = {"ezc3d": 'sys_platform != "linux" or platform_machine == "x86_64"'}
"""Pins that would have to be compiled elsewhere, with where they are wanted."""


def name_of(text: str) -> str:
    """A distribution's name as indexes write it."""
    return re.sub(r"[-_.]+", "-", text).lower()


def pins() -> dict[str, str]:
    """Version of each pinned distribution."""
    found = {}
    for file in ("locked.txt", "elsewhere.txt"):
        for line in (HERE / file).read_text(encoding="utf-8").splitlines():
            pin = line.partition(";")[0].strip()
            if "==" in pin and not pin.startswith("#"):
                name, _, version = pin.partition("==")
                found[name_of(name)] = version.strip()
    return found


def environments() -> Iterator[dict[str, str]]:
    """Every system with every Python that is supported."""
    here = {name: str(value) for name, value in default_environment().items()}
    for system in SYSTEMS:
        for python in PYTHONS:
            yield {**here, **system, "python_version": python, "python_full_version": f"{python}.0"}


def needs(root: str, extras: tuple[str, ...], environment: dict[str, str]) -> set[str]:
    """Everything a distribution needs on one system, and what that needs in turn."""
    found: set[str] = set()
    waiting = [(root, extras)]
    seen = set()
    while waiting:
        name, wanted = waiting.pop()
        if (name, wanted) in seen:
            continue
        seen.add((name, wanted))
        try:
            lines = requires(name) or []
        except PackageNotFoundError:
            lines = []
        for requirement in map(Requirement, lines):
            marker = requirement.marker
            if marker is None or any(
                marker.evaluate({**environment, "extra": extra}) for extra in (*wanted, "")
            ):
                needed = name_of(requirement.name)
                found.add(needed)
                waiting.append((needed, tuple(sorted(requirement.extras))))
    return found - {root}


def files_of(index: str, name: str, version: str) -> dict[str, str]:
    """File name and hash of every wheel of one version; of its source where there is no wheel."""
    request = urllib.request.Request(
        f"{index.rstrip('/')}/{name}/", headers={"Accept": "application/vnd.pypi.simple.v1+json"}
    )
    with urllib.request.urlopen(request) as answer:
        files = json.load(answer)["files"]
    own = [file for file in files if _version_of(file["filename"], name) == version]
    wheels = [file for file in own if file["filename"].endswith(".whl")]
    return {file["filename"]: f"sha256:{file['hashes']['sha256']}" for file in wheels or own}


class Files(NamedTuple):
    """Names and hashes of the files of one pinned version."""

    names: list[str]
    hashes: list[str]


def locked_files() -> dict[str, Files]:
    """What the locks have already, by "name==version"."""
    hashes: dict[str, list[str]] = {}
    for lock in LOCKS:
        pin = ""
        for line in (HERE / lock).read_text(encoding="utf-8").splitlines():
            if line.startswith("    --hash="):
                hashes.setdefault(pin, []).append(line.removeprefix("    --hash=").rstrip(" \\"))
            elif "==" in line:
                pin = line.partition(";")[0].rstrip(" \\")
    names = (HERE / "files.txt").read_text(encoding="utf-8").split()
    return {
        pin: Files([file for file in names if _is_of(file, pin)], sorted(set(found)))
        for pin, found in hashes.items()
    }


def _is_of(file: str, pin: str) -> bool:
    name, _, version = pin.partition("==")
    stem = file.split("-")[0] if file.endswith(".whl") else file[: -len(f"-{version}.tar.gz")]
    return name_of(stem) == name and _version_of(file, name) == version


def _version_of(file: str, name: str) -> str:
    stem = file.removesuffix(".tar.gz").removesuffix(".zip")
    if file.endswith(".whl"):
        return file.split("-")[1]
    return stem[len(name) + 1 :]


def main(index: str) -> int:
    """Write every lock; 1 with names where something needed is not pinned."""
    pinned = pins()
    known, wanted_names = locked_files(), set[str]()
    for file, extras in LOCKS.items():
        where = [needs("sidewise", extras, environment) for environment in environments()]
        wanted = sorted(set().union(*where))
        unpinned = [name for name in wanted if name not in pinned]
        if unpinned:
            print(f"{file}: not pinned: {', '.join(unpinned)}", file=sys.stderr)
            return 1
        lines = [f"# Written by lock.py: the core with {', '.join(extras)}."]
        for name in wanted:
            pin = f"{name}=={pinned[name]}"
            if pin not in known:
                found = files_of(index, name, pinned[name])
                known[pin] = Files(sorted(found), sorted(set(found.values())))
            if not known[pin].names:
                print(f"{name} {pinned[name]}: no file in that index", file=sys.stderr)
                return 1
            wanted_names |= set(known[pin].names)
            lines.append(f"{pin}{_marker(name, where)} \\")
            lines.append(" \\\n".join(f"    --hash={one}" for one in known[pin].hashes))
        (HERE / file).write_text("\n".join(lines) + "\n", encoding="utf-8")
        print(f"{file}: {len(wanted)} distributions")
    (HERE / "files.txt").write_text("\n".join(sorted(wanted_names)) + "\n", encoding="utf-8")
    return 0


def _marker(name: str, where: list[set[str]]) -> str:
    """Where it is needed, if not everywhere."""
    if name in FEW_WHEELS:
        return f" ; {FEW_WHEELS[name]}"
    systems = [
        system["sys_platform"]
        for number, system in enumerate(SYSTEMS)
        if any(
            name in found for found in where[number * len(PYTHONS) : (number + 1) * len(PYTHONS)]
        )
    ]
    if set(systems) == {system["sys_platform"] for system in SYSTEMS}:
        return ""
    return " ; " + " or ".join(f'sys_platform == "{one}"' for one in dict.fromkeys(systems))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
