"""Halo: examiners whose item marks on one student move together more than their colleagues'.

An examiner who lets one impression colour every item gives item marks that differ little within
one encounter, after allowing for how easy each item is. Each examiner's spread within encounters
is held against that of all examiners at the same stations. A narrow spread is a reason to look,
not a fault: a student may have been evenly good.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array, BoolArray, IntArray
from sidewise.ground.distributions import t_below
from sidewise.teaching.severity.severity_test import holm_adjusted_p

if TYPE_CHECKING:
    import pandas as pd


FAMILY_ERROR = 0.05
# Fewer encounters than this give no useful standard error: our judgement.
FEW_ENCOUNTERS = 5
FEW_ITEMS = 3
TOGETHER = "items move together"


@dataclass(frozen=True, slots=True)
class ExaminerHalo:
    """One examiner: `ratio` of the spread (variance) of item marks within encounters to that of
    the others at the same stations (1: alike; below 1: items move together), with standard error;
    `alike` is the share of encounters in which every item got the same share of its marks."""

    examiner: str
    encounters: int
    ratio: float
    standard_error: float
    p: float
    p_adjusted: float
    alike: float
    seen: str


@dataclass(frozen=True)
class Halo:
    """Examiners by name, with what was left out. `look_at` are those whose item marks move together
    more than chance among so many would give: where to look, not what was found."""

    examiners: tuple[ExaminerHalo, ...]
    look_at: tuple[str, ...]
    encounters: int
    warnings: tuple[str, ...]
    sentence: str


def find_halo(marks: pd.DataFrame) -> Halo:
    """Compare within-encounter spread of item marks between examiners.

    `marks`: long table with student, station, examiner, item, mark, maximum. For each item of a
    station, z = (mark/maximum - mean)/SD over students; for each encounter v = variance of its z.
    An examiner's v are compared with v of the other examiners at the same stations:
    ratio = mean v / mean of the others' station means; one-sided t test that it is below 1,
    Holm over examiners.
    """
    warnings: list[str] = []
    table = _encounters(_read(marks), warnings)
    rows = [_compare(table, k) for k in range(len(table.examiners))]
    known = np.array([r[2] > 0 and np.isfinite(r[1]) for r in rows], dtype=bool)
    p = np.ones(len(rows))
    for k, (_, ratio, error, n, _) in enumerate(rows):
        if known[k]:
            p[k] = float(t_below((ratio - 1) / error, n - 1))
    adjusted = np.ones(len(rows))
    adjusted[known] = holm_adjusted_p(p[known])
    result = tuple(
        ExaminerHalo(name, n, ratio, error, float(p[k]), float(adjusted[k]), alike,
                     _seen(bool(known[k]), float(adjusted[k])))
        for k, (name, ratio, error, n, alike) in enumerate(rows)
    )  # fmt: skip
    unknown = [r.examiner for r in result if r.seen == "cannot be told"]
    if unknown:
        warnings.append(f"Too few encounters, or no colleague at the station: {len(unknown)} "
                        "examiners cannot be compared.")  # fmt: skip
    look_at = tuple(r.examiner for r in result if r.seen == TOGETHER)
    return Halo(result, look_at, len(table.spread), tuple(warnings), _sentence(look_at))


def _read(marks: pd.DataFrame) -> pd.DataFrame:
    columns = ["student", "station", "examiner", "item", "mark", "maximum"]
    for column in columns:
        if column not in marks.columns:
            raise UserError("columns", ", ".join(map(str, marks.columns)), f"a column {column}")
    rows = marks[columns].dropna()
    values = rows[["mark", "maximum"]].to_numpy(dtype=float)
    if len(values) == 0 or not np.isfinite(values).all() or (values[:, 1] <= 0).any():
        raise UserError("mark", "no marks, or one that is not finite or has no maximum",
                        "finite marks with a maximum above 0")  # fmt: skip
    return rows.assign(share=values[:, 0] / values[:, 1])


@dataclass(frozen=True, slots=True)
class _Encounters:
    """Encounters with enough items: codes of examiner and station, the variance of standardised
    items, whether all got the same share. `number`, `total` and `squares` of the variances are
    tables of examiners by stations."""

    examiners: tuple[str, ...]
    examiner: IntArray
    station: IntArray
    spread: Array
    alike: BoolArray
    number: Array
    total: Array
    squares: Array


def _encounters(rows: pd.DataFrame, warnings: list[str]) -> _Encounters:
    """One entry per student, station and examiner."""
    import pandas as pd

    share = rows["share"].to_numpy(dtype=float)
    student, _ = pd.factorize(rows["student"])
    station, stations = pd.factorize(rows["station"])
    examiner, examiners = pd.factorize(rows["examiner"], sort=True)
    item, items = pd.factorize(rows["item"])
    place = station * len(items) + item
    count = np.bincount(place)
    with np.errstate(invalid="ignore", divide="ignore"):
        centred = share - (np.bincount(place, share) / count)[place]
        sd = np.sqrt(np.bincount(place, centred**2) / (count - 1))[place]
        z = centred / sd
    varies = sd > 0
    key = (student.astype(np.int64) * len(stations) + station) * len(examiners) + examiner
    seen, meeting = np.unique(key[varies], return_inverse=True)
    n, z, part = np.bincount(meeting), z[varies], share[varies]
    with np.errstate(invalid="ignore", divide="ignore"):
        middle = z - (np.bincount(meeting, z) / n)[meeting]
        spread = np.bincount(meeting, middle**2) / (n - 1)
    low, high = np.full(len(n), np.inf), np.full(len(n), -np.inf)
    np.minimum.at(low, meeting, part)
    np.maximum.at(high, meeting, part)
    enough = n >= FEW_ITEMS
    if not enough.all():
        warnings.append(f"{int((~enough).sum())} encounters with fewer than {FEW_ITEMS} items "
                        "that vary were left out.")  # fmt: skip
    who, where = seen[enough] % len(examiners), seen[enough] // len(examiners) % len(stations)
    v = spread[enough]
    shape = (len(examiners), len(stations))
    tables = [
        np.bincount(who * shape[1] + where, weight, shape[0] * shape[1])
        .astype(float)
        .reshape(shape)
        for weight in (np.ones(v.size), v, v**2)
    ]
    return _Encounters(
        tuple(map(str, examiners)), who, where, v, (low == high)[enough], *tables
    )  # fmt: skip


def _compare(table: _Encounters, k: int) -> tuple[str, float, float, int, float]:
    """Name, ratio, its standard error, encounters, share all alike."""
    n, total, squares = (x.sum(axis=0) - x[k] for x in (table.number, table.total, table.squares))
    mine = (table.examiner == k) & (n > 0)[table.station]
    many, name = int(mine.sum()), table.examiners[k]
    alike = float(table.alike[mine].mean()) if many else 0.0
    if many < FEW_ENCOUNTERS:
        return name, float("nan"), float("nan"), many, alike
    share = np.bincount(table.station[mine], minlength=n.size) / many
    met = share > 0
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = total / n
        variance = np.maximum(squares - n * mean**2, 0.0) / (n - 1)
        noise = float((share[met] ** 2 * variance[met] / n[met]).sum())
    expected = float((share[met] * mean[met]).sum())
    v = table.spread[mine]
    ratio = float(v.mean()) / expected if expected > 0 else float("nan")
    error = float(np.sqrt(v.var(ddof=1) / many + ratio**2 * noise)) / expected if expected else 0.0
    return name, ratio, error, many, alike


def _seen(known: bool, adjusted: float) -> str:
    if not known:
        return "cannot be told"
    return TOGETHER if adjusted < FAMILY_ERROR else "as the others"


def _sentence(look_at: tuple[str, ...]) -> str:
    if not look_at:
        return "Nobody's item marks move together more than those of colleagues."
    return (
        "One impression may have coloured several items, or students may have been evenly good: "
        f"the item marks given by {', '.join(look_at)} move together more than those of colleagues "
        "at the same stations. A reason to look at how items are marked; no fault is shown."
    )
