"""The commands, in the order they are listed; to add one, write its module and add one line."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from sidewise.commands.agree import agree
from sidewise.commands.marks import marks

REGISTER: dict[str, Callable[..., Any]] = {
    "marks": marks,
    "agree": agree,
}
