"""The built wheel put into an environment of its own by pip: how long, and how large it is then.

    python bench/install.py [--quick]

The bedside core is what `pip install` brings without extras; with the extra `marks` it reads and
writes teachers' tables too. Times hang on the network and on what pip has in its cache; sizes do
not. An installation without a network cannot be measured, and the module then ends with an error.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
import venv
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.anywhere.wheel import built_wheel

BEFORE_MB = "before there were extras: 1540 MB, every developer's tool in it"
BEFORE_S = "before there were extras: 180 s of processor time"
"""Of the one way to install that there was, as it was measured then."""
QUIET = ("--quiet", "--disable-pip-version-check", "--no-input")


def pip(python: Path, *words: str) -> None:
    """One run of pip; what it complained of ends this one."""
    command = [str(python), "-m", "pip", *words, *QUIET]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"pip {words[0]} failed:\n{done.stderr.strip()}")


def megabytes(folder: Path) -> float:
    """What the files under a folder take, each counted once."""
    known: dict[tuple[int, int], int] = {}
    for path in folder.rglob("*"):
        if path.is_file() and not path.is_symlink():
            found = path.stat()
            known[found.st_dev, found.st_ino] = found.st_size
    return sum(known.values()) / 1e6


def installed(wheel: Path, extra: str, folder: Path) -> tuple[float, float]:
    """Seconds of the installation into a new environment, and megabytes that it added."""
    venv.create(folder, with_pip=True)
    python = folder / ("Scripts/python.exe" if sys.platform == "win32" else "bin/python")
    before, start = megabytes(folder), time.perf_counter()
    pip(python, "install", f"{wheel}{extra}")
    return time.perf_counter() - start, megabytes(folder) - before


def rows(extras: tuple[str, ...]) -> list[dict[str, Any]]:
    """The rows of the table."""
    found = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        wheel = built_wheel(folder)
        size = wheel.stat().st_size / 1e6
        found.append({"work": "install: the wheel itself", "ours": round(size, 1), "unit": "MB"})
        for extra in extras:
            what = f"with the extra {extra.strip('[]')}" if extra else "bedside core"
            seconds, added = installed(wheel, extra, folder / f"env{extra.strip('[]')}")
            bar = {} if extra else {"required": "median <= 450"}
            found += [
                {"work": f"install: {what}, installed", "ours": round(added), "unit": "MB",
                 "note": f"byte code included; {BEFORE_MB}", **bar},
                {"work": f"install: {what}, time", "ours": round(seconds, 1), "unit": "s",
                 "note": f"network and pip's cache as they were; {BEFORE_S}"},
            ]  # fmt: skip
    return found


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="the bedside core alone")
    print(json.dumps(rows(("",) if parser.parse_args().quick else ("", "[marks]"))))
