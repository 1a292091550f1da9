"""Adding a kind of value is one file, one line and one template: done here in a copy."""

from __future__ import annotations

import filecmp
import os
import shutil
import subprocess
import sys
from pathlib import Path

import sidewise
from tests.gate import gate_item, write_gate

PACKAGE = Path(sidewise.__file__).parent
NEW = Path(__file__).parent / "new_kind"
ROOT = Path(__file__).parents[2]
TESTS_OF_THE_WALK = 10


def _copy_with_the_new_kind(folder: Path) -> Path:
    copy = folder / "sidewise"
    shutil.copytree(PACKAGE, copy, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(NEW / "warmth.py", copy / "kinds")
    shutil.copy(NEW / "warmth.html", copy / "web/templates/examinations/kinds")
    registry = copy / "kinds/__init__.py"
    text = registry.read_text(encoding="utf-8")
    assert text.count('    "text",\n)') == 1
    changed = text.replace('    "text",\n)', '    "text",\n    "warmth",\n)')
    registry.write_text(changed, encoding="utf-8")
    return copy


def _differences(found: filecmp.dircmp[str], under: str = "") -> list[str]:
    here = [under + name for name in (*found.left_only, *found.diff_files)]
    inner = (_differences(sub, f"{under}{name}/") for name, sub in found.subdirs.items())
    return sorted([*here, *(name for names in inner for name in names)])


def test_a_new_kind_is_one_file_one_line_and_one_template(tmp_path: Path) -> None:
    copy = _copy_with_the_new_kind(tmp_path)
    changed = _differences(filecmp.dircmp(copy, PACKAGE, ignore=["__pycache__"]))
    assert changed == [
        "kinds/__init__.py",
        "kinds/warmth.py",
        "web/templates/examinations/kinds/warmth.html",
    ]
    write_gate(copy / "knowledge/gate", [gate_item("warmth")])
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "-o", "addopts=",
               str(NEW / "walk.py")]  # fmt: skip
    kept = {name: text for name, text in os.environ.items() if name != "SIDEWISE_HOME"}
    done = subprocess.run(
        command, cwd=ROOT, capture_output=True, text=True, check=False,
        env={**kept, "PYTHONPATH": str(tmp_path), "PYTHONDONTWRITEBYTECODE": "1"},
    )  # fmt: skip
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]
    assert f"{TESTS_OF_THE_WALK} passed" in done.stdout
