"""A timetable made, or made again with the fewest moves; proven, or with how far off it may be.

The solver decides how many students of each kind are in each circuit and who sits where. Within a
kind, who goes where and who begins at which place is drawn by lot from the seed of the request:
allocation at random is what a comparison of circuits rests on.
"""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

from sidewise.errors import UserError
from sidewise.ground.extras import require_extra
from sidewise.teaching.circuits.allocation_model import (
    AllocationModel,
    PostKey,
)
from sidewise.teaching.circuits.clashes import Clash, clash_sentences, clashing_rules, shortages
from sidewise.teaching.circuits.faults import timetable_faults
from sidewise.teaching.circuits.links import with_better_links
from sidewise.teaching.circuits.request import CircuitRequest, CircuitRun
from sidewise.teaching.circuits.timetable import Duty, Start, Timetable

SECONDS_TO_SEARCH = 300.0
"""At most; a timetable that is not proven by then says how much better one could be."""
EFFORT_TO_SEARCH = 24.0
"""In the solver's own measure of work, which is the same on a slow machine: about a minute."""
EFFORT_TO_EVEN = 4.0


class NoTimetable(UserError):
    """Nothing keeps every rule. why: in sentences. clash: rules that cannot be kept together, where
    it is more than a count of what is short."""

    def __init__(self, why: str, clash: Clash | None = None) -> None:
        self.why, self.clash = why, clash
        super().__init__(
            "timetable", "none", "one that keeps every rule",
            f"{why}\nRelax one of the rules, or add people, sessions or circuits.",
        )  # fmt: skip

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.why, self.clash)


@dataclass(frozen=True)
class Allocation:
    """A timetable and how good it is.

    runs: circuits that take place; slow: those with longer rounds. moves: people who are elsewhere
    than before (0 for a new timetable). proven: nothing better exists in runs, slow ones and
    evenness or, for a timetable made again, in moves; else `bound` says the least that could still
    be reached, in the same units as `cost`.
    """

    timetable: Timetable
    runs: int
    slow: int
    moves: int
    cost: int
    bound: int
    proven: bool
    seconds: float


def make_timetable(request: CircuitRequest, seconds: float = SECONDS_TO_SEARCH) -> Allocation:
    """A timetable that keeps every rule, with as few circuits run as may be, then as few slow ones,
    as evenly filled as may be, and examiners then linked by exchanges. NoTimetable, with the rules
    that clash, where there is none.

    seconds: allowed for the search.
    """
    found = _solve(request, None, (), seconds)
    linked = with_better_links(request, found.timetable)
    return _checked(request, _with(found, linked))


def make_again(
    request: CircuitRequest, before: Timetable, done: tuple[str, ...] = (),
    seconds: float = SECONDS_TO_SEARCH,
) -> Allocation:  # fmt: skip
    """A timetable for a request that has changed, with as few people moved as may be.

    done: sessions that are over, in which nothing is changed. A student who moves, an examiner or
    an actor who gets a duty that they did not have, is a move each.
    """
    strange = [name for name in done if name not in {one.id for one in request.sessions}]
    if strange:
        raise UserError("done", ", ".join(strange), "sessions of the request")
    return _checked(request, _solve(request, before, done, seconds))


def _with(found: Allocation, timetable: Timetable) -> Allocation:
    return Allocation(timetable, found.runs, found.slow, found.moves, found.cost, found.bound,
                      found.proven, found.seconds)  # fmt: skip


def _checked(request: CircuitRequest, found: Allocation) -> Allocation:
    faults = timetable_faults(request, found.timetable)
    assert not faults, f"a timetable that breaks its rules: {faults[:3]}"
    return found


def _solve(
    request: CircuitRequest, before: Timetable | None, done: tuple[str, ...], seconds: float
) -> Allocation:
    require_extra("planning", "a timetable")
    from ortools.sat.python import cp_model

    if short := shortages(request):
        raise NoTimetable(" ".join(short))
    model = AllocationModel(request, cp_model.CpModel())
    if before is not None:
        model.keep_sessions(before, done)
        best = _search(model, _moves(model, before), seconds, EFFORT_TO_SEARCH)
    else:
        best = _search(model, _effort(model), seconds, EFFORT_TO_SEARCH)
    if best.status == cp_model.INFEASIBLE:
        clash = clashing_rules(request, before, done)
        raise NoTimetable(" ".join(clash_sentences(request, clash)), clash)
    if best.status == cp_model.UNKNOWN:
        raise UserError("timetable", "none found within the search allowed", "a timetable",
                        "Allow more seconds, or relax a rule.")  # fmt: skip
    if before is None:
        best = _evened(model, best, seconds)
    solver = best.solver
    found = Timetable(
        tuple(sorted(_starts(model, solver, before))), tuple(sorted(_duties(model, solver)))
    )
    return Allocation(
        timetable=found,
        runs=len({start.run for start in found.starts}),
        slow=sum(solver.value(literal) for literal in model.slow.values()),
        moves=best.cost if before is not None else 0,
        cost=best.cost, bound=best.bound, proven=best.cost == best.bound, seconds=best.seconds,
    )  # fmt: skip


