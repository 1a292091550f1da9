"""The next case: estimates, why this now, and that it helps learners who are not its model."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from fsrs import Card, Rating, Scheduler

from sidewise.errors import UserError
from sidewise.practice import practice_case
from sidewise.practice.feedback.warrant import true_groups
from sidewise.practice.schedule import (
    Skill,
    SkillResult,
    next_skill,
    skill_estimate,
    skills_of,
    wishes_for,
)
from sidewise.practice.schedule.choice import retained_now
from tests.practice.forgetting_learners import (
    at_random,
    by_schedule,
    cases_to_mastery,
    mixed_cases_to_mastery,
)
from tests.practice.learner_games import told
from tests.shoulder import SHOULDER

NOW = datetime(2026, 3, 2, tzinfo=UTC)
A, B = Skill("condition", "frozen"), Skill("condition", "neck")


def results(skill: Skill, *well: bool, ago: float = 1.0) -> list[SkillResult]:
    return [
        SkillResult(skill, NOW - timedelta(days=ago * (len(well) - n)), one)
        for n, one in enumerate(well)
    ]


def test_nothing_known_is_anything() -> None:
    known = skill_estimate(A, [])
    assert (known.mean, known.count) == (0.5, 0)
    assert (known.low, known.high) == pytest.approx((0.025, 0.975))


def test_one_result_is_the_rule_of_succession() -> None:
    """Laplace 1774: after one success of one, two thirds."""
    assert skill_estimate(A, results(A, True)).mean == pytest.approx(2 / 3)


def test_late_results_count_more() -> None:
    better = skill_estimate(A, results(A, False, False, True, True)).mean
    assert better > skill_estimate(A, results(A, True, True, False, False)).mean


def test_what_was_never_met_comes_before_what_is_well_done() -> None:
    found = next_skill((A, B), results(A, True, True, True, True), NOW)
    assert found.skill == B
    assert "not met yet" in found.why


def test_what_was_done_badly_comes_before_what_was_done_well() -> None:
    history = [*results(A, True, True, True), *results(B, False, False, False)]
    found = next_skill((A, B), history, NOW)
    assert found.skill == B
    assert "0 of 3" in found.why


def test_what_fades_comes_back() -> None:
    history = sorted([*results(A, True, True, ago=60), *results(B, True, True, ago=1)],
                     key=lambda one: one.at)  # fmt: skip
    assert next_skill((A, B), history, NOW).skill == A


def test_what_is_left_is_what_the_library_says() -> None:
    scheduler = Scheduler(learning_steps=(), relearning_steps=(), enable_fuzzing=False)
    card = Card(card_id=0)
    history = results(A, True, False, True, ago=5)
    for one in history:
        card, _ = scheduler.review_card(
            card, Rating.Good if one.done_well else Rating.Again, one.at
        )
    assert retained_now(history, NOW)[A] == scheduler.get_card_retrievability(card, NOW)


def test_at_its_own_due_date_nine_tenths_are_left() -> None:
    """FSRS by its own definition: an interval ends where the desired retention, 0.9, is reached."""
    scheduler = Scheduler(learning_steps=(), relearning_steps=(), enable_fuzzing=False)
    card, _ = scheduler.review_card(Card(card_id=0), Rating.Good, NOW)
    # The due date is in whole days, so up to half a day off.
    left = retained_now([SkillResult(A, NOW, True)], card.due)[A]
    half = timedelta(hours=12)
    early, late = (
        retained_now([SkillResult(A, NOW, True)], card.due + shift)[A]
        for shift in (-2 * half, 2 * half)
    )
    assert late <= 0.9 <= early or left == pytest.approx(0.9, abs=0.01)


def test_no_skills_is_refused() -> None:
    with pytest.raises(UserError):
        next_skill((), [], NOW)


def test_every_skill_of_the_region_has_a_case_that_asks_for_it() -> None:
    skills = skills_of(SHOULDER)
    assert {one.sort for one in skills} == {"condition", "stage", "trap"}
    for skill in skills:
        if skill.sort == "condition":
            case = practice_case(SHOULDER, 5, wishes_for(skill, SHOULDER))
            levels = {}
            from sidewise.evidence.conditions import conditions_of

            known = conditions_of(SHOULDER).by_id
            for variable, level in case.drawn.levels.items():
                name, _, side = variable.partition(".")
                if level:
                    levels[name, side] = known[name].levels[level]
            assert skill.name in true_groups(SHOULDER, levels, case.record.context.complaint)


def test_results_of_an_attempt_name_what_was_missed() -> None:
    from sidewise.practice.schedule import skill_results

    shown = {one.skill: one.done_well for one in skill_results(told(0).to_json(), SHOULDER, NOW)}
    assert shown[Skill("trap", "systemic_symptoms")] is False
    assert shown[Skill("trap", "sides")] is True


@pytest.mark.slow
@pytest.mark.parametrize("law", ["power", "exponential"])
def test_weak_spots_are_mastered_in_fewer_cases_than_in_random_order(law: str) -> None:
    saved = np.array([
        cases_to_mastery(seed, law, at_random) - cases_to_mastery(seed, law, by_schedule)
        for seed in range(30)
    ])  # fmt: skip
    error = 1.96 * saved.std(ddof=1) / len(saved) ** 0.5
    print(f"{law}: {saved.mean():.1f} cases fewer, 95% interval +- {error:.1f}")
    assert saved.mean() - error > 0


@pytest.mark.slow
@pytest.mark.parametrize("law", ["power", "exponential"])
def test_weak_spots_of_every_sort_are_mastered_in_fewer_cases(law: str) -> None:
    """Conditions, stages and traps, in cases that show several of them at once."""
    saved = np.array([
        mixed_cases_to_mastery(seed, law, False) - mixed_cases_to_mastery(seed, law, True)
        for seed in range(20)
    ])  # fmt: skip
    error = 1.96 * saved.std(ddof=1) / len(saved) ** 0.5
    print(f"{law}: {saved.mean():.1f} cases fewer, 95% interval +- {error:.1f}")
    assert saved.mean() - error > 0


def test_a_learner_with_skills_of_every_sort_comes_to_mastery_by_the_schedule() -> None:
    assert mixed_cases_to_mastery(3, "power", True) < 200
