"""Every command shown in the README and the tutorial prints what stands there."""

from __future__ import annotations

import re

import pytest

from tests.docs.consoles import DOCUMENTS, ROOT, blocks, matches, output

README = ROOT / "README.md"
SHOWN = [block for document in DOCUMENTS for block in blocks(document)]


@pytest.mark.parametrize(
    ("command", "expected"), SHOWN, ids=[c.removeprefix("sidewise ") for c, _ in SHOWN]
)
def test_a_command_in_the_documents_prints_what_stands_there(command: str, expected: str) -> None:
    got = output(command)
    assert matches(expected, got), got


def test_the_readme_shows_the_main_commands() -> None:
    commands = {command.split()[1] for command, _ in blocks(README)}
    assert {"check", "interpret", "follow", "sources", "read-line", "marks"} <= commands


def test_every_page_that_the_readme_links_to_exists() -> None:
    links = re.findall(r"\]\(([^)#]+)\)", README.read_text())
    missing = [link for link in links if not link.startswith("http") and not (ROOT / link).exists()]
    assert missing == []
    assert len(links) >= 10
