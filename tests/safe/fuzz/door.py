"""What a door is: a place where text or bytes from outside are read, with examples."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[3]
EXAMPLES = ROOT / "examples"
Take = Callable[[bytes], object]


@dataclass(frozen=True, slots=True)
class Door:
    """What is read through it, how to build it, examples, and words worth trying."""

    name: str
    build: Callable[[], Take]
    seeds: Callable[[], list[bytes]]
    words: tuple[str, ...] = ()
    # An input costs as much as this many of another door: it gets so many fewer.
    cost: int = 1


def text_of(data: bytes) -> str:
    """What a terminal or a form hands over: any characters, no halves of pairs."""
    return data.decode("utf-8", "replace")


def from_file(read: Callable[[Path], object], suffix: str) -> Take:
    """A reader of files, given bytes."""
    folder = Path(tempfile.mkdtemp(prefix="door"))

    def take(data: bytes) -> object:
        path = folder / f"given{suffix}"
        path.write_bytes(data)
        return read(path)

    return take
