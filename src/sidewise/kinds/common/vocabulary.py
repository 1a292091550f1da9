"""The words that a region lends to its kinds of value."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

Words = tuple[tuple[str, str], ...]
"""Names in files, each with the word for it in a sentence, in the order in which they are said."""


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """The places a hand can reach behind the back, and what a manoeuvre can reproduce.

    `ladder` runs from the lowest place to the highest; it is a ladder, not degrees. `views` are
    those of the body on which a place can be marked.
    """

    ladder: tuple[str, ...] = ()
    aspects: Words = ()
    views: tuple[str, ...] = ()

    @property
    def aspect_names(self) -> tuple[str, ...]:
        """The aspects as they stand in files."""
        return tuple(name for name, _ in self.aspects)


def join_vocabularies(vocabularies: Iterable[Vocabulary]) -> Vocabulary:
    """Every word of several regions once, in the order in which it is first met."""
    every = list(vocabularies)
    ladder = dict.fromkeys(rung for one in every for rung in one.ladder)
    aspects = {name: word for one in reversed(every) for name, word in one.aspects}
    names = dict.fromkeys(name for one in every for name in one.aspect_names)
    views = dict.fromkeys(view for one in every for view in one.views)
    words = tuple((name, aspects[name]) for name in names)
    return Vocabulary(tuple(ladder), words, tuple(views))
