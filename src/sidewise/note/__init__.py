"""The note of one examination: words for a colleague. Reads the record and its interpretation.

The note itself is resolved lazily: how complete a record is needs no words of it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sidewise.note.completeness import Completeness, completeness

if TYPE_CHECKING:
    from sidewise.note.page import note_body, note_html
    from sidewise.note.referral import referral_line
    from sidewise.note.text import note_text

__all__ = ["Completeness", "completeness", "note_body", "note_html", "note_text", "referral_line"]


def __getattr__(name: str) -> Any:
    if name in ("note_body", "note_html"):
        from sidewise.note import page

        return getattr(page, name)
    if name == "note_text":
        from sidewise.note.text import note_text

        return note_text
    if name == "referral_line":
        from sidewise.note.referral import referral_line

        return referral_line
    raise AttributeError(name)
