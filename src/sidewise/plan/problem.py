"""What a plan is, in whole numbers: tasks, the time, the order that is kept, and what it is worth.

It knows no record and no region. `plan_worth` says what any order costs and is worth, and stands
beside the solvers: they search, it judges.

The order: tasks go through *blocks* from the lowest on. In a block the tasks are free, and are
taken so that the patient changes posture and the examiner place as seldom as may be. The worth is
compared from the left: what screens a flag, what is called for, then the discounted gain less a
little for the time, the soreness and the changes, which decides between equals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from sidewise.reason.weighing.step_worth import SORENESS_COST, change_of_posture

UNITS_A_BIT = 10_000
"""Gains are whole ten-thousandths of a bit, so that the sums of a solver are exact."""
DISCOUNT = 0.5
"""Each further item of a family counts half of the one before it (our judgement; with the
correlations of manoeuvres of one mechanism, about .45, a second one tells about 0.46 to 0.58 of
what it would by itself; what the chosen items tell together is sampled afterwards)."""
MOST_RANKS = 6
"""From this many on, all further items of a family count alike: 1/32 of their own gain."""
PLACE_SECONDS = 4
"""For the examiner to take up a place and say what comes next (our judgement)."""
FLAG, CALLED, TELLING = 0, 1, 2
"""Tiers: screens a flag, is called for, tells something."""


class PlanStance(NamedTuple):
    """Posture of the patient and place of the examiner."""

    posture: str
    place: str


@dataclass(frozen=True, slots=True)
class PlanTask:
    """One item as the solver sees it.

    seconds: of the patient's time, both sides. units: gain in ten-thousandths of a bit. family:
    what it shares its news with, "" for nothing. block: (phase, tier) in the order of the plan.
    stances: those in which it can be done, at least one.
    """

    name: str
    seconds: int
    units: int
    family: str
    tier: int
    block: tuple[int, int]
    soreness: int
    stances: frozenset[PlanStance]


@dataclass(frozen=True)
class PlanProblem:
    """Tasks to choose from, the seconds there are, and the stance at the beginning."""

    tasks: tuple[PlanTask, ...]
    seconds: int
    start: PlanStance

    @cached_property
    def blocks(self) -> tuple[tuple[int, int], ...]:
        """The blocks that have tasks, in order."""
        return tuple(sorted({task.block for task in self.tasks}))

    @cached_property
    def postures(self) -> tuple[str, ...]:
        """Every posture of a task, and the one at the beginning."""
        every = {stance.posture for task in self.tasks for stance in task.stances}
        return tuple(sorted({self.start.posture} | every))

    @cached_property
    def families(self) -> dict[str, tuple[int, ...]]:
        """Numbers of the tasks of each family of two or more."""
        found: dict[str, tuple[int, ...]] = {}
        for number, task in enumerate(self.tasks):
            if task.family and task.units:
                found[task.family] = (*found.get(task.family, ()), number)
        return {name: numbers for name, numbers in found.items() if len(numbers) > 1}

    @cached_property
    def weights(self) -> tuple[int, int]:
        """What one task that screens a flag counts, and one that is called for.

        So much that no gain and no saving of time makes up for one of them.
        """
        gains = sum(task.units for task in self.tasks)
        costs = sum(task_cost(task) for task in self.tasks) + self.seconds
        called = gains + costs + 1
        count = sum(task.tier == CALLED for task in self.tasks)
        return called * (count + 1), called

    @property
    def most(self) -> int:
        """What no plan is worth more than: every task, at no cost and without discount."""
        for_flag, for_called = self.weights
        weight = {FLAG: for_flag, CALLED: for_called}
        return sum(task.units + weight.get(task.tier, 0) for task in self.tasks)


class PlannedTask(NamedTuple):
    """A task of the plan by its number, and the stance in which it is done."""

    task: int
    stance: PlanStance


@dataclass(frozen=True, slots=True)
class PlanWorth:
    """What an order costs and is worth.

    seconds: of work and of changes. changes: of posture. flags, called: how many of them. units:
    discounted gain. score: all in one number, the larger the better.
    """

    seconds: int
    changes: int
    flags: int
    called: int
    units: int
    score: int


def posture_seconds(here: str, there: str) -> int:
    """Seconds for the patient to change posture."""
    return round(change_of_posture(here, there))


def change_seconds(problem: PlanProblem, order: Sequence[PlannedTask]) -> list[int]:
    """Seconds before each task of an order: for the posture, and to take up the place.

    A place is taken up anew in each block, since there something else begins.
    """
    found = []
    posture, last = problem.start.posture, None
    for one in order:
        here = (problem.tasks[one.task].block, one.stance)
        arrives = PLACE_SECONDS if here != last else 0
        found.append(arrives + posture_seconds(posture, one.stance.posture))
        posture, last = one.stance.posture, here
    return found


def task_cost(task: PlanTask) -> int:
    """Seconds of a task with its soreness counted as time; decides between equals only."""
    return round(task.seconds * (1 + SORENESS_COST * task.soreness))


def rank_units(units: int, rank: int) -> int:
    """What a gain counts as the rank-th (from 0) of its family."""
    return round(units * DISCOUNT ** min(rank, MOST_RANKS - 1))


def family_units(gains: Sequence[int]) -> int:
    """Discounted sum of the gains of one family, the largest first."""
    return sum(rank_units(one, rank) for rank, one in enumerate(sorted(gains, reverse=True)))


def discounted_units(problem: PlanProblem, chosen: Sequence[int]) -> int:
    """Discounted sum of the gains of these tasks."""
    there = set(chosen)
    in_family = problem.families.values()
    within = {number for numbers in in_family for number in numbers}
    alone = sum(problem.tasks[number].units for number in there - within)
    return alone + sum(
        family_units([problem.tasks[n].units for n in numbers if n in there])
        for numbers in in_family
    )


def plan_worth(problem: PlanProblem, order: Sequence[PlannedTask]) -> PlanWorth:
    """What an order costs and is worth; ValueError where it breaks a rule of the plan."""
    _check_order(problem, order)
    tasks = [problem.tasks[one.task] for one in order]
    moves = change_seconds(problem, order)
    seconds = sum(task.seconds for task in tasks) + sum(moves)
    if seconds > problem.seconds:
        raise ValueError(f"{seconds} seconds in {problem.seconds}")
    flags = sum(task.tier == FLAG for task in tasks)
    called = sum(task.tier == CALLED for task in tasks)
    units = discounted_units(problem, [one.task for one in order])
    for_flag, for_called = problem.weights
    cost = sum(map(task_cost, tasks)) + sum(moves)
    score = for_flag * flags + for_called * called + units - cost
    return PlanWorth(
        seconds, sum(move > PLACE_SECONDS for move in moves), flags, called, units, score
    )


def _check_order(problem: PlanProblem, order: Sequence[PlannedTask]) -> None:
    numbers = [one.task for one in order]
    if len(set(numbers)) != len(numbers):
        raise ValueError("a task twice")
    blocks = [problem.tasks[number].block for number in numbers]
    if blocks != sorted(blocks):
        raise ValueError("a block after a later one")
    for one in order:
        if one.stance not in problem.tasks[one.task].stances:
            raise ValueError(f"{problem.tasks[one.task].name} cannot be done {one.stance}")
