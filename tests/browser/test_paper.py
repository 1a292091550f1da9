"""What is printed: the first page of a note is one page of A4, and a blank form keeps its sides."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from sidewise.note import note_html
from sidewise.note.blank_form import form_for_paper
from sidewise.note.blank_page import blank_html
from sidewise.reason import interpret
from sidewise.record import read_record
from tests.shoulder import PROTOCOL, REGIONS, SHOULDER

pytestmark = pytest.mark.browser
ROOT = Path(__file__).parents[2]
FULL = ("frozen", "hot-joint", "both-stiff-over-60", "normal-with-variants", "subscapularis")
HIDE = ".appendix { display: none !important }"


def pages_of(page: Any, html: str, style: str = "") -> int:
    """How many sheets of A4 a printer makes of it: the page objects of the PDF are counted."""
    page.emulate_media(media="print")
    page.set_content(html)
    if style:
        page.add_style_tag(content=style)
    printed = page.pdf(prefer_css_page_size=True)
    return len(re.findall(rb"/Type\s*/Page(?!s)", printed))


def test_the_first_page_of_every_full_examination_is_one_page_and_the_appendix_follows(
    chromium: Any,
) -> None:
    page = chromium.new_page()
    for name in FULL:
        one = read_record(ROOT / "examples" / f"{name}.json", REGIONS)
        html = note_html(one, interpret(one, SHOULDER), SHOULDER)
        assert pages_of(page, html, HIDE) == 1, name
        assert pages_of(page, html) > 1, name
        assert page.locator(".appendix").evaluate("e => getComputedStyle(e).breakBefore") == "page"
    page.close()


def test_a_short_form_is_two_sheets_at_most_and_the_full_one_four(chromium: Any) -> None:
    page = chromium.new_page()
    for kind in PROTOCOL.visits.kinds:
        most = 4 if kind.is_full else 2
        assert pages_of(page, blank_html(form_for_paper(SHOULDER, kind))) <= most, kind.id
    page.close()
