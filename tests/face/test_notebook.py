"""The researcher's notebook, run cell by cell: from the source, and from the built wheel."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sysconfig
from pathlib import Path

import pytest

from tests.anywhere.wheel import built_wheel, installed
from tests.face.notebook import code_cells, run

ROOT = Path(__file__).parents[2]
NOTEBOOK = ROOT / "examples" / "researcher.ipynb"
SHOWN = ["nothing", "html", "html", "html", "html", "html", "html", "html", "svg", "html", "html",
         "svg", "html", "html", "html", "text"]  # fmt: skip


def test_every_cell_runs_and_shows_what_it_should(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(NOTEBOOK.parent)
    found = run(NOTEBOOK)
    assert [kind for kind, _ in found] == SHOWN
    assert all(length > 50 for kind, length in found if kind != "nothing")


def test_the_notebook_uses_the_face_and_nothing_behind_it() -> None:
    words = "\n".join(code_cells(NOTEBOOK))
    assert "from sidewise" not in words
    assert "import sidewise." not in words
    used = ("read_register", "read_record", "interpret", "write_note", "follow", "analyse_marks",
            "agree", "pictures", "read_marks", "schema_of")  # fmt: skip
    assert [name for name in used if f"sidewise.{name}(" not in words] == []


def test_no_output_is_stored_in_the_notebook() -> None:
    cells = json.loads(NOTEBOOK.read_text(encoding="utf-8"))["cells"]
    assert [cell["outputs"] for cell in cells if cell["cell_type"] == "code"] == [[]] * len(SHOWN)


@pytest.mark.slow
def test_every_cell_runs_from_the_built_wheel(tmp_path: Path) -> None:
    """The package from its wheel in an environment of its own; only libraries are lent to it."""
    python = str(installed(built_wheel(tmp_path), tmp_path / "env") / "python")
    shutil.copytree(NOTEBOOK.parent, tmp_path / "examples")
    shutil.copy(ROOT / "tests" / "face" / "notebook.py", tmp_path)
    lent = {"PYTHONPATH": sysconfig.get_path("purelib"), "SIDEWISE_HOME": str(tmp_path / "home")}
    kept = {name: text for name, text in os.environ.items() if name != "PYTHONPATH"}

    def answer(*words: str) -> str:
        done = subprocess.run([python, *words], cwd=tmp_path / "examples", check=True,
                              capture_output=True, text=True, env={**kept, **lent})  # fmt: skip
        return done.stdout

    assert str(tmp_path / "env") in answer("-c", "import sidewise; print(sidewise.__file__)")
    found = json.loads(answer("../notebook.py", "researcher.ipynb"))
    assert [kind for kind, _ in found] == SHOWN
