"""What the marks of a timetable will be able to say of examiners, known before the day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sidewise.teaching.circuits.request import CircuitRequest
from sidewise.teaching.circuits.timetable import Timetable, duty_rounds
from sidewise.teaching.severity.design_precision import DesignPrecision, design_precision
from sidewise.teaching.severity.mark_severity import SMALLEST_POINTS

if TYPE_CHECKING:
    import pandas as pd

SEEN_WITH = 1.96 + 0.84
"""Standard errors by which an examiner has to differ to be seen four times in five (power 80%, two
sides, 5%, one examiner looked at; the rule of naming looks at all and needs more)."""


@dataclass(frozen=True)
class SeverityOutlook:
    """What will be told of examiners. sets: of those who can be compared, the largest first.
    errors: expected standard errors in points, None for one whom nothing links to another. mean,
    worst: of those that can be told, None where none can."""

    sets: tuple[tuple[str, ...], ...]
    errors: dict[str, float | None]
    mean: float | None
    worst: float | None
    sentences: tuple[str, ...]


def mark_design(request: CircuitRequest, timetable: Timetable) -> pd.DataFrame:
    """A row for each mark that will be given: student, station, examiner, circuit, session."""
    import pandas as pd

    rows = [
        (line.student, request.places[line.place].station, duty.person, duty.circuit, duty.session)
        for duty in timetable.duties
        if duty.kind == "examiner"
        for line in duty_rounds(request, timetable, duty)
        if line.student
    ]
    columns = ["student", "station", "examiner", "circuit", "session"]
    return pd.DataFrame(rows, columns=columns)


def severity_outlook(request: CircuitRequest, timetable: Timetable) -> SeverityOutlook:
    """Which examiners can be compared, and with which standard errors of severity."""
    rules = request.rules
    found = design_precision(mark_design(request, timetable), rules.student_sd, rules.residual_sd)
    return SeverityOutlook(
        sets=found.linked.sets,
        errors={name: error if error == error else None for name, error in found.errors.items()},
        mean=found.mean if found.mean == found.mean else None,
        worst=found.worst if found.worst == found.worst else None,
        sentences=tuple(_sentences(request, found)),
    )


def _needed(request: CircuitRequest, found: DesignPrecision) -> str:
    """What plain counting says: a run of so many stations tells one difference fewer; unknown are
    the differences of stations and of examiners."""
    stations, examiners = len(request.stations), len(found.linked.examiners)
    told = stations - 1
    if not told:
        return "With one station examiners cannot be told from their students."
    least = -(-(stations + examiners - 2) // told)
    return (
        f"To compare {examiners} examiners at {stations} stations takes at least {least} circuits "
        "run (`least_runs`), and examiners who come to more than one of them and to more than one "
        "station."
    )


def _sentences(request: CircuitRequest, found: DesignPrecision) -> list[str]:
    told = [found.linked.sentence]
    if not found.linked.connected:
        told.append(_needed(request, found))
    if found.mean != found.mean:
        return told
    rules = request.rules
    told.append(
        f"Expected standard error of an examiner's severity: {found.mean:.1f} points on average, "
        f"{found.worst:.1f} at worst, if students differ by a standard deviation of "
        f"{rules.student_sd:g} points and single marks by {rules.residual_sd:g} (assumed)."
    )
    seen = SEEN_WITH * found.worst
    told.append(
        f"One who differs by {seen:.0f} points would be seen four times in five, looked at alone."
    )
    if seen > 2 * SMALLEST_POINTS:
        told.append(
            "That is coarse. More stations for each examiner, or more sessions, would tell more."
        )
    return told
