"""docs/flags.md says what the rules say."""

from __future__ import annotations

from tests.flags.judged import BOOK
from tests.flags.page import PAGE, text
from tests.flags.reading import presentations


def test_the_page_is_the_one_that_the_rules_write() -> None:
    assert PAGE.read_text(encoding="utf-8") == text(), "run `python -m tests.flags.page`"


def test_every_flag_has_its_section_with_sources_likeness_and_cases() -> None:
    page = PAGE.read_text(encoding="utf-8")
    sections = page.split("\n## ")[1:]
    assert len(sections) == len(BOOK.flags) + len(BOOK.thresholds) >= 58
    for section in sections[: len(BOOK.flags)]:
        parts = ("Harmless likeness:", "Rule:", "Sources:", "Cases:", "- raised: `", "- quiet:")
        assert [part for part in parts if part not in section] == [], section[:60]


def test_every_presentation_is_named_on_the_page() -> None:
    page = PAGE.read_text(encoding="utf-8")
    every = [one for one in presentations() if one.expect.flags]
    assert [one.id for one in every if f"`{one.id}`" not in page] == []
    assert len(every) >= 220
