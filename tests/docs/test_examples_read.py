"""What stands in docs/examples-read.md is what the program says of each example."""

from __future__ import annotations

from tests.docs.examples_read import PAGE, SHOWN, table


def test_the_page_says_what_the_program_says() -> None:
    text = PAGE.read_text(encoding="utf-8")
    rows = table()
    assert [row for row in rows if row not in text] == []
    assert len(rows) >= 24


def test_every_example_with_a_complaint_is_on_the_page() -> None:
    examples = {path.stem for path in PAGE.parents[1].glob("examples/*.json")}
    assert examples - set(SHOWN) == {"normal-with-variants"}
