"""The best plan by OR-tools' CP-SAT: proven, or with how much better one could still be.

Every block is passed, entered in the posture in which the one before was left, on one of the few
ways through the postures; that is a shortest path, which the relaxation of the model gets right
by itself. In a posture of the way the examiner may take up places; a task is done where it can be.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise, permutations
from typing import Any

from sidewise.ground.extras import require_extra
from sidewise.plan.problem import (
    CALLED,
    FLAG,
    MOST_RANKS,
    PLACE_SECONDS,
    PlannedTask,
    PlanProblem,
    PlanStance,
    posture_seconds,
    rank_units,
    task_cost,
)

SECONDS_TO_SEARCH = 20.0
"""Of computing; a plan that is not proven by then says how much better one could be."""
Walk = tuple[str, ...]
"""Postures in the order in which a block goes through them."""


@dataclass(frozen=True, slots=True)
class PlanSolution:
    """An order, whether no better one exists, and the most by which one could be better.

    gap: in the units of the score, 0 where proven. seconds_of_search: of computing.
    """

    order: tuple[PlannedTask, ...]
    proven: bool
    gap: int
    seconds_of_search: float


def solve_plan(problem: PlanProblem, seconds: float = SECONDS_TO_SEARCH) -> PlanSolution:
    """The order of the largest score.

    seconds: of computing allowed. UserError where the extra `planning` is not installed. The same
    problem gives the same order, unless the time for computing runs out first.
    """
    if not problem.tasks:
        return PlanSolution((), True, 0, 0.0)
    require_extra("planning", "a plan")
    from ortools.sat.python import cp_model

    model = _Model(problem, cp_model.CpModel())
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    # One thread: the answer does not hang on the machine.
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    # All of it in the relaxation, which is nearly tight: eight times faster than the default.
    solver.parameters.linearization_level = 2
    status = solver.solve(model.model)
    if status == cp_model.UNKNOWN:
        # Nothing at all is a plan too, of the score 0, and none is better than all for nothing.
        return PlanSolution((), False, problem.most, solver.wall_time)
    assert status in (cp_model.OPTIMAL, cp_model.FEASIBLE), "the empty plan is always possible"
    proven = status == cp_model.OPTIMAL
    gap = 0 if proven else round(solver.best_objective_bound - solver.objective_value)
    return PlanSolution(tuple(model.order(solver)), proven, gap, solver.wall_time)


class _Model:
    """The literals of the model.

    walks: by block, each way through postures. there: by block and stance, whether the examiner
    takes it up. done: by task and stance.
    """

    def __init__(self, problem: PlanProblem, model: Any) -> None:
        self.problem, self.model = problem, model
        self.walks: list[dict[Walk, Any]] = []
        self.there: dict[tuple[int, PlanStance], Any] = {}
        self.done: dict[tuple[int, PlanStance], Any] = {}
        self.taken = [model.new_bool_var(task.name) for task in problem.tasks]
        self._add_walks()
        self._add_tasks()
        self._add_time_and_worth()

    def _add_walks(self) -> None:
        problem, model = self.problem, self.model
        for layer in range(len(problem.blocks)):
            here = {walk: model.new_bool_var(f"{layer} {walk}") for walk in walks_of(problem)}
            model.add_exactly_one(here.values())
            for posture in problem.postures:
                entered = sum(literal for walk, literal in here.items() if walk[0] == posture)
                if layer == 0:
                    model.add(entered == (posture == problem.start.posture))
                else:
                    before = self.walks[-1].items()
                    model.add(entered == sum(lit for walk, lit in before if walk[-1] == posture))
            self.walks.append(here)

    def _add_tasks(self) -> None:
        problem, model = self.problem, self.model
        layer_of = {block: layer for layer, block in enumerate(problem.blocks)}
        for number, task in enumerate(problem.tasks):
            layer = layer_of[task.block]
            for stance in sorted(task.stances):
                done = self.done[number, stance] = model.new_bool_var(f"{task.name} {stance}")
                model.add_implication(done, self._stance(layer, stance))
            own = [self.done[number, stance] for stance in sorted(task.stances)]
            model.add(sum(own) == self.taken[number])

    def _stance(self, layer: int, stance: PlanStance) -> Any:
        key = (layer, stance)
        if key not in self.there:
            literal = self.there[key] = self.model.new_bool_var(f"{layer} {stance}")
            walks = self.walks[layer].items()
            visits = sum(lit for walk, lit in walks if stance.posture in walk)
            self.model.add(literal <= visits)
        return self.there[key]

    def _add_time_and_worth(self) -> None:
        problem, model = self.problem, self.model
        moved = sum(
            walk_seconds(walk) * literal for here in self.walks for walk, literal in here.items()
        ) + sum(PLACE_SECONDS * literal for literal in self.there.values())
        pairs = list(zip(problem.tasks, self.taken, strict=True))
        worked = sum(task.seconds * taken for task, taken in pairs)
        model.add(worked + moved <= problem.seconds)
        for_flag, for_called = problem.weights
        weight = {FLAG: for_flag, CALLED: for_called}
        score = sum((weight.get(task.tier, 0) - task_cost(task)) * taken for task, taken in pairs)
        model.maximize(score + self._gain() - moved)

    def _gain(self) -> Any:
        """The discounted gain: each task of a family takes one rank, lower ranks first."""
        problem, model = self.problem, self.model
        within = {number for numbers in problem.families.values() for number in numbers}
        gain = sum(
            task.units * self.taken[number]
            for number, task in enumerate(problem.tasks)
            if number not in within
        )
        for name, numbers in problem.families.items():
            # Larger gains count more at lower ranks, so that the best sum puts them there.
            last = min(len(numbers), MOST_RANKS) - 1
            ranks = [
                [model.new_bool_var(f"{name} {number} {rank}") for rank in range(last + 1)]
                for number in numbers
            ]
            for number, own in zip(numbers, ranks, strict=True):
                model.add(sum(own) == self.taken[number])
                gain += sum(
                    rank_units(problem.tasks[number].units, rank) * literal
                    for rank, literal in enumerate(own)
                )
            for rank in range(last if len(numbers) > MOST_RANKS else last + 1):
                model.add_at_most_one(own[rank] for own in ranks)
        return gain

    def order(self, solver: Any) -> Iterator[PlannedTask]:
        """The tasks along the walks; at one place in the order in which they were given."""
        place = self.problem.start.place
        for layer, here in enumerate(self.walks):
            walk = next(walk for walk, literal in here.items() if solver.value(literal))
            for posture in walk:
                own = [
                    PlannedTask(number, stance)
                    for (number, stance), literal in self.done.items()
                    if solver.value(literal)
                    and stance.posture == posture
                    and self.problem.tasks[number].block == self.problem.blocks[layer]
                ]
                # Where the examiner stands already comes first.
                for one in sorted(own, key=lambda o: (o.stance.place != place, o.stance.place)):
                    yield one
                    place = one.stance.place


def walks_of(problem: PlanProblem) -> Iterator[Walk]:
    """Every way through postures, none of them twice."""
    for length in range(1, len(problem.postures) + 1):
        yield from permutations(problem.postures, length)


def walk_seconds(walk: Walk) -> int:
    """Seconds of the changes on a way through postures."""
    return sum(posture_seconds(here, there) for here, there in pairwise(walk))
