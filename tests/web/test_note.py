"""The note on the page and the note that is kept are one rendering."""

from __future__ import annotations

import re

from tests.web.cast import send, tender, touch


def _note(cast, more="", who="owner"):
    return cast.client(who).get(f"/examinations/{cast.examination.pk}/note/{more}")


def _inner(text, element):
    return re.search(rf"<{element}[^>]*>(.*)</{element}>", text, re.S).group(1)


def test_the_note_that_is_kept_says_exactly_what_the_page_says(cast):
    touch(cast.client("owner"), cast.examination, tender(2), tender(0, "right"))
    page, kept = _note(cast), _note(cast, "?file=1")
    shown = _inner(page.content.decode(), "article")
    text = kept.content.decode()
    assert len(shown) > 500
    assert shown == _inner(text, "main")
    assert kept["Content-Disposition"] == f'attachment; filename="{cast.examination.pk}.html"'
    assert "no-store" in kept["Cache-Control"]


def test_a_stranger_gets_no_note_to_keep(cast):
    assert _note(cast, "?file=1", who="stranger").status_code == 404


def test_different_answers_stand_in_both(cast):
    for name, who, word in (("a1", "owner", "yes"), ("b1", "colleague", "no")):
        entry = {"id": name, "at": "2026-03-02T09:41:00Z",
                 "deed": {"do": "state", "field": "history.fever", "value": word}}  # fmt: skip
        send(cast.client(who), cast.examination, [entry])
    said = "different answers stand, not settled: yes (OWNER), no (COLLEAGUE)"
    for more in ("", "?file=1"):
        assert said in _note(cast, more).content.decode()
