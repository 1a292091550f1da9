"""The note of one examination: words for a colleague. Reads the record and its interpretation."""

from sidewise.note.completeness import Completeness, completeness
from sidewise.note.page import note_body, note_html
from sidewise.note.text import note_text

__all__ = ["Completeness", "completeness", "note_body", "note_html", "note_text"]
