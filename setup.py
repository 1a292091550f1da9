"""Puts the examples and the changelog into the wheel; all else stands in pyproject.toml.

The invented clinic stays at the top of the repository, where a reader finds it, and must be there
after `pip install` as well: `sidewise demo` opens it.
"""

from __future__ import annotations

import shutil
from pathlib import Path

from setuptools import setup
from setuptools.command.build_py import build_py

ROOT = Path(__file__).parent


class WithExamples(build_py):
    """Copies `examples/` beside the package's own data."""

    def run(self) -> None:
        super().run()
        if not self.editable_mode:
            to = Path(self.build_lib) / "sidewise" / "examples"
            shutil.rmtree(to, ignore_errors=True)
            shutil.copytree(ROOT / "examples", to)
            shutil.copy(ROOT / "CHANGELOG.md", to.parent)


setup(cmdclass={"build_py": WithExamples})
