"""`make check`: runs every check, changes nothing, and counts the failures."""

from __future__ import annotations

import subprocess
import sys
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
    "docs examples": [sys.executable, "-m", "pytest", "-q", "tests/docs"],
}


def main() -> int:
    """Run all of them; the exit status is the number that failed."""
    failed = []
    for name, command in CHECKS.items():
        started = time.monotonic()
        result = subprocess.run(command, capture_output=True, text=True, check=False)
        state = "ok" if result.returncode == 0 else "FAILED"
        print(f"{name:<14} {state:<7} {time.monotonic() - started:5.1f} s", flush=True)
        if result.returncode:
            failed.append(name)
            print(result.stdout[-6000:] + result.stderr[-3000:])
    print(f"{len(CHECKS) - len(failed)} passed, {len(failed)} failed")
    return len(failed)


if __name__ == "__main__":
    sys.exit(main())
