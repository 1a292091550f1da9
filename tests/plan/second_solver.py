"""The same plan by another solver and another model: HiGHS, through scipy, on a mixed programme.

The model of the program chooses one of the ways through postures in each block; this one lets the
patient flow through a network of slots, three in each block, so that both can only agree by
being right about the same rules.
"""

from __future__ import annotations

from collections import defaultdict
from itertools import product

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from sidewise.plan.problem import (
    CALLED,
    FLAG,
    MOST_RANKS,
    PLACE_SECONDS,
    PlanProblem,
    posture_seconds,
    rank_units,
    task_cost,
)

Terms = dict[int, float]


class Programme:
    """Binary variables with their worth, and constraints row by row."""

    def __init__(self) -> None:
        self.worth: list[float] = []
        self.rows: list[tuple[Terms, float, float]] = []

    def variable(self, worth: float = 0.0) -> int:
        self.worth.append(worth)
        return len(self.worth) - 1

    def row(self, terms: Terms, low: float, high: float) -> None:
        self.rows.append((terms, low, high))

    def best(self) -> float:
        places = [(r, c, v) for r, (t, _, _) in enumerate(self.rows) for c, v in t.items()]
        rows, columns, values = zip(*places, strict=True)
        shape = (len(self.rows), len(self.worth))
        matrix = csr_array((values, (rows, columns)), shape=shape)
        found = milp(
            -np.array(self.worth),
            constraints=LinearConstraint(matrix, [r[1] for r in self.rows],
                                         [r[2] for r in self.rows]),
            integrality=np.ones(len(self.worth)),
            bounds=Bounds(0, 1),
            options={"mip_rel_gap": 0.0},
        )  # fmt: skip
        assert found.status == 0, found.message
        return -float(found.fun)


def best_score(problem: PlanProblem) -> float:
    """The largest score that any plan of this problem has."""
    made, seconds = Programme(), defaultdict[int, float](float)
    slots = range(len(problem.postures))
    layers = range(len(problem.blocks))
    at = {key: made.variable() for key in product(layers, slots, problem.postures)}
    flow: dict[tuple[int, int, str, str], int] = {}
    for layer, slot in product(layers, slots):
        made.row({at[layer, slot, p]: 1.0 for p in problem.postures}, 1, 1)
        for here, there in product(problem.postures, repeat=2):
            # Into this slot; between blocks nobody moves.
            if (slot == 0) and here != there:
                continue
            cost = posture_seconds(here, there)
            flow[layer, slot, here, there] = made.variable(-cost)
            seconds[flow[layer, slot, here, there]] += cost
    for layer, slot, there in product(layers, slots, problem.postures):
        into = {flow[layer, slot, here, there]: 1.0 for here in problem.postures
                if (layer, slot, here, there) in flow}  # fmt: skip
        made.row({**into, at[layer, slot, there]: -1.0}, 0, 0)
        if (layer, slot) == (0, 0):
            start = 1.0 if there == problem.start.posture else 0.0
            made.row({at[0, 0, there]: 1.0}, start, start)
            continue
        before = (layer, slot - 1) if slot else (layer - 1, slots[-1])
        out = {flow[layer, slot, there, other]: 1.0 for other in problem.postures
               if (layer, slot, there, other) in flow}  # fmt: skip
        made.row({**out, at[*before, there]: -1.0}, 0, 0)
    _tasks(problem, made, seconds, at)
    made.row(dict(seconds), 0, problem.seconds)
    return made.best()


def _tasks(
    problem: PlanProblem,
    made: Programme,
    seconds: dict[int, float],
    at: dict[tuple[int, int, str], int],
) -> None:
    for_flag, for_called = problem.weights
    weight = {FLAG: for_flag, CALLED: for_called}
    within = {number for numbers in problem.families.values() for number in numbers}
    there: dict[tuple[int, str, str], int] = {}
    taken = []
    for number, task in enumerate(problem.tasks):
        own = task.units if number not in within else 0
        chosen = made.variable(weight.get(task.tier, 0) + own - task_cost(task))
        seconds[chosen] += task.seconds
        taken.append(chosen)
        layer, done = problem.blocks.index(task.block), {}
        for posture, place in task.stances:
            key = (layer, posture, place)
            if key not in there:
                there[key] = made.variable(-PLACE_SECONDS)
                seconds[there[key]] += PLACE_SECONDS
                visits = {at[layer, slot, posture]: -1.0 for slot in range(len(problem.postures))}
                made.row({there[key]: 1.0, **visits}, -np.inf, 0)
            literal = made.variable()
            made.row({literal: 1.0, there[key]: -1.0}, -np.inf, 0)
            done[literal] = 1.0
        made.row({**done, chosen: -1.0}, 0, 0)
    for numbers in problem.families.values():
        last = min(len(numbers), MOST_RANKS) - 1
        ranks = {
            (n, k): made.variable(rank_units(problem.tasks[n].units, k))
            for n, k in product(numbers, range(last + 1))
        }
        for n in numbers:
            made.row({**{ranks[n, k]: 1.0 for k in range(last + 1)}, taken[n]: -1.0}, 0, 0)
        for k in range(last + 1):
            if k < last or len(numbers) <= MOST_RANKS:
                made.row({ranks[n, k]: 1.0 for n in numbers}, 0, 1)
