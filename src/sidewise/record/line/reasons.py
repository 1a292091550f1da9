"""The reason why something was not examined: free words, refused where they read like a finding."""

from __future__ import annotations

import re

from sidewise.record.line.phrases import Phrases
from sidewise.record.line.words import LineWords

SAYS_SOMETHING = frozenset(("RESULT", "GRADE", "TENDER", "SIDE", "STATUS", "EYE"))
WORD = re.compile(r"[^\s,]+")


def reads_like_a_finding(reason: str, phrases: Phrases, words: LineWords) -> bool:
    """Whether words given as a reason may be a finding, or name another item.

    "not done L pos" and "not done Hawkins" are no reasons; "too stiff" and "pain" are.
    """
    unknown = False
    place = 0
    said = []
    while word := WORD.search(reason, place):
        start = word.start()
        if words.subjects.match(reason, start, len(reason)) or word.group()[0].isdigit():
            return True
        hit = phrases.match(reason, start, len(reason))
        if hit:
            said.append(hit.meaning)
        else:
            unknown = True
        place = hit.end if hit else word.end()
    names = {meaning.name for meaning in said}
    if names & SAYS_SOMETHING:
        return True
    return bool(said) and not unknown and {meaning.value for meaning in said} != {"pain"}
