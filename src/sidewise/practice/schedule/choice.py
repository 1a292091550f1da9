"""The next skill to practise: where a learner most likely fails, for want of skill or of memory.

What fades is told by FSRS (library `fsrs`, free spaced repetition scheduler): each skill is a card,
a result done well a "good", any other an "again". The need of a skill is

    1 - mean * retrievability + CURIOUS * sd

with the mean and standard deviation of its estimate: little known is worth a case as well. Of the
most needed skills the one longest not practised comes first, then the order of the region.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from sidewise.errors import UserError
from sidewise.ground.extras import require_extra
from sidewise.knowledge.region import Region
from sidewise.practice.schedule.skills import (
    SIDES,
    LearnerHistory,
    Skill,
    SkillEstimate,
    skill_estimate,
)
from sidewise.practice.ways import patient_ways
from sidewise.practice.wishes import CaseWishes

CURIOUS = 0.5
"""What a standard deviation of doubt counts beside a chance of failing (our judgement)."""
RETENTION = 0.9


@dataclass(frozen=True, slots=True)
class NextSkill:
    """The skill to practise now, its estimate, how much of it is still there, and why now.

    retained: chance that what was last done well still is, 0 to 1; None before any result.
    """

    skill: Skill
    estimate: SkillEstimate
    retained: float | None
    need: float
    why: str


def next_skill(skills: Sequence[Skill], history: LearnerHistory, now: datetime) -> NextSkill:
    """The most needed of these skills; UserError where there is none to choose from."""
    if not skills:
        raise UserError("skills", "none", "at least one skill to practise")
    retained = retained_now(history, now)
    found = [_needed(skill, history, retained.get(skill)) for skill in skills]
    last = {one.skill: one.at for one in history}
    never = datetime.min.replace(tzinfo=UTC)
    return min(found, key=lambda one: (-round(one.need, 6), last.get(one.skill, never)))


def retained_now(history: LearnerHistory, now: datetime) -> Mapping[Skill, float]:
    """The chance, by FSRS, that each practised skill is still there."""
    require_extra("practice", "the choice of the next case")
    from fsrs import Card, Rating, Scheduler

    # No steps within a day, and no chance: the same history gives the same choice.
    scheduler = Scheduler(
        desired_retention=RETENTION, learning_steps=(), relearning_steps=(), enable_fuzzing=False
    )
    cards: dict[Skill, Card] = {}
    for one in history:
        card = cards.get(one.skill) or Card(card_id=len(cards))
        rating = Rating.Good if one.done_well else Rating.Again
        cards[one.skill], _ = scheduler.review_card(card, rating, one.at)
    return {
        skill: float(scheduler.get_card_retrievability(card, now)) for skill, card in cards.items()
    }


def _needed(skill: Skill, history: LearnerHistory, retained: float | None) -> NextSkill:
    known = skill_estimate(skill, history)
    need = 1 - known.mean * (1.0 if retained is None else retained) + CURIOUS * known.sd
    own = [one for one in history if one.skill == skill]
    return NextSkill(skill, known, retained, need, _why(own, known, retained))


def _why(own: LearnerHistory, known: SkillEstimate, retained: float | None) -> str:
    if retained is None:
        return "It was not met yet, so nothing is known of it."
    well = sum(one.done_well for one in own)
    words = (
        f"Done well {well} of {len(own)} times; estimated {known.mean:.0%} "
        f"({known.low:.0%} to {known.high:.0%}); last on {own[-1].at:%d %b %Y}"
    )
    # Of what was never done well nothing can be left.
    return f"{words}, of which {retained:.0%} is thought to be left." if well else f"{words}."


def wishes_for(skill: Skill, region: Region) -> CaseWishes:
    """A case that asks for a skill; a stage and the comparison of sides are asked by any."""
    ways = patient_ways(region)
    if skill.sort == "condition":
        (group,) = (one for one in ways.groups if one.id == skill.name)
        return CaseWishes(present=(group.members[0],))
    if skill.sort == "trap" and skill.name != SIDES:
        return CaseWishes(flags=(skill.name,))
    return CaseWishes()
