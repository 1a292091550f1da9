"""`make check`: runs every check, changes nothing, and counts the failures."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

BIN = Path(sys.executable).parent
CHECKS: dict[str, list[str]] = {
    "format": [str(BIN / "ruff"), "format", "--check", "."],
    "lint": [str(BIN / "ruff"), "check", "."],
    "types": [str(BIN / "mypy")],
    "layers": [str(BIN / "lint-imports")],
    "migrations": [sys.executable, "-m", "sidewise.web.manage", "makemigrations", "--check"],
    "dependencies": [sys.executable, "-m", "tests.dependency_audit"],
    "docs site": [sys.executable, "-m", "tools.site"],
    "docs examples": [sys.executable, "-m", "pytest", "-q", "tests/docs"],
}


def main() -> int:
    """Run all of them; the exit status is the number that failed."""
    # Types and migrations load the settings, which make a data folder: not the user's own.
    with tempfile.TemporaryDirectory(prefix="sidewise-check-") as home:
        failed = [name for name in CHECKS if not _passes(name, home)]
    print(f"{len(CHECKS) - len(failed)} passed, {len(failed)} failed")
    return len(failed)


def _passes(name: str, home: str) -> bool:
    started = time.monotonic()
    result = subprocess.run(
        CHECKS[name], capture_output=True, text=True, check=False,
        env={**os.environ, "SIDEWISE_HOME": home},
    )  # fmt: skip
    state = "ok" if result.returncode == 0 else "FAILED"
    print(f"{name:<14} {state:<7} {time.monotonic() - started:5.1f} s", flush=True)
    if result.returncode:
        print(result.stdout[-6000:] + result.stderr[-3000:])
    return result.returncode == 0


if __name__ == "__main__":
    sys.exit(main())
