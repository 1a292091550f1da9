"""Which case next, and why: what a learner can do, how surely it is known, and what fades."""

from sidewise.practice.schedule.choice import NextSkill, next_skill, wishes_for
from sidewise.practice.schedule.next_case import NextCase, next_case
from sidewise.practice.schedule.skills import (
    LearnerHistory,
    Skill,
    SkillEstimate,
    SkillResult,
    skill_estimate,
    skill_results,
    skills_of,
)

__all__ = [
    "LearnerHistory",
    "NextCase",
    "NextSkill",
    "Skill",
    "SkillEstimate",
    "SkillResult",
    "next_case",
    "next_skill",
    "skill_estimate",
    "skill_results",
    "skills_of",
    "wishes_for",
]
