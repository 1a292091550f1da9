"""The commands, in the order they are listed; to add one, write its module and add one line."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

REGISTER: dict[str, Callable[..., Any]] = {}
