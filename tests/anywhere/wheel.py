"""The package as others get it: built as a wheel and installed where nothing else is.

Libraries are lent from this environment by name, so that a test says exactly which ones were there
and needs no network.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import venv
from collections.abc import Iterable, Iterator
from importlib.metadata import Distribution, distribution, requires
from pathlib import Path

from packaging.requirements import Requirement

ROOT = Path(__file__).parents[2]
SOURCE = (
    "pyproject.toml",
    "setup.py",
    "MANIFEST.in",
    "README.md",
    "LICENSE",
    "NOTICE",
    "CHANGELOG.md",
)


def built_wheel(place: Path) -> Path:
    """The wheel, built in a copy of the source below `place`."""
    source = place / "source"
    left_out = shutil.ignore_patterns("__pycache__", "packed.*", "*.egg-info")
    for folder in ("src", "examples"):
        shutil.copytree(ROOT / folder, source / folder, ignore=left_out)
    for name in SOURCE:
        shutil.copy(ROOT / name, source)
    _pip("wheel", "--no-deps", "--no-build-isolation", "--wheel-dir", str(place), str(source))
    (wheel,) = place.glob("sidewise-*.whl")
    return wheel


def installed(wheel: Path, place: Path) -> Path:
    """The folder of programs of a new environment with the wheel in it and nothing else."""
    venv.create(place, with_pip=False)
    programs = place / "bin"
    _pip("--python", str(programs / "python"), "install", "--no-deps", str(wheel))
    return programs


def _pip(*words: str) -> None:
    command = [sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check", *words]
    subprocess.run(command, check=True)


def needed(requirements: Iterable[str], extras: tuple[str, ...] = ()) -> set[str]:
    """The distributions that these lines of a wheel's metadata ask for here, and what those do."""
    found: set[str] = set()
    waiting = [(Requirement(line), extras) for line in requirements]
    while waiting:
        requirement, wanted = waiting.pop()
        marker = requirement.marker
        if marker is not None and not any(marker.evaluate({"extra": x}) for x in (*wanted, "")):
            continue
        name = requirement.name.lower()
        if name not in found:
            found.add(name)
            inner = tuple(requirement.extras)
            waiting += [(Requirement(line), inner) for line in requires(name) or []]
    return found


def lend(names: Iterable[str], to: Path) -> Path:
    """A folder that holds these distributions and no others, by links."""
    to.mkdir()
    for name in names:
        for top in _tops(distribution(name)):
            here = to / top.name
            if not here.exists():
                here.symlink_to(top)
    return to


def _tops(one: Distribution) -> Iterator[Path]:
    """What a distribution put into the folder of packages, by its first part."""
    for file in one.files or ():
        first = file.parts[0]
        if first not in ("..", "__pycache__"):
            yield Path(str(one.locate_file(first))).resolve()
