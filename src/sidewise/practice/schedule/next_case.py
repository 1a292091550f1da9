"""The next case for one learner, from what was kept of their cases; and what may be said of it.

Before the case nothing is said that would give its answer away; after it, what was asked for.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sidewise.knowledge.region import Region
from sidewise.practice.schedule.choice import NextSkill, next_skill, wishes_for
from sidewise.practice.schedule.skills import SIDES, Skill, skill_results, skills_of
from sidewise.practice.ways import patient_ways
from sidewise.practice.wishes import CaseWishes
from sidewise.protocol import protocol_of
from sidewise.reason.judging.flags import flag_book_of

HIDDEN = {
    "condition": "A condition that you have to weigh; which one is told at the end.",
    "trap": "A trap; which one is told at the end.",
}


@dataclass(frozen=True, slots=True)
class NextCase:
    """The case to practise next. before: what it is for, said without its answer; label: the same
    with it; why: why now, and how surely that is known. wishes: what the patient must have.
    """

    skill: Skill
    label: str
    before: str
    why: str
    wishes: CaseWishes

    def to_json(self) -> dict[str, str]:
        """What is kept beside the attempt and told at its end."""
        return {"sort": self.skill.sort, "name": self.skill.name, "label": self.label,
                "why": self.why}  # fmt: skip


def next_case(
    kept: Iterable[tuple[datetime, Mapping[str, Any]]], region: Region, now: datetime
) -> NextCase:
    """From each finished case of one learner its time and its feedback as plain data."""
    known = set(skills_of(region))
    told = sorted(kept, key=lambda one: one[0])
    history = [one for at, feedback in told for one in skill_results(feedback, region, at)]
    chosen = next_skill(skills_of(region), [one for one in history if one.skill in known], now)
    label = _label(chosen.skill, region)
    return NextCase(chosen.skill, label, _before(chosen, label), chosen.why,
                    wishes_for(chosen.skill, region))  # fmt: skip


def _before(chosen: NextSkill, label: str) -> str:
    is_plain = chosen.skill.sort == "stage" or chosen.skill.name == SIDES
    return f"{label}." if is_plain else HIDDEN[chosen.skill.sort]


def _label(skill: Skill, region: Region) -> str:
    if skill.sort == "condition":
        group = next(one for one in patient_ways(region).groups if one.id == skill.name)
        return f"To weigh: {group.label}"
    if skill.sort == "stage":
        stage = next(one for one in protocol_of(region).stages if one.id == skill.name)
        return f"To leave nothing out that is called for: {stage}"
    if skill.name == SIDES:
        return "To compare the two sides"
    flag = next(one for one in flag_book_of(region).flags if one.id == skill.name)
    return f"Not to miss: {flag.label}"
