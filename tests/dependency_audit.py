"""Looks for known weaknesses in the pinned dependencies (part of `make check`).

Asks the advisory service through pip-audit. Where that service cannot be reached it says so and is
skipped: what somebody else's server does decides nothing about this code. 1 when a weakness is
known.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

LOCKED = Path(__file__).parents[1] / "requirements" / "locked.txt"
UNREACHABLE = ("ConnectionError", "ServiceError", "Max retries", "NameResolution", "timed out",
               "ConnectionFailed", "Could not connect", "SSLError", "HTTPError")  # fmt: skip


def main() -> int:
    """Run pip-audit on the pins as they are written, nothing resolved or installed."""
    command = [sys.executable, "-m", "pip_audit", "--requirement", str(LOCKED), "--no-deps",
               "--disable-pip", "--progress-spinner", "off", "--timeout", "10"]  # fmt: skip
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)
    except subprocess.TimeoutExpired:
        return skipped("no answer within two minutes")
    said = done.stdout + done.stderr
    if done.returncode and any(word in said for word in UNREACHABLE):
        return skipped("the advisory service cannot be reached")
    print(said[-3000:])
    return done.returncode


def skipped(why: str) -> int:
    """Not asked is not passed; the reason is printed."""
    print(f"Dependency audit skipped: {why}.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
