"""Variance components from mean squares: the balanced tables of the handbooks, and method 1.

These are the analysis-of-variance estimators. A negative estimate is shown as 0 and named, and
the other components are computed from the mean squares as they are, not from the clipped value.

Brennan RL, Generalizability Theory, Springer 2001. Henderson CR, Biometrics 1953; 9:226-252
(method 1; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array, IntArray

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class MeanSquares:
    """Sums of squares and degrees of freedom by effect, in the order of the design."""

    sums: dict[str, float]
    freedom: dict[str, int]

    @property
    def values(self) -> dict[str, float]:
        """Mean squares: sum of squares over degrees of freedom."""
        return {name: self.sums[name] / self.freedom[name] for name in self.sums}


@dataclass(frozen=True)
class AnovaComponents:
    """Components by effect, negative ones as 0 (named in `negative`, their values in `raw`)."""

    components: dict[str, float]
    raw: dict[str, float]
    negative: tuple[str, ...]
    mean_squares: dict[str, float]
    warnings: tuple[str, ...]
    estimator: str


def crossed_mean_squares(table: Array) -> MeanSquares:
    """Persons (rows) by items (columns), complete: effects student, station, residual."""
    table = _complete(table, 2)
    persons, items = table.shape
    grand = table.mean()
    student = items * float(((table.mean(axis=1) - grand) ** 2).sum())
    station = persons * float(((table.mean(axis=0) - grand) ** 2).sum())
    total = float(((table - grand) ** 2).sum())
    sums = {"student": student, "station": station, "residual": total - student - station}
    freedom = {"student": persons - 1, "station": items - 1,
               "residual": (persons - 1) * (items - 1)}  # fmt: skip
    return MeanSquares(sums, freedom)


def nested_mean_squares(table: Array) -> MeanSquares:
    """Persons x (raters : tasks), complete, shape (persons, tasks, raters within task).

    Effects: student, station (task), examiner (rater within task), student_station, residual.
    """
    table = _complete(table, 3)
    p, t, r = table.shape
    grand = table.mean()
    by_p, by_t = table.mean(axis=(1, 2)), table.mean(axis=(0, 2))
    by_rt, by_pt = table.mean(axis=0), table.mean(axis=2)
    student = t * r * float(((by_p - grand) ** 2).sum())
    station = p * r * float(((by_t - grand) ** 2).sum())
    examiner = p * float(((by_rt - by_t[:, None]) ** 2).sum())
    meeting = r * float(((by_pt - by_p[:, None] - by_t + grand) ** 2).sum())
    total = float(((table - grand) ** 2).sum())
    sums = {
        "student": student, "station": station, "examiner": examiner, "student_station": meeting,
        "residual": total - student - station - examiner - meeting,
    }  # fmt: skip
    freedom = {
        "student": p - 1, "station": t - 1, "examiner": t * (r - 1),
        "student_station": (p - 1) * (t - 1), "residual": t * (p - 1) * (r - 1),
    }  # fmt: skip
    return MeanSquares(sums, freedom)


def crossed_components(squares: MeanSquares, persons: int, items: int) -> AnovaComponents:
    """student = (MSp - MSpi)/n_i; station = (MSi - MSpi)/n_p; residual = MSpi."""
    ms = squares.values
    rest = ms["residual"]
    raw = {
        "student": (ms["student"] - rest) / items,
        "station": (ms["station"] - rest) / persons,
        "residual": rest,
    }
    return _clipped(raw, ms, "analysis of variance")


def nested_components(
    squares: MeanSquares, persons: int, tasks: int, raters: int
) -> AnovaComponents:
    """Persons x (raters : tasks), `raters` within each task, all from unclipped mean squares.

    pr:t = MSprt; pt = (MSpt - MSprt)/n_r; r:t = (MSrt - MSprt)/n_p;
    t = (MSt - MSrt - MSpt + MSprt)/(n_p n_r); p = (MSp - MSpt)/(n_t n_r).
    """
    ms = squares.values
    rest, meeting, rater = ms["residual"], ms["student_station"], ms["examiner"]
    raw = {
        "student": (ms["student"] - meeting) / (tasks * raters),
        "station": (ms["station"] - rater - meeting + rest) / (persons * raters),
        "examiner": (rater - rest) / persons,
        "student_station": (meeting - rest) / raters,
        "residual": rest,
    }
    return _clipped(raw, ms, "analysis of variance")


def three_way_mean_squares(table: Array) -> MeanSquares:
    """Students x stations x examiners, all crossed and complete, shape (students, stations,
    examiners). Effects: the three, their meetings in pairs, and the residual."""
    table = _complete(table, 3)
    names = ("student", "station", "examiner")
    grand = float(table.mean())
    sums: dict[str, float] = {}
    freedom: dict[str, int] = {}
    for axis, name in enumerate(names):
        own = table.mean(axis=tuple(a for a in range(3) if a != axis))
        sums[name] = table.size / own.size * float(((own - grand) ** 2).sum())
        freedom[name] = own.size - 1
    for left, right in ((0, 1), (0, 2), (1, 2)):
        both = table.mean(axis=3 - left - right)
        name = f"{names[left]}_{names[right]}"
        whole = table.size / both.size * float(((both - grand) ** 2).sum())
        sums[name] = whole - sums[names[left]] - sums[names[right]]
        freedom[name] = freedom[names[left]] * freedom[names[right]]
    rest = float(((table - grand) ** 2).sum()) - sum(sums.values())
    free = table.size - 1 - sum(freedom.values())
    return MeanSquares(sums | {"residual": rest}, freedom | {"residual": free})


def three_way_components(
    squares: MeanSquares, students: int, stations: int, examiners: int
) -> AnovaComponents:
    """From unclipped mean squares: a meeting of two = (its MS - MS residual) / levels of the third;
    an effect = (its MS - the two meetings' MS + MS residual) / levels of the other two.

    Brennan RL, Generalizability Theory, Springer 2001, section 3.4 (from memory).
    """
    ms = squares.values
    levels = {"student": students, "station": stations, "examiner": examiners}
    names, rest = tuple(levels), ms["residual"]
    raw: dict[str, float] = {}
    pairs = [(a, b) for i, a in enumerate(names) for b in names[i + 1 :]]
    for name in names:
        met = sum(ms[f"{a}_{b}"] for a, b in pairs if name in (a, b))
        others = students * stations * examiners / levels[name]
        raw[name] = (ms[name] - met + rest) / others
    for a, b in pairs:
        third = next(n for n in names if n not in (a, b))
        raw[f"{a}_{b}"] = (ms[f"{a}_{b}"] - rest) / levels[third]
    return _clipped(raw | {"residual": rest}, ms, "analysis of variance")


def method_one(
    scores: pd.DataFrame, effects: dict[str, tuple[str, ...]], *, response: str = "score"
) -> AnovaComponents:
    """Henderson's method 1 ("analogous analysis of variance") for incomplete tables.

    `effects` names each random effect by the columns whose combinations are its levels, for
    example {"student": ("student",), "student_station": ("student", "station")}. The uncorrected
    sums of squares T = sum over groups of (sum of y)^2/n, those of the mean and of y^2 are set
    equal to their expectations, which are linear in the components:
    E T(a) = N mu^2 + sum_b k(b, a) v_b + levels(a) v_residual, k(b, a) = sum over groups of a of
    (sum over b of n_ab^2)/n_a.
    """
    import pandas as pd

    y = scores[response].to_numpy(dtype=float)
    y = y - y.mean()
    groups = {"mean": np.zeros(len(y), dtype=np.int64)}
    for name, columns in effects.items():
        groups[name] = pd.MultiIndex.from_frame(scores[list(columns)]).factorize()[0]
    groups["residual"] = np.arange(len(y))
    # The unknowns: N mu^2, the components, the residual.
    totals = np.array([_uncorrected(y, codes) for codes in groups.values()])
    names = [*effects, "residual"]
    expected = np.ones((len(groups), len(names) + 1))
    for i, codes in enumerate(groups.values()):
        for j, name in enumerate(names):
            expected[i, j + 1] = _coefficient(groups[name], codes)
    try:
        solved = np.linalg.solve(expected, totals)[1:]
    except np.linalg.LinAlgError:
        raise UserError(
            "effects", ", ".join(effects), "effects that the table can separate",
            "Leave out an effect whose levels are those of another.",
        ) from None  # fmt: skip
    raw = dict(zip(names, solved.tolist(), strict=True))
    return _clipped(raw, {}, "Henderson's method 1")


def _uncorrected(y: Array, codes: IntArray) -> float:
    size = np.bincount(codes)
    return float((np.bincount(codes, weights=y) ** 2 / size).sum())


def _coefficient(effect: IntArray, grouping: IntArray) -> float:
    pair = grouping * (int(effect.max()) + 1) + effect
    keys, counts = np.unique(pair, return_counts=True)
    group = keys // (int(effect.max()) + 1)
    return float((counts**2 / np.bincount(grouping)[group]).sum())


def _clipped(raw: dict[str, float], ms: dict[str, float], estimator: str) -> AnovaComponents:
    negative = tuple(name for name, value in raw.items() if value < 0)
    warnings = tuple(
        f"{name}: the estimate {raw[name]:.4g} is negative and is shown as 0." for name in negative
    )
    components = {name: max(0.0, value) for name, value in raw.items()}
    return AnovaComponents(components, raw, negative, ms, warnings, estimator)


def _complete(table: Array, axes: int) -> Array:
    table = np.asarray(table, dtype=float)
    if table.ndim != axes or min(table.shape[:axes]) < 2:
        raise UserError("table", table.shape, f"{axes} axes of at least two levels each")
    if not np.isfinite(table).all():
        raise UserError("table", "a missing or infinite mark", "a complete table",
                        "Use fit_variance, which needs no complete table.")  # fmt: skip
    return table
