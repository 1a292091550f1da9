"""The invented teaching week: a practical examination whose truth is known.

48 students, 8 stations, 16 examiners, two circuits run side by side on three mornings. One
examiner is severe, one station is broken (its marks have nothing to do with the students) and
three students stand at the pass mark. All of it is drawn from a seeded generator, so that what an
analysis says can be held against what was planted.

In the linked week every examiner moves to another station each morning and half of them change
circuits on the second. In the unlinked week nobody moves: every examiner stays at one station of
one circuit, and severity cannot be told from the difficulty of the station.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sidewise.ground.arrays import Array, IntArray

if TYPE_CHECKING:
    import pandas as pd

STATIONS = ("history", "look", "feel", "move", "power", "tests", "nerves", "explain")
CIRCUITS = ("causeway", "slipway")
SESSIONS = ("monday", "tuesday", "wednesday")
RATINGS = ("fail", "borderline", "pass", "good", "excellent")
STUDENTS, EXAMINERS, ITEMS = 48, 16, 10
STUDENTS_PER_CIRCUIT = STUDENTS // len(CIRCUITS) // len(SESSIONS)

# All in percentage points of a station's marks; our own choices for an ordinary week.
MEAN, ABILITY_SD, STATION_SD, EXAMINER_SD, OCCASION_SD = 64.0, 5.5, 4.0, 1.5, 4.0
SEVERITY, RATING_SD = 13.0, 4.0
# Where "borderline" lies on the same scale, and what the planted students are worth.
RATING_EDGES = (44.0, 53.0, 65.0, 77.0)
NEAR_ABILITY, FAILING_ABILITY, LOWEST_ORDINARY = -15.5, -25.0, -4.0
NEAR, FAILING = 3, 2
# How far (in stations) every examiner moves on, morning by morning, in the linked week.
MOVES = (0, 1, 3)


@dataclass(frozen=True, slots=True)
class TeachingWeek:
    """The table of marks and what was planted in it.

    `marks` is the long table (one row per student, station and item). `severity` is each
    examiner's true severity in percentage points (positive: gives fewer marks).
    """

    marks: pd.DataFrame
    severe_examiner: str
    broken_station: str
    near_students: tuple[str, ...]
    severity: dict[str, float]
    ability: dict[str, float]
    linked: bool
    seed: int


@dataclass(frozen=True, slots=True)
class _Plan:
    """Who meets whom: one entry per student and station, in that order."""

    student: IntArray
    station: IntArray
    circuit: IntArray
    session: IntArray
    examiner: IntArray


def teaching_week(seed: int, *, linked: bool = True) -> TeachingWeek:
    """One week of marks drawn with `seed`; the same seed gives the same week.

    The severe examiner, the broken station and the three students near the mark are drawn too.
    """
    rng = np.random.default_rng(seed)
    severe, broken = int(rng.integers(EXAMINERS)), int(rng.integers(len(STATIONS)))
    near = np.sort(rng.permutation(STUDENTS)[:NEAR])
    ability = _abilities(rng, near)
    severity = rng.normal(0.0, EXAMINER_SD, EXAMINERS)
    severity[severe] = SEVERITY
    plan = _plan(linked)
    marks = _marks(rng, plan, ability, severity, broken)
    return TeachingWeek(
        marks=marks,
        severe_examiner=_examiner_names()[severe],
        broken_station=STATIONS[broken],
        near_students=tuple(_student_names()[i] for i in near),
        severity=dict(zip(_examiner_names(), severity.tolist(), strict=True)),
        ability=dict(zip(_student_names(), ability.tolist(), strict=True)),
        linked=linked,
        seed=seed,
    )


def _student_names() -> list[str]:
    return [f"S{i + 1:02d}" for i in range(STUDENTS)]


def _examiner_names() -> list[str]:
    return [f"E{i + 1:02d}" for i in range(EXAMINERS)]


def _abilities(rng: np.random.Generator, near: IntArray) -> Array:
    """Ordinary students well above the mark, two well below, three at it."""
    draws = rng.normal(0.0, ABILITY_SD, 20 * STUDENTS)
    ability = draws[draws > LOWEST_ORDINARY][:STUDENTS].copy()
    others = np.setdiff1d(np.arange(STUDENTS), near)
    ability[rng.permutation(others)[:FAILING]] = FAILING_ABILITY
    ability[near] = NEAR_ABILITY
    return ability


def _plan(linked: bool) -> _Plan:
    """Students fill session by session, circuit by circuit; examiners stand or move."""
    student = np.repeat(np.arange(STUDENTS), len(STATIONS))
    station = np.tile(np.arange(len(STATIONS)), STUDENTS)
    group = student // STUDENTS_PER_CIRCUIT
    session, circuit = group // len(CIRCUITS), group % len(CIRCUITS)
    place = station
    if linked:
        place = (station - np.asarray(MOVES)[session]) % len(STATIONS)
    crossed = linked & (session == 1) & (place % 2 == 0)
    home = np.where(crossed, 1 - circuit, circuit)
    return _Plan(student, station, circuit, session, home * len(STATIONS) + place)


def _marks(
    rng: np.random.Generator, plan: _Plan, ability: Array, severity: Array, broken: int
) -> pd.DataFrame:
    """Item marks from the level of a performance; the rating from performance and marks."""
    cells = plan.student.size
    easiness = rng.normal(0.0, STATION_SD, len(STATIONS))
    level = MEAN + ability[plan.student] + rng.normal(0.0, OCCASION_SD, cells)
    level -= severity[plan.examiner]
    shown = level + easiness[plan.station]
    is_broken = plan.station == broken
    shown[is_broken] = MEAN - 6.0 + rng.normal(0.0, OCCASION_SD, int(is_broken.sum()))
    shown[is_broken] -= severity[plan.examiner[is_broken]]
    mark, maximum = _item_marks(rng, shown)
    weight = np.where(np.arange(ITEMS) == ITEMS - 1, 2.0, 1.0)
    percent = 100 * (mark * weight).sum(axis=1) / (maximum * weight).sum()
    seen = np.where(is_broken, level, 0.5 * level + 0.5 * (percent - easiness[plan.station]))
    rating = np.digitize(seen + rng.normal(0.0, RATING_SD, cells), RATING_EDGES)
    return _frame(plan, mark, maximum, weight, rating)


def _item_marks(rng: np.random.Generator, level: Array) -> tuple[IntArray, IntArray]:
    """Whole marks per item; the share earned has the level (in percent) as its mean."""
    maximum = np.where(np.arange(ITEMS) % 3 == 2, 3, 2)
    hardness = np.linspace(-10.0, 10.0, ITEMS)
    share = np.clip((level[:, None] + hardness) / 100, 0.02, 0.98)
    return rng.binomial(maximum, share), maximum


def _frame(
    plan: _Plan, mark: IntArray, maximum: IntArray, weight: Array, rating: IntArray
) -> pd.DataFrame:
    import pandas as pd

    def each(names: list[str] | tuple[str, ...], codes: IntArray) -> NDArray[np.object_]:
        return np.repeat(np.asarray(names, dtype=object)[codes], ITEMS)

    cells = plan.student.size
    return pd.DataFrame(
        {
            "sitting": "teaching-week",
            "circuit": each(CIRCUITS, plan.circuit),
            "session": each(SESSIONS, plan.session),
            "student": each(_student_names(), plan.student),
            "station": each(STATIONS, plan.station),
            "examiner": each(_examiner_names(), plan.examiner),
            "item": np.tile([f"i{k + 1:02d}" for k in range(ITEMS)], cells),
            "mark": mark.ravel().astype(float),
            "maximum": np.tile(maximum.astype(float), cells),
            "weight": np.tile(weight, cells),
            "global_rating": np.repeat(rating.astype(float), ITEMS),
            "critical_error": False,
            "comment": "",
        }
    )
