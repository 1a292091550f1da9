"""Runs a notebook's cells one after the other and says what each would show.

    python notebook.py NOTEBOOK     in the folder the notebook is written for

It needs no notebook software, so that it runs wherever the package does. Prints one JSON list: for
each code cell the kind of what it shows ("svg", "html", "text" or "nothing") and its length.
"""

from __future__ import annotations

import ast
import json
import sys
from pathlib import Path
from typing import Any


def code_cells(path: Path) -> list[str]:
    """The code of every code cell."""
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    return ["".join(cell["source"]) for cell in cells if cell["cell_type"] == "code"]


def shown(cell: str, names: dict[str, Any]) -> tuple[str, int]:
    """Run a cell among these names: what kind of thing it shows, and how long that is."""
    tree = ast.parse(cell)
    last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
    exec(compile(tree, "cell", "exec"), names)
    if not isinstance(last, ast.Expr):
        return "nothing", 0
    found = eval(compile(ast.Expression(last.value), "cell", "eval"), names)
    for kind in ("svg", "html"):
        if hasattr(found, f"_repr_{kind}_"):
            return kind, len(getattr(found, f"_repr_{kind}_")())
    return "text", len(repr(found))


def run(path: Path) -> list[tuple[str, int]]:
    """What every code cell shows, all among the same names."""
    names: dict[str, Any] = {"__name__": "__main__"}
    return [shown(cell, names) for cell in code_cells(path)]


if __name__ == "__main__":
    print(json.dumps(run(Path(sys.argv[1]).resolve())))
