"""How figures are known, by file: `python -m tests.knowledge.provenance_page` writes the page."""

from __future__ import annotations

from pathlib import Path

from sidewise.note.provenance import provenance_text
from tests.shoulder import SHOULDER

DOCUMENT = Path(__file__).resolve().parents[2] / "docs" / "provenance.md"
HEAD = """# How figures are known

Every figure of the knowledge carries one mark: *read*, *computed* from others here, recalled from
*memory* and to be verified, *common practice* without a source, or *our judgement*, a stated wide
assumption. `sidewise sources --provenance` prints this of any region; `sidewise sources ITEM` says
for one item, reading or condition what stands behind it, and what each link leans on. Where two
sources contradict each other both stand in the row: partial tears of a painless shoulder, loss of
levels behind the back, the full and the empty can of Itoi 1999.

"""


def page() -> str:
    """The page as it should stand."""
    return f"{HEAD}```text\n{provenance_text(SHOULDER)}\n```\n"


if __name__ == "__main__":
    DOCUMENT.write_text(page(), encoding="utf-8")
