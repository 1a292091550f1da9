"""The filter `said`: a word that stands in data, in the language of the page."""

from __future__ import annotations

from django import template

from sidewise.ground.language import say_number, term

register = template.Library()


@register.filter(name="said")
def said_word(word: object) -> str:
    """A word of the knowledge or of a closed list; what has no translation stays English."""
    return term(str(word)) if word is not None else ""


@register.filter(name="number")
def said_number(value: float) -> str:
    """A number as the language writes it; never for a drawing, an address or a form."""
    return say_number(value)
