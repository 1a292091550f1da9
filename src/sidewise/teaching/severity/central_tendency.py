"""Central tendency: examiners whose marks lie closer together, or further apart, than colleagues'.

An examiner who avoids the ends of the scale gives marks that differ little between students. Each
mark's distance from the examiner's own median at the station is held against the distances of all
other examiners at the same stations. It rests on students having come to examiners at random; a
narrow spread is a reason to look, not a fault.

Distances from the median: Brown MB, Forsythe AB, J Am Stat Assoc 1974;69:364-367 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array, IntArray
from sidewise.ground.distributions import t_above, t_quantile
from sidewise.teaching.severity.severity_test import holm_adjusted_p

if TYPE_CHECKING:
    import pandas as pd

FAMILY_ERROR = 0.05
# Fewer marks than this at a station show nothing of a spread: our judgement.
FEW_MARKS = 5
CLOSE, WIDE, AS_OTHERS, UNKNOWN = "close together", "far apart", "as the others", "cannot be told"


@dataclass(frozen=True, slots=True)
class ExaminerSpread:
    """One examiner: `ratio` of the mean distance of marks from the own median to the colleagues' at
    the same stations (below 1: closer together), 95% limits, p by Holm over examiners."""

    examiner: str
    n: int
    ratio: float
    low: float
    high: float
    p_adjusted: float
    seen: str


@dataclass(frozen=True)
class CentralTendency:
    """Examiners by name; `close` are those whose marks lie closer together than chance among so
    many would give: where to look, not what was found."""

    examiners: tuple[ExaminerSpread, ...]
    close: tuple[str, ...]
    warnings: tuple[str, ...]
    sentence: str


def central_tendency(scores: pd.DataFrame, *, response: str = "score") -> CentralTendency:
    """Spread of each examiner's marks beside colleagues' at the same stations.

    z = distance from the examiner's median at the station over sqrt(1 - 1/n), so that few marks do
    not look close; ratio = mean z / mean of the colleagues' mean z there; two-sided Welch t test of
    the difference, Holm over examiners. Columns: station, examiner and `response`.
    """
    import pandas as pd

    for column in ("station", "examiner", response):
        if column not in scores.columns:
            raise UserError("columns", ", ".join(map(str, scores.columns)), f"a column {column}")
    rows = scores[["station", "examiner", response]].dropna()
    if rows.empty:
        raise UserError(response, "no marks", "at least a few marks")
    examiner, names = pd.factorize(rows["examiner"], sort=True)
    station, stations = pd.factorize(rows["station"])
    distance, size = _distances(rows[response].to_numpy(dtype=float), examiner, station)
    enough = size >= FEW_MARKS
    shape = (len(names), len(stations))
    tables = _tables(distance[enough], examiner[enough], station[enough], shape)
    found = [_beside_others(tables, k) for k in range(len(names))]
    known = np.array([np.isfinite(f.p) for f in found], dtype=bool)
    adjusted = np.ones(len(found))
    adjusted[known] = holm_adjusted_p(np.array([f.p for f in found])[known])
    given = np.bincount(examiner)
    result = tuple(
        ExaminerSpread(str(name), int(given[k]), f.ratio, f.low, f.high, float(adjusted[k]),
                       _seen(f, float(adjusted[k])))
        for k, (name, f) in enumerate(zip(names, found, strict=True))
    )  # fmt: skip
    unknown = sum(r.seen == UNKNOWN for r in result)
    warnings = (
        (f"Spread of marks: {unknown} examiners have too few marks or no colleague beside them.",)
        if unknown else ()
    )  # fmt: skip
    close = tuple(r.examiner for r in result if r.seen == CLOSE)
    return CentralTendency(result, close, warnings, _sentence(result, close))


def _distances(mark: Array, examiner: IntArray, station: IntArray) -> tuple[Array, Array]:
    """Each mark's distance from its examiner's median at the station, and how many are there."""
    key = examiner.astype(np.int64) * (int(station.max()) + 1) + station
    order = np.lexsort((mark, key))
    groups, start, count = np.unique(key[order], return_index=True, return_counts=True)
    ordered = mark[order]
    middle = (ordered[start + (count - 1) // 2] + ordered[start + count // 2]) / 2
    place = np.searchsorted(groups, key)
    size = count[place].astype(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.abs(mark - middle[place]) / np.sqrt(1 - 1 / size), size


@dataclass(frozen=True, slots=True)
class _Tables:
    """Number, sum and sum of squares of distances, examiners by stations."""

    number: Array
    total: Array
    squares: Array


def _tables(
    distance: Array, examiner: IntArray, station: IntArray, shape: tuple[int, int]
) -> _Tables:
    at, size = examiner * shape[1] + station, shape[0] * shape[1]
    parts = (np.ones(distance.size), distance, distance**2)
    return _Tables(*(np.bincount(at, part, size).astype(float).reshape(shape) for part in parts))


@dataclass(frozen=True, slots=True)
class _Beside:
    ratio: float
    low: float
    high: float
    p: float


def _beside_others(t: _Tables, k: int) -> _Beside:
    """Welch's test of an examiner's distances against those of the others at the same stations."""
    nan = float("nan")
    own, rest = t.number[k], t.number.sum(axis=0) - t.number[k]
    met = (own > 0) & (rest > 1)
    n = float(own[met].sum())
    if n < FEW_MARKS:
        return _Beside(nan, nan, nan, nan)
    mean = t.total[k][met].sum() / n
    noise = max(t.squares[k][met].sum() - n * mean**2, 0.0) / (n - 1) / n
    share = own[met] / n
    others = (t.total.sum(axis=0) - t.total[k])[met] / rest[met]
    spread = (t.squares.sum(axis=0) - t.squares[k])[met] - rest[met] * others**2
    parts = share**2 * np.maximum(spread, 0.0) / (rest[met] - 1) / rest[met]
    expected = float(share @ others)
    error = float(np.sqrt(noise + parts.sum()))
    if expected <= 0 or error <= 0:
        return _Beside(nan, nan, nan, nan)
    freedom = error**4 / (noise**2 / (n - 1) + float((parts**2 / (rest[met] - 1)).sum()))
    reach = float(t_quantile(0.975, freedom)) * error
    p = float(2 * t_above(abs(mean - expected) / error, freedom))
    low, high = (max(mean + side * reach, 0.0) / expected for side in (-1, 1))
    return _Beside(float(mean / expected), float(low), float(high), p)


def _seen(f: _Beside, adjusted: float) -> str:
    if f.p != f.p:
        return UNKNOWN
    if adjusted >= FAMILY_ERROR:
        return AS_OTHERS
    return CLOSE if f.ratio < 1 else WIDE


def _sentence(rows: tuple[ExaminerSpread, ...], close: tuple[str, ...]) -> str:
    if all(r.seen == UNKNOWN for r in rows):
        return "Whether marks lie close together cannot be told: no examiner has a colleague there."
    if not close:
        return "Nobody's marks lie closer together than those of colleagues at the same stations."
    each = [
        f"{r.examiner} ({r.ratio:.2f} times the spread, {r.low:.2f} to {r.high:.2f})"
        for r in rows if r.seen == CLOSE
    ]  # fmt: skip
    return (
        f"Marks lie closer together than those of colleagues at the same stations: "
        f"{', '.join(each)}. The ends of the scale may have been avoided, or the students were "
        "alike; no fault is shown."
    )
