"""Examiners moved within their sessions until they can be compared as well as may be.

Severity can be told from the difficulty of stations only where examiners meet several stations,
circuits and students. The solver makes a timetable that keeps every rule; here examiners of one
session change places, or one who is free takes another's, as long as every rule is kept and the
sum of variances of severity (A-optimality) falls. Students are taken as they are, so a link by
luck of the draw does not count.

Exchanges towards an A-optimal design: Fedorov VV, Theory of Optimal Experiments, 1972 (from
memory).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import NamedTuple

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.teaching.circuits.duty_rules import DutyRules
from sidewise.teaching.circuits.request import CircuitRequest, CircuitRun
from sidewise.teaching.circuits.timetable import Duty, Timetable

MOST_TRIALS = 4000
"""Designs looked at, about a millisecond each. Counted and not timed, so that the answer does not
hang on the machine."""
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True, order=True)
class LinkCost:
    """How badly a design tells severity: first sets that nothing links, then the sum of variances
    of severity in units of the residual variance."""

    sets: int
    variance: float


class ExaminerDesign:
    """Information on severities, students and stations eliminated, kept as examiners move."""

    def __init__(self, request: CircuitRequest, timetable: Timetable) -> None:
        self.duties = [duty for duty in timetable.duties if duty.kind == "examiner"]
        self._row = {place: k for k, place in enumerate(request.stations.values())}
        self._column = {one.id: len(self._row) + k for k, one in enumerate(request.examiners)}
        self._students = {duty.run: len(timetable.of_run(duty.run)) for duty in self.duties}
        self._own: dict[CircuitRun, list[int]] = defaultdict(list)
        for number, duty in enumerate(self.duties):
            self._own[duty.run].append(number)
        self._parts = {run: self._part(run, self.duties) for run in self._own}
        self._total = sum(self._parts.values(), np.zeros(()))

    def cost(self) -> LinkCost:
        """What the design costs as it stands."""
        return self._cost(self._total, self.duties)

    def cost_with(self, duties: Sequence[Duty], changed: Sequence[int]) -> LinkCost:
        """What it would cost with these duties, of which the numbered ones are others."""
        total = self._total
        for run in {self.duties[k].run for k in changed}:
            total = total - self._parts[run] + self._part(run, duties)
        return self._cost(total, duties)

    def move(self, duties: list[Duty], changed: Sequence[int]) -> None:
        """Take these duties as they are now."""
        for run in {self.duties[k].run for k in changed}:
            part = self._part(run, duties)
            self._total = self._total - self._parts[run] + part
            self._parts[run] = part
        self.duties = duties

    def _part(self, run: CircuitRun, duties: Sequence[Duty]) -> Array:
        """What the marks of one run add: each student tells of differences within the run alone."""
        marks = np.zeros((len(self._own[run]), len(self._row) + len(self._column)))
        for line, number in enumerate(self._own[run]):
            duty = duties[number]
            marks[line, [self._row[duty.place], self._column[duty.person]]] = 1.0
        sums = marks.sum(axis=0)
        part: Array = marks.T @ marks - np.outer(sums, sums) / len(marks)
        return part * self._students[run]

    def _cost(self, total: Array, duties: Sequence[Duty]) -> LinkCost:
        stations = len(self._row)
        used = sorted({self._column[duty.person] for duty in duties})
        across = total[:stations, used]
        inner = np.linalg.pinv(total[:stations, :stations], hermitian=True)
        values = np.linalg.eigvalsh(total[np.ix_(used, used)] - across.T @ inner @ across)
        there = values > ROUNDING * max(1.0, float(values[-1]))
        return LinkCost(int((~there).sum()), float((1.0 / values[there]).sum()))


class _Move(NamedTuple):
    """Two duties (by number) change people; or one is given to somebody who is free."""

    one: int
    other: int | None
    person: str


def with_better_links(
    request: CircuitRequest, timetable: Timetable, trials: int = MOST_TRIALS
) -> Timetable:
    """The timetable after all exchanges that help, or as many as there are trials for."""
    rules, design = DutyRules(request, timetable), ExaminerDesign(request, timetable)
    best, left, improved = design.cost(), trials, True
    while improved and left > 0:
        improved = False
        for move in _moves(request, design.duties):
            duties = _moved(design.duties, move)
            changed = [k for k in (move.one, move.other) if k is not None]
            if left <= 0 or duties is None or not rules.kept(duties, changed):
                continue
            left -= 1
            cost = design.cost_with(duties, changed)
            if _is_better(cost, best):
                design.move(duties, changed)
                best, improved = cost, True
    others = [duty for duty in timetable.duties if duty.kind != "examiner"]
    return replace(timetable, duties=tuple(sorted([*design.duties, *others])))


def _is_better(cost: LinkCost, best: LinkCost) -> bool:
    return (cost.sets, cost.variance) < (best.sets, best.variance * (1 - 1e-6))


def _moves(request: CircuitRequest, duties: Sequence[Duty]) -> Iterator[_Move]:
    """Every exchange within a session, whoever sits there at the time; sessions in turn, so that
    where the trials run out every session has had some."""
    by_session = [
        [
            *(_Move(one, other, "") for one, other in combinations(numbers, 2)),
            *(_Move(k, None, person.id) for k in numbers for person in request.examiners),
        ]
        for session in request.ordered_sessions
        if (numbers := [k for k, duty in enumerate(duties) if duty.session == session.id])
    ]
    for turn in range(max(map(len, by_session), default=0)):
        yield from (moves[turn] for moves in by_session if turn < len(moves))


def _moved(duties: Sequence[Duty], move: _Move) -> list[Duty] | None:
    """The duties after a move; None where it changes nothing or somebody would sit twice."""
    here, made = duties[move.one], list(duties)
    if move.other is None:
        if any(duty.person == move.person and duty.session == here.session for duty in duties):
            return None
        made[move.one] = replace(here, person=move.person)
        return made
    there = duties[move.other]
    if (here.run, here.place) == (there.run, there.place):
        return None
    made[move.one] = replace(here, person=there.person)
    made[move.other] = replace(there, person=here.person)
    return made
