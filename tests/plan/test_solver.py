"""The solver against everything there is on small problems, and against another solver on large."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, permutations, product

import numpy as np
import pytest

from sidewise.errors import UserError
from sidewise.plan import presentation
from sidewise.plan.candidates import candidates, plan_problem
from sidewise.plan.outlook import outlook
from sidewise.plan.problem import (
    CALLED,
    FLAG,
    TELLING,
    PlannedTask,
    PlanProblem,
    PlanStance,
    PlanTask,
    family_units,
    plan_worth,
)
from sidewise.plan.solver import solve_plan
from tests.plan.second_solver import best_score
from tests.shoulder import SHOULDER

pytest.importorskip("ortools")
POSTURES = ("lying", "sitting", "standing")
PLACES = ("behind", "in front")


def small_problem(seed: int, count: int = 4) -> PlanProblem:
    """Tasks at random: a few blocks, families, postures and places, and never quite enough time."""
    rng = np.random.default_rng(seed)

    def task(number: int) -> PlanTask:
        stances = {PlanStance(str(rng.choice(POSTURES)), str(rng.choice(PLACES))) for _ in range(2)}
        tier = int(rng.choice([FLAG, CALLED, TELLING, TELLING]))
        return PlanTask(
            name=f"t{number}",
            seconds=int(rng.integers(2, 40)),
            units=int(rng.integers(0, 3000)) if tier != FLAG else 0,
            family=str(rng.choice(["", "a", "b"])),
            tier=tier,
            block=(int(rng.integers(0, 2)), int(rng.integers(0, 2))),
            soreness=int(rng.integers(0, 4)),
            stances=frozenset(stances),
        )

    tasks = tuple(task(number) for number in range(count))
    seconds = int(rng.integers(20, 140))
    return PlanProblem(tasks, seconds, PlanStance("sitting", "in front"))


def every_order(problem: PlanProblem) -> Iterator[tuple[PlannedTask, ...]]:
    numbers = range(len(problem.tasks))
    for size in range(len(problem.tasks) + 1):
        for chosen in combinations(numbers, size):
            for order in permutations(chosen):
                for stances in product(*(problem.tasks[n].stances for n in order)):
                    yield tuple(map(PlannedTask, order, stances))


def best_of_all(problem: PlanProblem) -> int:
    best = -(10**12)
    for order in every_order(problem):
        try:
            best = max(best, plan_worth(problem, order).score)
        except ValueError:
            continue
    return best


@pytest.mark.parametrize("seed", range(25))
def test_no_order_at_all_is_better_on_a_small_problem(seed: int) -> None:
    problem = small_problem(seed)
    found = solve_plan(problem)
    assert found.proven
    assert plan_worth(problem, found.order).score == best_of_all(problem)
    assert best_score(problem) == pytest.approx(best_of_all(problem), abs=1e-3)


@pytest.fixture(scope="module")
def full_examination() -> PlanProblem:
    view = outlook(presentation("shoulder", "left", 62), SHOULDER)
    return plan_problem(view, candidates(view), 6 * 60)


def test_a_full_examination_is_as_good_by_another_solver(full_examination: PlanProblem) -> None:
    problem = full_examination
    found = solve_plan(problem, 60.0)
    assert len(problem.tasks) > 60
    assert found.proven
    assert plan_worth(problem, found.order).score == round(best_score(problem))


def test_a_rule_that_is_broken_is_no_plan() -> None:
    problem = small_problem(3)
    first = PlannedTask(0, min(problem.tasks[0].stances))
    with pytest.raises(ValueError, match="a task twice"):
        plan_worth(problem, (first, first))
    nowhere = PlannedTask(0, PlanStance("flying", "in front"))
    with pytest.raises(ValueError, match="cannot be done"):
        plan_worth(problem, (nowhere,))
    late = max(range(4), key=lambda n: problem.tasks[n].block)
    early = min(range(4), key=lambda n: problem.tasks[n].block)
    assert problem.tasks[late].block > problem.tasks[early].block
    order = [PlannedTask(n, min(problem.tasks[n].stances)) for n in (late, early)]
    with pytest.raises(ValueError, match="a block after a later one"):
        plan_worth(problem, order)


def test_each_further_one_of_a_family_counts_half() -> None:
    assert family_units([800]) == 800
    assert family_units([400, 800]) == family_units([800, 400]) == 1000
    assert family_units([100] * 8) == 100 + 50 + 25 + 12 + 6 + 3 * 3


def test_nothing_to_do_is_a_proven_plan() -> None:
    assert solve_plan(PlanProblem((), 100, PlanStance("sitting", "in front"))).proven


def test_out_of_computing_time_the_gap_is_told(full_examination: PlanProblem) -> None:
    found = solve_plan(full_examination, 0.001)
    assert not found.proven
    # What the best plan has more than this one is no more than what was said.
    best = best_score(full_examination)
    assert plan_worth(full_examination, found.order).score + found.gap >= round(best)


def test_a_missing_extra_is_said_with_the_command_that_adds_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("sidewise.ground.extras.find_spec", lambda _name: None)
    with pytest.raises(UserError, match=r"pip install 'sidewise\[planning\]'"):
        solve_plan(small_problem(0))
