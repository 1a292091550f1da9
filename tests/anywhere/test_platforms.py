"""Whether every need of a user has a wheel for each system, told from the names of the files.

The rules are those of packaging.tags (PEP 425 and its successors). Nothing is installed here:
Linux on x86-64 is what the other tests run on; the other systems were not run.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from packaging.markers import default_environment
from packaging.requirements import Requirement
from packaging.tags import Tag, compatible_tags, cpython_tags, mac_platforms
from packaging.utils import canonicalize_name, parse_wheel_filename

REQUIREMENTS = Path(__file__).parents[2] / "requirements"
LINUX = [f"manylinux_2_{minor}" for minor in range(28, 4, -1)] + ["manylinux2014"]
SYSTEMS: dict[str, tuple[list[str], dict[str, str]]] = {
    "Linux x86-64": ([f"{name}_x86_64" for name in LINUX],
                     {"sys_platform": "linux", "platform_machine": "x86_64"}),
    "Linux ARM": ([f"{name}_aarch64" for name in LINUX],
                  {"sys_platform": "linux", "platform_machine": "aarch64"}),
    "macOS ARM": (list(mac_platforms((14, 0), "arm64")),
                  {"sys_platform": "darwin", "platform_machine": "arm64"}),
    "Windows": (["win_amd64"], {"sys_platform": "win32", "platform_machine": "AMD64"}),
}  # fmt: skip
PYTHONS = ((3, 11), (3, 12), (3, 13))


def pins(lock: str) -> list[Requirement]:
    """The pinned distributions of a lock, with their markers."""
    lines = (REQUIREMENTS / lock).read_text(encoding="utf-8").splitlines()
    return [Requirement(line.rstrip(" \\")) for line in lines if re.match(r"[a-zA-Z]", line)]


def wheels() -> dict[str, list[frozenset[Tag]]]:
    """The tags of each distribution's wheels."""
    found: dict[str, list[frozenset[Tag]]] = {}
    for line in (REQUIREMENTS / "files.txt").read_text(encoding="utf-8").splitlines():
        if line.endswith(".whl"):
            name, _, _, tags = parse_wheel_filename(line)
            found.setdefault(name, []).append(tags)
    return found


def without_wheel(lock: str, system: str, python: tuple[int, int]) -> list[str]:
    """The needs of a lock that one system would have to compile."""
    platforms, environment = SYSTEMS[system]
    here = {name: str(value) for name, value in default_environment().items()}
    environment = {**here, **environment, "python_version": f"{python[0]}.{python[1]}"}
    accepted = {*cpython_tags(python, platforms=platforms),
                *compatible_tags(python, f"cp{python[0]}{python[1]}", platforms)}  # fmt: skip
    there = wheels()
    return [
        pin.name
        for pin in pins(lock)
        if (pin.marker is None or pin.marker.evaluate(environment))
        and not any(tags & accepted for tags in there.get(canonicalize_name(pin.name), []))
    ]


@pytest.mark.parametrize("python", PYTHONS)
@pytest.mark.parametrize("system", SYSTEMS)
def test_every_need_of_a_user_has_a_wheel(system: str, python: tuple[int, int]) -> None:
    assert len(pins("users.txt")) >= 30
    assert without_wheel("users.txt", system, python) == []


@pytest.mark.parametrize("python", PYTHONS)
@pytest.mark.parametrize("system", ["Linux x86-64", "Linux ARM"])
def test_every_need_of_a_department_has_a_wheel(system: str, python: tuple[int, int]) -> None:
    assert without_wheel("department.txt", system, python) == []


def test_the_locks_hold_what_the_developers_test_with() -> None:
    """The same versions as in the developers' lock: what was tested is what is installed."""
    tested = {canonicalize_name(pin.name): str(pin.specifier) for pin in pins("locked.txt")}
    for lock in ("users.txt", "department.txt"):
        other = {name: str(pin.specifier) for pin in pins(lock)
                 if (name := canonicalize_name(pin.name)) in tested
                 and str(pin.specifier) != tested[name]}  # fmt: skip
        assert other == {}


def test_no_lock_names_an_address() -> None:
    for path in REQUIREMENTS.glob("*.txt"):
        assert "://" not in path.read_text(encoding="utf-8"), path.name


def test_a_system_without_a_wheel_is_named() -> None:
    """ezc3d has no wheel for Linux on ARM, which is why it is no need there."""
    platforms, _ = SYSTEMS["Linux ARM"]
    accepted = set(cpython_tags((3, 11), platforms=platforms))
    assert not any(tags & accepted for tags in wheels()["ezc3d"])
