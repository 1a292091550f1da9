"""Which examiners can be compared at all: linked circuits.

A mark is a student at a station before an examiner. Two examiners can be compared only where the
students and stations they met tie them together; otherwise a severe examiner, a hard station and
a weak group of students look alike, whatever the size of the table. No assumption that circuits
hold equally able students is made here.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array, IntArray

if TYPE_CHECKING:
    import pandas as pd


# Eigenvalues below this share of the largest are rounding: entries are sums of small fractions.
ROUNDING = 1e-9


@dataclass(frozen=True)
class LinkedSets:
    """Sets of examiners within which severity can be compared, largest first.

    `connected`: all examiners are in one set. `contrasts` spans, in orthonormal columns, what
    can be estimated of the severities in the order of `examiners`.
    """

    connected: bool
    sets: tuple[tuple[str, ...], ...]
    examiners: tuple[str, ...]
    contrasts: Array = field(repr=False)
    sentence: str

    def set_of(self, examiner: str) -> int:
        """Number of the set (from 0, largest first) that holds an examiner."""
        return next(k for k, members in enumerate(self.sets) if examiner in members)

    @property
    def centre(self) -> Array:
        """Matrix that takes severities to deviations from the mean of their own set."""
        number = np.array([self.set_of(name) for name in self.examiners])
        same = (number[:, None] == number).astype(float)
        deviations: Array = np.eye(len(number)) - same / same.sum(axis=1)
        return deviations


def linked_sets(scores: pd.DataFrame) -> LinkedSets:
    """Sets of examiners tied together by `student`, `station` and `examiner` of the rows given.

    In mark = student - station - examiner, two examiners belong to one set exactly when their
    difference is estimable with students and stations taken as they are: when no shift of
    severities that leaves every mark unchanged (by shifting students or stations the other way)
    moves the two apart. Computed from the null space of the design after eliminating students.

    Estimability in additive designs: Searle SR, Linear Models, 1971, chapter 5 (from memory).
    """
    import pandas as pd

    for column in ("student", "station", "examiner"):
        if column not in scores.columns:
            raise UserError("columns", ", ".join(map(str, scores.columns)), f"a column {column}")
    rows = scores[["student", "station", "examiner"]].dropna().drop_duplicates()
    if rows.empty:
        raise UserError("scores", "no rows", "rows with a student, a station and an examiner")
    student = pd.factorize(rows["student"])[0]
    station = pd.factorize(rows["station"])[0]
    examiner, names = pd.factorize(rows["examiner"], sort=True)
    return sets_from_codes(student, station, examiner, [str(name) for name in names])


def sets_from_codes(
    student: IntArray, station: IntArray, examiner: IntArray, names: list[str]
) -> LinkedSets:
    """As `linked_sets`, from level numbers that count from zero."""
    shifts = _shifts(student, station, examiner)
    sets = _grouped(shifts, names)
    contrasts = _complement(shifts)
    connected = len(sets) == 1
    return LinkedSets(connected, sets, tuple(names), contrasts, _sentence(sets))


def _shifts(student: IntArray, station: IntArray, examiner: IntArray) -> Array:
    """Orthonormal shifts of severity (columns) that no mark can show."""
    from scipy import sparse

    stations, examiners = int(station.max()) + 1, int(examiner.max()) + 1
    n = len(student)
    ones = np.ones(2 * n)
    row = np.concatenate([student, student])
    column = np.concatenate([station, stations + examiner])
    shape = (int(student.max()) + 1, stations + examiners)
    sums = sparse.csr_array((ones, (row, column)), shape=shape)
    rating = np.concatenate([np.arange(n), np.arange(n)])
    design = sparse.csr_array((ones, (rating, column)), shape=(n, stations + examiners))
    weight = sparse.diags_array(1.0 / np.bincount(student))
    normal = (design.T @ design - sums.T @ weight @ sums).toarray()
    values, vectors = np.linalg.eigh(normal)
    null = vectors[stations:, values < ROUNDING * max(1.0, float(values[-1]))]
    left, size, _ = np.linalg.svd(null, full_matrices=False)
    return left[:, size > 1e-7]


def _grouped(shifts: Array, names: list[str]) -> tuple[tuple[str, ...], ...]:
    keys: dict[tuple[float, ...], list[str]] = {}
    for name, row in zip(names, np.round(shifts, 6) + 0.0, strict=True):
        keys.setdefault(tuple(row.tolist()), []).append(name)
    return tuple(sorted((tuple(v) for v in keys.values()), key=lambda s: (-len(s), s)))


def _complement(shifts: Array) -> Array:
    full = np.linalg.svd(shifts, full_matrices=True)[0]
    return full[:, shifts.shape[1] :]


def _sentence(sets: tuple[tuple[str, ...], ...]) -> str:
    if len(sets) == 1:
        many = len(sets[0])
        return f"All {many} examiners can be compared." if many > 1 else "There is one examiner."
    shown = "; ".join(", ".join(members[:6]) + (" ..." if len(members) > 6 else "")
                      for members in sets[:4])  # fmt: skip
    more = f"; and {len(sets) - 4} more" if len(sets) > 4 else ""
    return (
        f"Examiners fall into {len(sets)} sets that nothing links ({shown}{more}): severity cannot "
        "be told from the difficulty of stations and the ability of students between them."
    )
