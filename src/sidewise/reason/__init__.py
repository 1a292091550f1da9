"""Readings, the exact network, posteriors with intervals, what next, red flags, variants.

`interpret(record, region)` is the one entry point. Names are resolved lazily: flags and rules
alone need no numerical library.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sidewise.reason.interpretation import interpret
    from sidewise.reason.result import Interpretation

__all__ = ["Interpretation", "interpret"]


def __getattr__(name: str) -> Any:
    if name == "interpret":
        from sidewise.reason.interpretation import interpret

        return interpret
    if name == "Interpretation":
        from sidewise.reason.result import Interpretation

        return Interpretation
    raise AttributeError(name)
