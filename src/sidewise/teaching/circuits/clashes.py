"""Why no timetable exists: first what can be counted, then which rules cannot be kept together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sidewise.teaching.circuits.allocation_model import AllocationModel, NamedRule
from sidewise.teaching.circuits.request import CircuitRequest, Helper
from sidewise.teaching.circuits.timetable import Timetable

EFFORT_A_TRIAL = 0.4
"""Of each question whether the rest is possible without some rules, in the solver's own measure of
work (about three seconds for one); the first question gets as much as all."""
EFFORT_IN_ALL = 4.0
RULE_WORDS = {
    "sessions": "only the sessions they can come to",
    "stations": "only the stations they are meant for",
    "not by": "no marking of their own tutees",
    "language": "spoken by everybody whom such a student meets",
    "wheelchair": "a circuit that can be used from a wheelchair",
    "extra time": "no running on into the next session",
    "apart": "kept apart from others",
    "in a row": "a session of rest after so many",
    "most sessions": "their largest number of sessions",
    "most stations": "the largest number of stations for one examiner",
    "new": "new, so never alone",
    "strain": "what they can bear in a day",
    "staff": "enough in every circuit",
    "least runs": "as many circuits run as were asked for",
    "over": "left as it was, since it is over",
}
"""What each rule asks for those named before it."""


@dataclass(frozen=True)
class Clash:
    """Rules that cannot be kept together; none where they were not found in time. smallest: without
    any one of them the rest can be kept; else there may be a smaller set."""

    rules: tuple[NamedRule, ...]
    smallest: bool


def shortages(request: CircuitRequest) -> list[str]:
    """What is missing by plain counting, in sentences."""
    return [*_too_few_seats(request), *_too_few_people(request), *_not_spoken(request)]


def _not_spoken(request: CircuitRequest) -> Iterator[str]:
    """Languages for which some station has nobody in any session."""
    wanted = {request.language_of(student) for student in request.students}
    for language in sorted(wanted):
        for station, number in request.stations.items():
            place = request.places[number]
            for kind, people, count in (
                ("examiner", request.examiners, place.examiners),
                ("actor", request.actors, place.actors),
            ):
                able = [
                    one
                    for one in people
                    if language in request.languages_of(one)
                    and (not one.stations or station in one.stations)
                ]
                if len(able) < count:
                    yield f"{station} has {len(able)} {kind}s who speak {language}, {count} needed."


def _too_few_seats(request: CircuitRequest) -> Iterator[str]:
    room, count = len(request.first_places) * len(request.runs), len(request.students)
    if count > room:
        yield (
            f"{count} students and {room} places to begin in {len(request.runs)} circuits run: "
            f"{count - room} too many."
        )


def _too_few_people(request: CircuitRequest) -> Iterator[str]:
    """Circuits that can be staffed in each session by the largest matching of people to posts."""
    staffed, short = 0, []
    for session in request.ordered_sessions:
        wanted = sum(run.session == session.id for run in request.runs)
        can, missing = _staffed(request, session.id, wanted)
        staffed += can
        if missing:
            short.append(f"{session.id} has {can} of {wanted} circuits staffed, {missing} short")
    room, count = staffed * len(request.first_places), len(request.students)
    if room < count:
        circuits = f"{staffed} circuit{'s' * (staffed != 1)} with {room} places"
        yield (
            f"The people at hand are enough for {circuits}; there are {count} students. "
            f"{'; '.join(short)}."
        )


def _staffed(request: CircuitRequest, session: str, wanted: int) -> tuple[int, str]:
    """How many circuits of a session can be staffed, and who is short for one more."""
    missing = ""
    for circuits in range(wanted, 0, -1):
        short = {
            kind: _unfilled(request, kind, session, circuits) for kind in ("examiner", "actor")
        }
        if not any(short.values()):
            return circuits, missing
        missing = " and ".join(f"{n} {kind}{'s' * (n > 1)}" for kind, n in short.items() if n)
    return 0, missing


def _unfilled(request: CircuitRequest, kind: str, session: str, circuits: int) -> int:
    """Posts of so many circuits that nobody is left for."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import maximum_bipartite_matching

    people = request.examiners if kind == "examiner" else request.actors
    posts = []
    for station, number in request.stations.items():
        place = request.places[number]
        count = place.examiners if kind == "examiner" else place.actors
        posts += [station] * count * circuits
    if not posts or not people:
        return len(posts)
    can = [[int(_may(one, station, session)) for one in people] for station in posts]
    matched = maximum_bipartite_matching(csr_array(can), perm_type="column")
    return int((matched < 0).sum())


