"""A timetable in words: how much is run, who is where in each session, what it will tell."""

from __future__ import annotations

from collections.abc import Iterator

from sidewise.teaching.circuits.allocation import Allocation
from sidewise.teaching.circuits.outlook import SeverityOutlook
from sidewise.teaching.circuits.request import CircuitRequest, CircuitRun
from sidewise.teaching.circuits.timetable import Timetable, extra_time_of


def timetable_lines(
    request: CircuitRequest, found: Allocation, outlook: SeverityOutlook
) -> list[str]:
    """The timetable, a line a circuit and a place."""
    return [*_summary(request, found), "", *outlook.sentences, *_runs(request, found.timetable)]


def _summary(request: CircuitRequest, found: Allocation) -> Iterator[str]:
    stations, students = len(request.stations), len(found.timetable.starts)
    yield (
        f"{request.sitting}: {students} students, {stations} stations, {found.runs} circuits run, "
        f"{found.slow} of them with longer rounds."
    )
    if found.moves:
        yield f"{found.moves} people are elsewhere than before."
    if found.proven:
        yield "Nothing better exists under these rules (proven)."
    else:
        yield (
            f"Not proven the best: it costs {found.cost}, and one of {found.bound} may exist. "
            "More time for the search may find it."
        )


def _runs(request: CircuitRequest, timetable: Timetable) -> Iterator[str]:
    for run in request.runs:
        if not timetable.of_run(run):
            continue
        extra = extra_time_of(request, timetable, run)
        rounds = request.rounds(run.session, extra)
        minutes = request.round_length(extra).total_seconds() / 60
        yield ""
        yield (
            f"{run.session}, circuit {run.circuit}: {rounds[0][0]:%a %d %b %H:%M} to "
            f"{rounds[-1][1]:%H:%M}, {len(rounds)} rounds of {minutes:g} minutes"
        )
        yield from _places(request, timetable, run)


def _places(request: CircuitRequest, timetable: Timetable, run: CircuitRun) -> Iterator[str]:
    begins = {start.place: start.student for start in timetable.of_run(run)}
    for number, place in enumerate(request.places):
        sits = [d.person for d in timetable.duties if d.run == run and d.place == number]
        name = place.station or place.kind
        first = begins.get(number, "nobody")
        yield f"  {number + 1:2}  {name:<20} {' '.join(sits):<20} begins: {first}"
