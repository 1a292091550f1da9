"""What is new, read from the changelog as it is written."""

from __future__ import annotations

from sidewise.ground.version import changes_of, newest_changes


def test_the_newest_section_is_read_by_heading_and_entry() -> None:
    newest = "## 2\n\n### Marks\n- one\n  goes on\n- two\n"
    text = f"# Changelog\n\nWords.\n\n{newest}\n## 1\n\n### Old\n- no\n"
    assert changes_of(text) == (("Marks", ("one goes on", "two")),)


def test_the_changelog_of_this_version_has_entries_under_each_heading() -> None:
    found = newest_changes()
    assert len(found) >= 3
    assert all(entries for _, entries in found)
