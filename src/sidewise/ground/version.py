"""What is new in this version, in the user's words."""

from __future__ import annotations

from pathlib import Path

PACKAGE = Path(__file__).resolve().parents[1]
PLACES = (PACKAGE / "CHANGELOG.md", PACKAGE.parents[1] / "CHANGELOG.md")
"""In the wheel, and in a clone."""


def newest_changes() -> tuple[tuple[str, tuple[str, ...]], ...]:
    """The newest section of the changelog: each heading with its entries; none without the file."""
    path = next((one for one in PLACES if one.is_file()), None)
    return changes_of(path.read_text(encoding="utf-8")) if path else ()


def changes_of(text: str) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """The newest section of a changelog: `## version`, `### heading`, `- entry`."""
    section = text.partition("\n## ")[2].partition("\n## ")[0]
    found = []
    for block in section.split("\n### ")[1:]:
        heading, _, body = block.partition("\n")
        entries = (
            " ".join(entry.replace("`", "").split()) for entry in f"\n{body}".split("\n- ")[1:]
        )
        found.append((heading.strip(), tuple(entries)))
    return tuple(found)
