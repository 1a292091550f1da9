"""How wide a line of printed text may be."""

from __future__ import annotations

import os

NARROWEST = 40


def line_width(usual: int) -> int:
    """`usual`, or fewer characters where COLUMNS says that the terminal is narrower.

    Not wider than usual: long lines are hard to read. What is no whole number is ignored, as
    shells do.
    """
    told = os.environ.get("COLUMNS", "")
    return max(NARROWEST, min(usual, int(told))) if told.isascii() and told.isdigit() else usual
