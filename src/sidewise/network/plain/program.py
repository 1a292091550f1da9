"""A problem planned for numpy: which variables join, in which order they go, in which shapes.

Plans are kept by the scopes of the factors: records that join the same conditions, and the rows of
one record, share the planning, which in Python costs as much as the sums.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from sidewise.network.plain.buckets import Plan, elimination_plan
from sidewise.network.plain.steps import Step, step_of
from sidewise.network.problem import Problem

Numbers = tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Program:
    """A problem, its plan with the shapes worked out, and which variables take part.

    active: number in the problem of each variable of the plan.
    """

    problem: Problem
    plan: Plan
    steps: tuple[Step, ...]
    active: Numbers


def program_of(problem: Problem) -> Program:
    """Plan the elimination of the variables that some factor joins."""
    active, sizes, scopes = _joined(problem)
    conditions = len(problem.network.structure.variables)
    plan, steps = _planned(sizes, scopes, tuple(v < conditions for v in active))
    return Program(problem, plan, steps, active)


def planned_entries(problem: Problem) -> int:
    """Table entries of one run over one row, from the plan alone."""
    _, sizes, scopes = _joined(problem)
    return sum(bucket.size for bucket in _plan(sizes, scopes).buckets)


def _joined(problem: Problem) -> tuple[Numbers, Numbers, tuple[Numbers, ...]]:
    """Variables that some factor joins, their sizes, and the scopes in the new numbers."""
    active = tuple(sorted({v for factor in problem.factors for v in factor.scope}))
    place = {v: i for i, v in enumerate(active)}
    scopes = tuple([tuple([place[v] for v in factor.scope]) for factor in problem.factors])
    return active, tuple([problem.sizes[v] for v in active]), scopes


@lru_cache(maxsize=256)
def _plan(sizes: Numbers, scopes: tuple[Numbers, ...]) -> Plan:
    return elimination_plan(sizes, scopes)


@lru_cache(maxsize=256)
def _planned(
    sizes: Numbers, scopes: tuple[Numbers, ...], condition: tuple[bool, ...]
) -> tuple[Plan, tuple[Step, ...]]:
    plan = _plan(sizes, scopes)
    steps: list[Step] = []
    for bucket in plan.buckets:
        own = condition[bucket.variable]
        # What comes down to a bucket without a condition in it or below is read by nobody.
        wanted = own or any(steps[child].wanted for child in bucket.children)
        steps.append(step_of(plan, sizes, scopes, bucket, own, wanted))
    return plan, tuple(steps)
