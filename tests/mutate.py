"""`make mutate`: each patch in `mutations/` breaks one promise's code; its test must then fail.

A patch begins with two lines, `promise: ...` and `test: ...`. Everything happens in a copy of the
tree. First every named test must pass there unchanged; then each patch is applied alone, its test
must fail (status 1: a failure, not a test that was not found), and the patch is taken back.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / "mutations"
COPIED = ("src", "tests", "docs", "deploy", "examples", "pyproject.toml", "README.md")
FAILED = 1  # pytest: tests ran and some failed; 2 to 5 mean that nothing was tested


@dataclass(frozen=True)
class Mutation:
    """One way to break a promise, and the test that must notice."""

    name: str
    promise: str
    test: str
    path: Path


def mutations() -> list[Mutation]:
    """All of them, by name."""
    return [_read(path) for path in sorted(FOLDER.glob("*.patch"))]


def _read(path: Path) -> Mutation:
    head = path.read_text().split("--- ", 1)[0]
    promise = re.search(r"^promise: (.+)$", head, re.MULTILINE)
    test = re.search(r"^test: (\S.*)$", head, re.MULTILINE)
    if not promise or not test:
        raise SystemExit(f"{path.name}: it must begin with `promise:` and `test:`")
    return Mutation(path.stem, promise[1], test[1], path)


def main(wanted: list[str]) -> int:
    """Run those named (default all); the status is how many were not noticed."""
    chosen = [m for m in mutations() if not wanted or m.name in wanted]
    with tempfile.TemporaryDirectory(prefix="sidewise-mutate-") as folder:
        tree = Path(folder)
        for name in COPIED:
            _copy(ROOT / name, tree / name)
        if _pytest(tree, sorted({m.test for m in chosen})) != 0:
            print("The tests do not pass unchanged; nothing can be learnt.")
            return len(chosen)
        missed = [m for m in chosen if not _noticed(tree, m)]
    print(f"{len(chosen) - len(missed)} of {len(chosen)} broken promises were noticed")
    return len(missed)


def _copy(source: Path, target: Path) -> None:
    if source.is_dir():
        shutil.copytree(source, target, ignore=shutil.ignore_patterns("__pycache__"))
    else:
        shutil.copy(source, target)


def _noticed(tree: Path, mutation: Mutation) -> bool:
    if not _patch(tree, mutation):
        print(f"{mutation.name:<34} the patch does not fit any more")
        return False
    try:
        noticed = _pytest(tree, [mutation.test]) == FAILED
    finally:
        _patch(tree, mutation, "--reverse")
    print(f"{mutation.name:<34} {'noticed' if noticed else 'NOT NOTICED'}", flush=True)
    return noticed


def _patch(tree: Path, mutation: Mutation, *options: str) -> bool:
    command = ["patch", "--strip=1", "--forward", "--silent", "--fuzz=0", *options]
    with mutation.path.open() as file:
        done = subprocess.run(command, stdin=file, cwd=tree, capture_output=True, check=False)
    return done.returncode == 0


def _pytest(tree: Path, tests: list[str]) -> int:
    environment = {
        **os.environ, "PYTHONPATH": str(tree / "src"), "PYTHONDONTWRITEBYTECODE": "1",
    }  # fmt: skip
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests]
    done = subprocess.run(command, cwd=tree, env=environment, capture_output=True, check=False)
    return done.returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
