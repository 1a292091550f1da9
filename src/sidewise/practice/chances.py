"""Groups of conditions of which a learner states chances, and words of chance.

A group is there where any of its members is, on a side that complains or of the whole person.
"""

from __future__ import annotations

from pydantic import Field

from sidewise.errors import UserError
from sidewise.evidence.conditions import Condition, Conditions
from sidewise.ground.frozen import Frozen
from sidewise.protocol.model import nearest_names

CHANCE_WORDS: dict[str, float] = {
    "excluded": 0.01,
    "very unlikely": 0.05,
    "unlikely": 0.2,
    "even": 0.5,
    "likely": 0.75,
    "very likely": 0.9,
    "certain": 0.99,
}
"""Words of chance and the number each stands for (our judgement: people mean widely different
numbers by one word, so the room says which it takes)."""


class ChanceGroup(Frozen):
    """A group: its name for a learner and its members, "condition" or "condition:level"."""

    id: str = Field(pattern=r"^[a-z][a-z_]*$")
    label: str = Field(min_length=3)
    members: tuple[str, ...] = Field(min_length=1)


def member_levels(group: ChanceGroup, conditions: Conditions) -> dict[str, frozenset[int]]:
    """The levels by which each condition of a group counts; UserError for an unknown member."""
    known: dict[str, Condition] = {one.id: one for one in conditions.network}
    found: dict[str, frozenset[int]] = {}
    for member in group.members:
        name, _, level = member.partition(":")
        if name not in known:
            raise UserError(f"groups.{group.id}", name, "a condition that has a probability",
                            nearest_names(name, known))  # fmt: skip
        levels = known[name].levels
        if level and level not in levels[1:]:
            raise UserError(f"groups.{group.id}", member, f"one of {', '.join(levels[1:])}")
        counts = {levels.index(level)} if level else set(range(1, len(levels)))
        found[name] = found.get(name, frozenset()) | counts
    return found


def chance_of_words(word: str) -> float:
    """The number behind a word of chance; UserError with the words there are."""
    if word not in CHANCE_WORDS:
        raise UserError("chance", word, "0% to 100%, or a word of chance",
                        f"The words are: {', '.join(CHANCE_WORDS)}.")  # fmt: skip
    return CHANCE_WORDS[word]
