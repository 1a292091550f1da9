"""How a value of several parts stands in one cell of the long table."""

from __future__ import annotations

from typing import Any

JOIN = "; "
"""Between several parts in one cell."""


def parts_of_cell(content: Any) -> Any:
    """Several parts where the cell holds several, else the cell as it is."""
    return tuple(str(content).split(JOIN)) if JOIN in str(content) else content
