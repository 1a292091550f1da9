"""The sources of the site: the documents as they are, the reference, and links that hold there."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from tools.site.reference import pages

ROOT = Path(__file__).parents[2]
OUTSIDE = {"CONTRIBUTING.md": "contributing.md", "CHANGELOG.md": "changes.md"}
"""Documents at the top of the project, and their names on the site."""
FILE_LINK = re.compile(r"\[([^\]]+)\]\(\.\./(?:src|examples|tests|deploy)[^)]*\)")
"""Leads to a file of the project, which the site does not have: its words stay."""


def write_sources(to: Path) -> int:
    """Write everything that the site is made of into a new folder; how many pages."""
    shutil.copytree(ROOT / "docs", to)
    for name, page in OUTSIDE.items():
        text = (ROOT / name).read_text(encoding="utf-8")
        (to / page).write_text(text.replace("](docs/", "]("), encoding="utf-8")
    for name, text in pages().items():
        (to / name).write_text(text, encoding="utf-8")
    (to / "decisions" / "index.md").write_text(decisions_page(to / "decisions"), encoding="utf-8")
    written = sorted(to.rglob("*.md"))
    for path in written:
        path.write_text(_relinked(path.read_text(encoding="utf-8")), encoding="utf-8")
    return len(written)


def decisions_page(folder: Path) -> str:
    """Every decision by its title."""
    rows = [f"- [{title(path)}]({path.name})" for path in sorted(folder.glob("*.md"))]
    return "\n".join(["# Decisions\n", "Why things are as they are.\n", *rows, ""])


def title(path: Path) -> str:
    """The first heading of a page. ValueError if it has none."""
    for line in path.read_text(encoding="utf-8").splitlines():
        if line.startswith("# "):
            return line.removeprefix("# ")
    raise ValueError(f"{path.name} has no heading")


def _relinked(text: str) -> str:
    for name, page in OUTSIDE.items():
        text = text.replace(f"](../{name}", f"]({page}")
    return FILE_LINK.sub(r"\1", text)
