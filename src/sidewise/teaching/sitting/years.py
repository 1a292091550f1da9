"""This sitting beside earlier ones: how stations have changed, what an earlier pass mark is worth.

Stations that both sittings used (anchors) tell how much abler these students are; what is left of
the difference between the means is the difficulty of the stations. An earlier pass mark moves with
it (common-item mean equating: Kolen MJ, Brennan RL, Test Equating, Scaling, and Linking, 3rd ed.
2014, chapter 4, from memory). Anchors do not all change alike: examiners change, stations become
known. That spread is the error; what changes all anchors alike looks like ability and cannot be
told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.distributions import t_above, t_quantile
from sidewise.ground.estimate import Estimate
from sidewise.teaching.severity.severity_test import holm_adjusted_p
from sidewise.teaching.sitting.sitting import Sitting
from sidewise.teaching.tables.station_bank import BankRow

# Fewer anchors carry nothing; each is one draw of how stations change: our judgement.
FEWEST_ANCHORS = 3
# Family-wise error of calling a sound anchor changed: our judgement, since leaving sound ones out
# would make the rest look surer than they are.
SURELY_APART = 0.01
# Anchors that agree to the last digit still differ by chance, points: our judgement.
LEAST_SPREAD = 0.5


@dataclass(frozen=True, slots=True)
class StationYear:
    """One station now and at the sitting where it was used last before; marks in percent.

    `change` is the mean now less then; `beside` the same less the middle of all anchors' changes
    (what abler students explain); NaN where there is no such middle. `used` counts earlier
    sittings.
    """

    station: str
    used: int
    last: str
    mean: float
    mean_then: float
    mark: float
    mark_then: float
    link: float
    link_then: float
    change: float
    beside: float
    apart: bool


@dataclass(frozen=True, slots=True)
class EquatedMark:
    """An earlier sitting's pass mark on this sitting's stations, percent, with 95% limits.

    `ability` is how much more these students earn at the anchors, `easier` how much easier this
    sitting's stations are as a whole, both in points.
    """

    sitting: str
    anchors: tuple[str, ...]
    left_out: tuple[str, ...]
    ability: float
    easier: float
    then: float
    mark: Estimate

    @property
    def sentence(self) -> str:
        """In words."""
        low, high = self.mark.low, self.mark.high
        reach = f" ({low:.1f} to {high:.1f})" if low is not None and high is not None else ""
        gone = ", ".join(self.left_out)
        lost = f" (left out, because they changed otherwise: {gone})" if gone else ""
        return (
            f"The pass mark of {self.then:.1f} set at {self.sitting} is worth "
            f"{self.mark.value:.1f}{reach} here, through {len(self.anchors)} stations that both "
            f"used{lost}. There these students earn {self.ability:+.1f} points; the stations as a "
            f"whole are {abs(self.easier):.1f} points "
            f"{'easier' if self.easier >= 0 else 'harder'}."
        )


@dataclass(frozen=True, slots=True)
class Years:
    """Stations beside their past, and earlier pass marks on these stations, the latest first."""

    stations: tuple[StationYear, ...]
    marks: tuple[EquatedMark, ...]


def bank_rows(e: Sitting) -> tuple[BankRow, ...]:
    """This sitting's stations as they enter the bank; UserError for a sitting without a name."""
    name = str(e.scores["sitting"].iloc[0])
    if name == "1":
        raise UserError(
            "sitting", "no name", "a column sitting that names it", "Years are told apart by it."
        )
    total = float(np.nanmean(e.table.total())) if e.table.complete.any() else float("nan")
    return tuple(
        BankRow(
            name, s.station, s.n, s.mean, s.sd, s.discrimination.value, s.line.r_squared,
            s.line.slope.value, s.line.cut.value, s.failures or 0, len(e.stations),
            e.deciding.cut.value, total,
        )
        for s in e.stations
    )  # fmt: skip


def beside_earlier(e: Sitting, bank: Sequence[BankRow]) -> Years:
    """This sitting beside the bank; rows of a sitting of the same name are left aside."""
    name = str(e.scores["sitting"].iloc[0])
    earlier = [row for row in bank if row.sitting != name]
    order = list(dict.fromkeys(row.sitting for row in reversed(earlier)))
    by = {s: {r.station: r for r in earlier if r.sitting == s} for s in order}
    marks = tuple(m for s in order if (m := _equated(e, s, by[s])) is not None)
    return Years(_stations(e, order, by), marks)


def _changes(e: Sitting, then: dict[str, BankRow]) -> dict[str, float]:
    return {s.station: s.mean - then[s.station].mean for s in e.stations
            if s.station in then and np.isfinite(s.mean - then[s.station].mean)}  # fmt: skip


def _apart(changes: dict[str, float]) -> tuple[str, ...]:
    """Anchors that changed otherwise than the rest: each against the mean and spread of the others
    (deleted residual, Student's t), 1% over all by Holm's method, so that sound ones stay."""
    values, k = np.array(list(changes.values())), len(changes)
    if k < FEWEST_ANCHORS + 1:
        return ()
    p = np.ones(k)
    for i in range(k):
        others = np.delete(values, i)
        error = max(float(others.std(ddof=1)), LEAST_SPREAD) * float(np.sqrt(1 + 1 / (k - 1)))
        p[i] = 2 * float(t_above(abs(values[i] - others.mean()) / error, k - 2))
    adjusted = holm_adjusted_p(p)
    return tuple(s for s, x in zip(changes, adjusted, strict=True) if x < SURELY_APART)


def _equated(e: Sitting, sitting: str, then: dict[str, BankRow]) -> EquatedMark | None:
    """None with fewer than three anchors or where the earlier sitting had no pass mark."""
    changes = _changes(e, then)
    out = _apart(changes)
    kept = {s: v for s, v in changes.items() if s not in out}
    first = next(iter(then.values()))
    total = float(np.nanmean(e.table.total())) if e.table.complete.any() else float("nan")
    easier_known = np.isfinite(first.examination_mark + first.examination_mean + total)
    if len(kept) < FEWEST_ANCHORS or not easier_known:
        return None
    values = np.array(list(kept.values()))
    ability = float(values.mean())
    easier = total - first.examination_mean - ability
    # Totals are what they are: not known is only how much of the anchors' changes was their own.
    se = float(values.std(ddof=1)) / float(np.sqrt(values.size))
    half = float(t_quantile(0.975, values.size - 1)) * se
    mark = first.examination_mark + easier
    return EquatedMark(
        sitting, tuple(kept), out, ability, easier, first.examination_mark,
        Estimate(mark, mark - half, mark + half, se, "spread of the anchors' changes, t"),
    )  # fmt: skip


def _stations(
    e: Sitting, order: list[str], by: dict[str, dict[str, BankRow]]
) -> tuple[StationYear, ...]:
    rows = []
    for s in e.stations:
        used = [name for name in order if s.station in by[name]]
        if not used:
            continue
        then, changes = by[used[0]][s.station], _changes(e, by[used[0]])
        enough = len(changes) >= FEWEST_ANCHORS
        middle = float(np.median(list(changes.values()))) if enough else float("nan")
        change = s.mean - then.mean
        rows.append(StationYear(
            s.station, len(used), used[0], s.mean, then.mean, s.line.cut.value, then.mark,
            s.discrimination.value, then.link, change, change - middle,
            s.station in _apart(changes),
        ))  # fmt: skip
    return tuple(rows)
