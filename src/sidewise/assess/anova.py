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
from numpy.typing import NDArray

from sidewise.errors import UserError

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]


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


def crossed_mean_squares(table: Floats) -> MeanSquares:
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


def nested_mean_squares(table: Floats) -> MeanSquares:
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


def _uncorrected(y: Floats, codes: NDArray[np.int64]) -> float:
    size = np.bincount(codes)
    return float((np.bincount(codes, weights=y) ** 2 / size).sum())


def _coefficient(effect: NDArray[np.int64], grouping: NDArray[np.int64]) -> float:
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


def _complete(table: Floats, axes: int) -> Floats:
    table = np.asarray(table, dtype=float)
    if table.ndim != axes or min(table.shape[:axes]) < 2:
        raise UserError("table", table.shape, f"{axes} axes of at least two levels each")
    if not np.isfinite(table).all():
        raise UserError("table", "a missing or infinite mark", "a complete table",
                        "Use fit_variance, which needs no complete table.")  # fmt: skip
    return table
