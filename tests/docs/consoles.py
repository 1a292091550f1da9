"""Console blocks in the documents are run: what stands there is what the program says.

`python -m tests.docs.consoles` writes the present output into them.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
BLOCK = re.compile(r"```console\n\$ (sidewise [^\n]+)\n(.*?)```", re.S)
DOCUMENTS = (ROOT / "README.md", ROOT / "docs" / "tutorial-marks.md")
MORE = "..."
"""As the last line of a block: the output goes on, and only what stands above it is compared."""


def output(command: str) -> str:
    """What the command prints, standard output only."""
    words = [str(Path(sys.executable).parent / "sidewise"), *shlex.split(command)[1:]]
    # Given by hand: what asks about the terminal sets COLUMNS where os.environ does not see it.
    env = {name: text for name, text in os.environ.items() if name != "COLUMNS"}
    run = subprocess.run(words, capture_output=True, text=True, check=False, cwd=ROOT, env=env)
    return run.stdout


def blocks(path: Path) -> list[tuple[str, str]]:
    """Each command and the text under it."""
    return BLOCK.findall(path.read_text(encoding="utf-8"))


def matches(expected: str, got: str) -> bool:
    """Whether the output is what stands in the document, as far as that goes."""
    lines, there = expected.rstrip("\n").split("\n"), got.rstrip("\n").split("\n")
    if lines[-1] == MORE:
        return there[: len(lines) - 1] == lines[:-1]
    return there == lines


def rewrite(path: Path) -> None:
    """Put the present output of every command into the document."""

    def fresh(found: re.Match[str]) -> str:
        command, old = found.groups()
        lines = output(command).rstrip("\n").split("\n")
        kept = old.rstrip("\n").split("\n")
        if kept[-1] == MORE:
            lines = [*lines[: len(kept) - 1], MORE]
        return f"```console\n$ {command}\n" + "\n".join(lines) + "\n```"

    text = path.read_text(encoding="utf-8")
    path.write_text(BLOCK.sub(fresh, text), encoding="utf-8")


if __name__ == "__main__":
    for document in DOCUMENTS:
        rewrite(document)
