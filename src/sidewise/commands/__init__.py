"""The commands, in the order they are listed; to add one, write its module and add its name.

The module is called as the command, with _ for -, and so is its function; a word of the language
has a _ behind it. Only the one that was asked for is imported.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from importlib import import_module
from keyword import iskeyword
from typing import Any

NAMES = (
    "demo",
    "serve",
    "check",
    "interpret",
    "note",
    "blank-form",
    "follow",
    "two-readers",
    "plan",
    "case",
    "practise",
    "read-line",
    "batch",
    "export",
    "import",
    "sources",
    "stations",
    "timetable",
    "marks",
    "agree",
    "backup",
    "restore",
    "verify",
    "completion",
)


def command(name: str) -> Callable[..., Any]:
    """The function behind a command of NAMES."""
    module = name.replace("-", "_") + ("_" if iskeyword(name) else "")
    function: Callable[..., Any] = getattr(import_module(f"{__name__}.{module}"), module)
    return function


def wanted_commands(words: Sequence[str]) -> tuple[str, ...]:
    """The commands that these words of a command line need: the one they begin with, or all."""
    return (words[0],) if words and words[0] in NAMES else NAMES