def _may(person: Helper, station: str, session: str) -> bool:
    return (not person.stations or station in person.stations) and (
        not person.sessions or session in person.sessions
    )


def clashing_rules(
    request: CircuitRequest, before: Timetable | None = None, done: Sequence[str] = ()
) -> Clash:
    """A set of rules that cannot be kept together, made as small as the time allows.

    The solver's own core (sufficient assumptions) is where it begins; then whole rules, and single
    people of a rule, are left out as long as the rest still cannot be kept.
    """
    trials = _Trials(request, before, done)
    core = trials.core(None)
    if core is None:
        return Clash((), False)
    for group in _by_rule(core):
        core = _shrunk(trials, core, group)
    for rule in tuple(core):
        core = _shrunk(trials, core, frozenset({rule}))
    return Clash(tuple(sorted(core)), trials.certain)


def _by_rule(core: frozenset[NamedRule]) -> list[frozenset[NamedRule]]:
    groups = defaultdict(set)
    for rule in core:
        groups[rule.rule].add(rule)
    return [frozenset(group) for group in groups.values() if len(group) > 1]


def _shrunk(
    trials: _Trials, core: frozenset[NamedRule], without: frozenset[NamedRule]
) -> frozenset[NamedRule]:
    if not without <= core:
        return core
    smaller = trials.core(core - without)
    return core if smaller is None else smaller


class _Trials:
    """Asks the solver whether some rules can be kept; certain: it always knew."""

    def __init__(
        self, request: CircuitRequest, before: Timetable | None, done: Sequence[str]
    ) -> None:
        from ortools.sat.python import cp_model

        self.engine = cp_model
        self.model = AllocationModel(request, cp_model.CpModel(), named=True)
        if before is not None:
            self.model.keep_sessions(before, done)
        self.names = {literal.index: rule for rule, literal in self.model.switches.items()}
        self.certain, self.left = True, EFFORT_IN_ALL

    def core(self, rules: frozenset[NamedRule] | None) -> frozenset[NamedRule] | None:
        """Of these rules (None: all) some that cannot be kept together; None where they can, or
        where it is not known."""
        if self.left <= 0:
            self.certain = False
            return None
        kept = set(self.model.switches) if rules is None else rules
        self.model.model.clear_assumptions()
        # Sorted: the same question gives the same core.
        self.model.model.add_assumptions([self.model.switches[rule] for rule in sorted(kept)])
        solver = self.engine.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        effort = self.left if rules is None else min(self.left, EFFORT_A_TRIAL)
        solver.parameters.max_deterministic_time = effort
        status = solver.solve(self.model.model)
        # A question that is answered before any search still costs something.
        self.left -= max(solver.response_proto.deterministic_time, EFFORT_A_TRIAL / 20)
        if status == self.engine.INFEASIBLE:
            found = solver.sufficient_assumptions_for_infeasibility()
            return frozenset(self.names[index] for index in found)
        self.certain = self.certain and status != self.engine.UNKNOWN
        return None


def clash_sentences(request: CircuitRequest, clash: Clash) -> list[str]:
    """The rules that clash, in sentences."""
    people = defaultdict(list)
    for rule in clash.rules:
        people[rule.rule].append(rule.who)
    if not people:
        return [_no_rule(request, clash)]
    told = [f"{_listed(who)}: {RULE_WORDS[rule]}" for rule, who in people.items()]
    end = "." if clash.smallest else " (there may be a smaller set)."
    return [f"These cannot all be kept: {'; '.join(told)}{end}"]


def _no_rule(request: CircuitRequest, clash: Clash) -> str:
    if not clash.smallest:
        return "No timetable keeps every rule; which of them clash was not found in time."
    return f"The {len(request.students)} students do not fit into the sessions, whatever the rules."


def _listed(names: list[str]) -> str:
    more = f" and {len(names) - 8} more" if len(names) > 8 else ""
    return f"{', '.join(names[:8])}{more}"
