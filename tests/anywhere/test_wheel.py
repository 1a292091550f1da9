"""What somebody has who installs the wheel and nothing else: the invented clinic, anywhere."""

from __future__ import annotations

import os
import re
import subprocess
import tomllib
import urllib.request
import zipfile
from dataclasses import dataclass
from email import message_from_string
from pathlib import Path

import pytest

from sidewise.ground.extras import EXTRAS
from tests.anywhere.wheel import ROOT, built_wheel, installed, lend, needed

pytestmark = pytest.mark.slow
OUTSIDE_THE_CORE = ("pandas", "pyarrow", "statsmodels", "matplotlib", "ezc3d", "numba", "gunicorn",
                    "psycopg", "authlib", "dask", "openpyxl")  # fmt: skip


@dataclass(frozen=True)
class Place:
    """An environment with the core alone, and a folder that is no clone."""

    wheel: Path
    programs: Path
    lent: Path
    folder: Path

    @property
    def env(self) -> dict[str, str]:
        """Nothing of this environment is seen but what is lent."""
        kept = {name: text for name, text in os.environ.items()
                if name not in ("PYTHONPATH", "DJANGO_SETTINGS_MODULE")}  # fmt: skip
        return {**kept, "PYTHONPATH": str(self.lent), "SIDEWISE_HOME": str(self.folder / "home")}

    def run(self, *words: str) -> subprocess.CompletedProcess[str]:
        """A command of the environment, in the folder."""
        return subprocess.run(
            [str(self.programs / words[0]), *words[1:]],
            cwd=self.folder,
            capture_output=True,
            text=True,
            check=False,
            env=self.env,
        )


def metadata(wheel: Path) -> list[str]:
    """The requirements that stand in a wheel."""
    with zipfile.ZipFile(wheel) as archive:
        (name,) = (n for n in archive.namelist() if n.endswith(".dist-info/METADATA"))
        return message_from_string(archive.read(name).decode()).get_all("Requires-Dist") or []


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Place:
    folder = tmp_path_factory.mktemp("anywhere")
    wheel = built_wheel(folder)
    lent = lend(needed(metadata(wheel)), folder / "lent")
    (folder / "elsewhere").mkdir()
    return Place(wheel, installed(wheel, folder / "env"), lent, folder / "elsewhere")


def test_it_is_one_wheel_for_every_system(place: Place) -> None:
    assert place.wheel.name.endswith("-py3-none-any.whl")


def test_nothing_heavy_is_lent(place: Place) -> None:
    there = {path.name.lower() for path in place.lent.iterdir()}
    assert {"django", "numpy", "scipy", "pydantic"} <= there
    assert [name for name in OUTSIDE_THE_CORE if name in there] == []


def test_the_clinic_is_printed_in_another_folder(place: Place) -> None:
    done = place.run("sidewise", "demo", "--print")
    assert done.returncode == 0, done.stderr
    assert len(re.findall(r"^=+$", done.stdout, re.MULTILINE)) == len(
        list((ROOT / "examples").glob("*.json"))
    )


def test_examples_are_copied_and_interpreted(place: Place) -> None:
    assert place.run("sidewise", "demo", "--files", "tried").returncode == 0
    done = place.run("sidewise", "interpret", "tried/frozen.json")
    assert done.returncode == 0, done.stderr
    assert "frozen shoulder" in done.stdout
    again = place.run("sidewise", "demo", "--files", "tried")
    assert again.returncode == 2
    assert "expected a folder that does not exist yet" in again.stderr.replace('"', "")


@pytest.mark.parametrize(
    ("words", "extra"),
    [
        (("marks", "marks.csv"), "marks"),
        (("agree", "findings.csv"), "marks"),
        (("check", "marks.csv"), "marks"),
        (("batch", "in", "out"), "batch"),
    ],
)
def test_a_missing_extra_is_said_with_the_command_that_adds_it(
    place: Place, words: tuple[str, ...], extra: str
) -> None:
    done = place.run("sidewise", *words)
    assert (done.returncode, done.stdout) == (2, "")
    assert f"python -m pip install 'sidewise[{extra}]'" in done.stderr


def test_the_page_is_served(place: Place) -> None:
    command = [str(place.programs / "sidewise"), "demo", "--no-browser", "--port", "0"]
    with subprocess.Popen(command, cwd=place.folder, stdout=subprocess.PIPE, text=True,
                          stderr=subprocess.STDOUT, env=place.env) as served:  # fmt: skip
        try:
            address = _address(served)
            with urllib.request.urlopen(address) as answer:
                assert "sidewise" in answer.read().decode()
        finally:
            served.terminate()


def _address(served: subprocess.Popen[str]) -> str:
    said = []
    assert served.stdout is not None
    for line in served.stdout:
        said.append(line)
        found = re.search(r"http://127\.0\.0\.1:\d+/\S*", line)
        if found:
            return found[0]
    raise AssertionError("".join(said))


def test_the_extras_named_in_words_are_those_of_the_package() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    there = project["optional-dependencies"]
    assert set(EXTRAS) == set(there) - {"all"}
    for extra, modules in EXTRAS.items():
        names = {re.split(r"[\[<>=]", line)[0].lower() for line in there[extra]}
        assert set(modules) <= names, extra
