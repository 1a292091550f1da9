"""The commands, in the order they are listed; to add one, write its module and add one line."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from sidewise.commands.agree import agree
from sidewise.commands.backup import backup
from sidewise.commands.batch import batch
from sidewise.commands.check import check
from sidewise.commands.demo import demo
from sidewise.commands.follow import follow
from sidewise.commands.interpret import interpret
from sidewise.commands.marks import marks
from sidewise.commands.note import note
from sidewise.commands.read_line import read_line
from sidewise.commands.restore import restore
from sidewise.commands.serve import serve
from sidewise.commands.sources import sources
from sidewise.commands.verify import verify

REGISTER: dict[str, Callable[..., Any]] = {
    "demo": demo,
    "serve": serve,
    "check": check,
    "interpret": interpret,
    "note": note,
    "follow": follow,
    "read-line": read_line,
    "batch": batch,
    "sources": sources,
    "marks": marks,
    "agree": agree,
    "backup": backup,
    "restore": restore,
    "verify": verify,
}
