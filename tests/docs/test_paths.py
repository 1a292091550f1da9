"""Every file that a page of the manual names is there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", ROOT / "CONTRIBUTING.md", *sorted((ROOT / "docs").rglob("*.md"))]
SUFFIXES = "py|md|yaml|csv|json|html|js|css|lark|npz|patch|txt|toml"
NAMED = re.compile(rf"(?<![\w./<*-])((?:[\w-]+/)+[\w.-]+\.(?:{SUFFIXES}))\b")
MOVED = ROOT / "docs" / "decisions" / "rooms-moved.md"
"""Names old places on purpose."""
SKIPPED = {".git", ".venv", "__pycache__", "build", "node_modules"}
FILES = [
    f"/{path.relative_to(ROOT).as_posix()}"
    for path in ROOT.rglob("*")
    if path.is_file() and not SKIPPED & set(path.parts)
]
WENT = {"measure/drawings/shapes.py"}
"""Files that a decision says are gone."""


def named(page: Path) -> list[str]:
    return NAMED.findall(page.read_text(encoding="utf-8"))


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_file_a_page_names_exists(page: Path) -> None:
    if page == MOVED:
        pytest.skip("names old places; its new ones are tested below")
    missing = [
        path for path in named(page)
        if path not in WENT and not any(there.endswith(f"/{path}") for there in FILES)
    ]  # fmt: skip
    assert missing == []


def test_the_pages_name_many_files() -> None:
    assert sum(len(named(page)) for page in PAGES) > 380


def test_what_moved_is_where_the_page_says() -> None:
    rows = re.findall(r"^\| `([^`]+)` \| `([^`]+)` \|", MOVED.read_text("utf-8"), re.MULTILINE)
    source = ROOT / "src" / "sidewise"
    assert [new for _, new in rows if not (source / new).exists()] == []
    assert [old for old, _ in rows if (source / old).exists()] == []
    assert len(rows) > 60
