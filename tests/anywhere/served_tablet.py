"""`sidewise serve --tablet` in a process of its own, on the loopback range, with an owner.

The tests never reach out to a network: an address of 127.0.0.0/8 stands for the laptop's.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

PASSWORD = "a quiet tidal island"
ADDRESS = "127.0.0.2"
COMMAND = "from sidewise.cli import main; main()"
OWNER = f"""
from sidewise.web.demo import prepare
prepare()
from sidewise.web.accounts.models import Role, User
also = [Role.TEACHER, Role.ADMINISTRATOR]
User.objects.create_user("owner", password={PASSWORD!r}, role=Role.CLINICIAN, also=also, code="E1")
"""


@dataclass(frozen=True, slots=True)
class Laptop:
    """What the command said."""

    home: Path
    steps: str
    fingerprint: str
    pages: str
    process: subprocess.Popen[str]


def environment(home: Path) -> dict[str, str]:
    """Of a command with this data folder."""
    kept = {key: text for key, text in os.environ.items() if not key.startswith("SIDEWISE_")}
    return {**kept, "SIDEWISE_HOME": str(home)}


def add_owner(home: Path) -> None:
    """Somebody who has a password."""
    command = [sys.executable, "-c", OWNER]
    subprocess.run(command, env=environment(home), check=True, timeout=120)


def run_once(home: Path, *words: str, answer: str = "") -> subprocess.CompletedProcess[str]:
    """The command where it ends by itself."""
    command = [sys.executable, "-c", COMMAND, "serve", "--tablet", *words]
    return subprocess.run(
        command, env=environment(home), input=answer, capture_output=True, text=True,
        check=False, timeout=120,
    )  # fmt: skip


@contextmanager
def laptop(home: Path) -> Iterator[Laptop]:
    """The laptop while it serves."""
    words = ["serve", "--tablet", "--address", ADDRESS, "--yes", "--port", "8970"]
    process = subprocess.Popen(
        [sys.executable, "-c", COMMAND, *words],
        env=environment(home), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip
    try:
        yield _said(home, process)
    finally:
        process.terminate()
        process.wait(20)
        if process.stdout is not None:
            process.stdout.close()


def _said(home: Path, process: subprocess.Popen[str]) -> Laptop:
    lines: list[str] = []
    for line in process.stdout or ():
        lines.append(line)
        if line == "Stop with Ctrl-C.\n":
            break
    text = "".join(lines)
    found: list[Any] = [
        re.search(pattern, text)
        for pattern in (
            r"opens this once: (http://\S+)", r"((?:[0-9A-F]{2} ){31}[0-9A-F]{2})",
            r"Ready at (https://\S+)",
        )
    ]  # fmt: skip
    assert all(found), text
    return Laptop(home, *(match[1] for match in found), process)
