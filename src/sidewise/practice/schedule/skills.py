"""Skills, what an attempt shows of each, and how well a learner has each, with its uncertainty.

Three sorts: a condition (to judge its chance as the findings warrant), a stage of the examination
(to leave out nothing that the patient calls for) and a trap (to name a flag, to compare sides).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from scipy.special import betaincinv

from sidewise.knowledge.region import Region
from sidewise.practice.ways import patient_ways
from sidewise.protocol import protocol_of

NEAR = 0.2
"""A chance within so much of the warranted one is well judged (our judgement)."""
FADES = 0.8
"""What a result counts for each later one of the same skill: learners change (our judgement)."""
FLAG, SIDES = "flag", "sides"


@dataclass(frozen=True, slots=True, order=True)
class Skill:
    """One thing to be able to do. name: of a group of conditions, a stage, a flag, or "sides"."""

    sort: Literal["condition", "stage", "trap"]
    name: str


@dataclass(frozen=True, slots=True)
class SkillResult:
    """What one attempt showed of one skill, and when."""

    skill: Skill
    at: datetime
    done_well: bool


LearnerHistory = Sequence[SkillResult]
"""All results of one learner, in the order of time."""


@dataclass(frozen=True, slots=True)
class SkillEstimate:
    """How often a skill is done well: mean and 95% interval; count: of results behind it."""

    mean: float
    low: float
    high: float
    sd: float
    count: int


def skills_of(region: Region) -> tuple[Skill, ...]:
    """Every skill that cases of a region can ask for."""
    ways = patient_ways(region)
    stages = [stage.id for stage in protocol_of(region).stages if not stage.sets_up]
    return (
        *(Skill("condition", group.id) for group in ways.groups),
        *(Skill("stage", name) for name in stages),
        *(Skill("trap", name) for name in (*ways.flags, SIDES)),
    )


def skill_results(told: Mapping[str, Any], region: Region, at: datetime) -> tuple[SkillResult, ...]:
    """What an attempt showed: of what the patient had, of each stage, and of the traps in it.

    told: its feedback as plain data (`Feedback.to_json`), as it was kept when the case ended.
    """
    return tuple(SkillResult(skill, at, well) for skill, well in _shown(told, region))


def _shown(told: Mapping[str, Any], region: Region) -> Iterator[tuple[Skill, bool]]:
    protocol = protocol_of(region)
    for one in told["groups"]:
        # What is not there and was not feared shows nothing.
        if one["there"] or max(one["stated"], one["warranted"]) >= NEAR:
            near = abs(one["stated"] - one["warranted"]) < NEAR
            yield Skill("condition", one["group"]), near
    # An item of a knowledge version before this one may be gone.
    items = (protocol.by_id.get(one["item"]) for one in told["essentials_left_out"] if one["why"])
    called = {item.stage for item in items if item is not None}
    for stage in protocol.stages:
        if not stage.sets_up:
            yield Skill("stage", stage.id), stage.id not in called
    missed = {one["flag"] for one in told["flags_missed"]}
    for flag in told["flags_there"]:
        if flag in patient_ways(region).flags:
            yield Skill("trap", flag), flag not in missed
    yield Skill("trap", SIDES), not (told["swapped"] or told["not_compared"])


def skill_estimate(skill: Skill, history: LearnerHistory) -> SkillEstimate:
    """Beta posterior of doing a skill well, from a flat prior; older results count less.

    Each result counts FADES to the power of how many came after it.
    """
    own = [one.done_well for one in history if one.skill == skill]
    well, badly = 1.0, 1.0
    for age, done_well in enumerate(reversed(own)):
        weight = FADES**age
        well, badly = well + weight * done_well, badly + weight * (not done_well)
    whole = well + badly
    low, high = (float(betaincinv(well, badly, share)) for share in (0.025, 0.975))
    sd = (well * badly / (whole**2 * (whole + 1))) ** 0.5
    return SkillEstimate(well / whole, low, high, sd, len(own))