class _Best(NamedTuple):
    """What a search reached: cost and the bound that it proved, in whole numbers."""

    status: Any
    solver: Any
    cost: int
    bound: int
    seconds: float


def _search(model: AllocationModel, cost: Any, seconds: float, effort: float) -> _Best:
    from ortools.sat.python import cp_model

    model.model.minimize(cost)
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.max_deterministic_time = effort
    # One thread and one seed: the answer does not hang on the machine.
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    status = solver.solve(model.model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return _Best(status, solver, 0, 0, solver.wall_time)
    worth, bound = round(solver.objective_value), round(solver.best_objective_bound)
    return _Best(status, solver, worth, bound, solver.wall_time)


def _evened(model: AllocationModel, first: _Best, seconds: float) -> _Best:
    """The same circuits and slow ones, filled more evenly if that is found with a little more
    effort. A circuit of one student tells nothing of its examiners. In one search with the rest it
    hid the first timetable for minutes."""
    room = len(model.request.first_places)
    fullest = model.model.new_int_var(0, room, "fullest")
    emptiest = model.model.new_int_var(0, room, "emptiest")
    for run, used in model.used.items():
        count = model.students_in(run)
        model.model.add(fullest >= count)
        model.model.add(emptiest <= count + room * (1 - used))
    model.model.add(_effort(model) <= first.cost)
    for literals in (model.counts, model.there, model.used, model.slow, model.posts, model.works):
        for literal in literals.values():
            model.model.add_hint(literal, first.solver.value(literal))
    fill = [
        count
        for run, used in model.used.items()
        if first.solver.value(used)
        for count in [sum(first.solver.value(model.counts[k, run])
                          for k in range(len(model.kinds)))]
    ]  # fmt: skip
    uneven = max(fill) - min(fill)
    second = _search(model, fullest - emptiest, seconds, EFFORT_TO_EVEN)
    found = second if second.solver.response_proto.solution else first
    reached = second.cost if found is second else uneven
    proven = first.cost == first.bound
    least = first.cost * (room + 1) + second.bound if proven else first.bound * (room + 1)
    return _Best(found.status, found.solver, first.cost * (room + 1) + reached, least,
                 first.seconds + second.seconds)  # fmt: skip


def _effort(model: AllocationModel) -> Any:
    """What a new timetable costs: circuits run and, far less, those with longer rounds."""
    return (len(model.slow) + 1) * sum(model.used.values()) + sum(model.slow.values())


def _moves(model: AllocationModel, before: Timetable) -> Any:
    """How many people are elsewhere than before. Students of a kind are interchangeable, so that
    those beyond what a run had before have moved into it."""
    was = model.counts_before(before)
    sat = {PostKey(duty.kind, duty.person, duty.run, duty.place) for duty in before.duties}
    terms: list[Any] = []
    for key, count in model.counts.items():
        came = model.model.new_int_var(0, len(model.kinds[key[0]].students), "")
        model.model.add(came >= count - was[key])
        terms.append(came)
    for post, literal in model.posts.items():
        model.model.add_hint(literal, post in sat)
        if post not in sat:
            terms.append(literal)
    return sum(terms)


def _starts(model: AllocationModel, solver: Any, before: Timetable | None) -> Iterator[Start]:
    """Who begins where: those who can stay stay, the rest by lot."""
    request = model.request
    lot = random.Random(request.rules.seed)
    was = {start.student: start for start in before.starts} if before else {}
    members: dict[CircuitRun, list[str]] = defaultdict(list)
    for number, kind in enumerate(model.kinds):
        left = list(kind.students)
        lot.shuffle(left)
        wanted = {run: solver.value(model.counts[number, run]) for run in request.runs}
        for run in request.runs:
            stay = [n for n in left if n in was and was[n].run == run][: wanted[run]]
            members[run] += stay
            wanted[run] -= len(stay)
            left = [name for name in left if name not in stay]
        for run, count in wanted.items():
            members[run] += left[:count]
            left = left[count:]
    for run, names in members.items():
        yield from _places(request, run, names, was, lot)


def _places(
    request: CircuitRequest, run: CircuitRun, names: list[str], was: dict[str, Start],
    lot: random.Random,
) -> Iterator[Start]:  # fmt: skip
    free = list(request.first_places)
    rest = []
    for name in names:
        place = was[name].place if name in was and was[name].run == run else -1
        if place in free:
            free.remove(place)
            yield Start(*run, place, name)
        else:
            rest.append(name)
    for name, place in zip(rest, lot.sample(free, len(rest)), strict=True):
        yield Start(*run, place, name)


def _duties(model: AllocationModel, solver: Any) -> Iterator[Duty]:
    for key, literal in model.posts.items():
        if solver.value(literal):
            yield Duty(*key.run, key.place, key.kind, key.person)
