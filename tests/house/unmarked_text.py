"""Finds text of a template that no mark makes ready for translation."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html.parser import HTMLParser

SPOKEN = ("aria-label", "title", "placeholder", "alt")
"""Attributes whose text a person hears or reads."""
AS_IT_IS = frozenset({"sidewise", "cm", "mm"})
"""Words of every language: the name of the program, units."""
WORD = re.compile(r"[A-Za-z]{2,}")
MARKED = re.compile(
    r"\{% blocktranslate.*?%\}.*?\{% endblocktranslate %\}|\{% comment %\}.*?\{% endcomment %\}",
    re.DOTALL,
)
TAG = re.compile(r"\{%.*?%\}|\{\{.*?\}\}|\{#.*?#\}", re.DOTALL)
FALLBACK = re.compile(r"""\{\{[^}]*\|default(?:_if_none)?:"([^"]*)\"""")


class _Texts(HTMLParser):
    """Collects what stands between tags, and in the attributes that are spoken."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.texts: list[str] = []
        self._silent = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Attributes of an element."""
        self._silent = tag in ("script", "style")
        self.texts += [value for name, value in attrs if name in SPOKEN and value]

    def handle_endtag(self, tag: str) -> None:
        """A script or a style ends."""
        self._silent = self._silent and tag not in ("script", "style")

    def handle_data(self, data: str) -> None:
        """Text between two tags."""
        if not self._silent:
            self.texts.append(data)


def unmarked(template: str) -> Iterator[str]:
    """Each text that would stay English in every language, without the spaces around it."""
    yield from (text for text in FALLBACK.findall(template) if WORD.search(text))
    reader = _Texts()
    # A mark or a tag parts the words beside it: what stands between two of them is a text.
    reader.feed(TAG.sub(" ", MARKED.sub(" ", template)))
    reader.close()
    for text in reader.texts:
        if any(word not in AS_IT_IS for word in WORD.findall(text)):
            yield " ".join(text.split())
