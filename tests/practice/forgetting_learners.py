"""Learners that are not the scheduler's own model: weak spots, and forgetting by their own law.

A skill has a strength from 0 to 1 when it was last practised; each case with it takes away a share
of what is missing. Between cases it fades exponentially or by a power of the days (Wixted and
Ebbesen, Psychological Science 1991; 2: 409-415, found the power the better description).
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import numpy as np

from sidewise.practice.schedule import Skill, SkillResult, next_skill

SKILLS = tuple(Skill("condition", name) for name in "abcdefghijkl")
WEAK = 3
MASTERED = 0.85
MOST = 200
START = datetime(2026, 1, 5, tzinfo=UTC)
Choose = Callable[[list[SkillResult], datetime, np.random.Generator], Skill]


class ForgettingLearner:
    def __init__(self, seed: int, law: str, skills: tuple[Skill, ...] = SKILLS) -> None:
        self.rng = np.random.default_rng(seed)
        self.law = law
        self.strength = dict.fromkeys(skills, 0.93)
        for number in self.rng.choice(len(skills), WEAK, replace=False):
            self.strength[skills[number]] = 0.3
        self.last = dict.fromkeys(skills, 0.0)
        self.rate = float(self.rng.uniform(0.2, 0.4))
        self.fading = float(self.rng.uniform(0.5, 1.5))

    def able(self, skill: Skill, day: float) -> float:
        days = day - self.last[skill]
        if self.law == "power":
            return float(self.strength[skill] * (1 + days) ** (-0.015 * self.fading))
        return float(self.strength[skill] * np.exp(-0.002 * self.fading * days))

    def practise(self, skill: Skill, day: float) -> bool:
        well = bool(self.rng.random() < self.able(skill, day))
        now = self.able(skill, day)
        self.strength[skill], self.last[skill] = now + self.rate * (1 - now), day
        return well

    def mastered(self, day: float) -> bool:
        return all(self.able(skill, day) >= MASTERED for skill in self.strength)


MIXED = (
    *(Skill("condition", name) for name in "abcdef"),
    *(Skill("stage", name) for name in ("look", "feel", "move")),
    *(Skill("trap", name) for name in ("fever", "cancer", "sides")),
)
"""Every sort of skill. A case shows its condition or its flag, and whatever it is, the stages and
whether the sides were compared."""
BY_ANY = tuple(one for one in MIXED if one.sort == "stage" or one.name == "sides")
ASKED = tuple(one for one in MIXED if one not in BY_ANY)


def mixed_cases_to_mastery(seed: int, law: str, scheduled: bool) -> int:
    """As `cases_to_mastery`, with cases that show several skills at once, as in the room."""
    learner, rng = ForgettingLearner(seed, law, MIXED), np.random.default_rng([seed, 1])
    history: list[SkillResult] = []
    for number in range(MOST):
        day = number / 2
        if learner.mastered(day):
            return number
        at = START + timedelta(days=day)
        asked = next_skill(MIXED, history, at).skill if scheduled else None
        if asked not in ASKED:
            asked = ASKED[int(rng.integers(len(ASKED)))]
        for skill in (asked, *BY_ANY):
            history.append(SkillResult(skill, at, learner.practise(skill, day)))
    return MOST


def by_schedule(history: list[SkillResult], now: datetime, _rng: np.random.Generator) -> Skill:
    return next_skill(SKILLS, history, now).skill


def at_random(_history: list[SkillResult], _now: datetime, rng: np.random.Generator) -> Skill:
    return SKILLS[int(rng.integers(len(SKILLS)))]


def cases_to_mastery(seed: int, law: str, choose: Choose) -> int:
    """Cases, two a day, until every skill is mastered; MOST where that is not reached."""
    learner, rng = ForgettingLearner(seed, law), np.random.default_rng([seed, 1])
    history: list[SkillResult] = []
    for number in range(MOST):
        day = number / 2
        if learner.mastered(day):
            return number
        at = START + timedelta(days=day)
        skill = choose(history, at, rng)
        history.append(SkillResult(skill, at, learner.practise(skill, day)))
    return MOST
