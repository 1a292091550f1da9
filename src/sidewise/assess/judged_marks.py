"""Pass marks set by judges: Angoff (judges on items) and Hofstee (a compromise with the result).

Angoff WH in Thorndike RL (ed.), Educational Measurement, 1971, and Hofstee WKB in Anderson SB,
Helmick JS (eds), On Educational Testing, 1983 (both citations from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sidewise.errors import UserError

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Angoff:
    """The mean of the judges' expected marks for a student who just passes.

    `cut` in marks and `percent` of the possible marks; `sd` between judges' sums, `se` = sd /
    sqrt(judges), both in marks; `judge_sums` one per judge.
    """

    cut: float
    percent: float
    sd: float
    se: float
    judge_sums: Floats
    judges: int
    items: int
    warnings: tuple[str, ...] = ()


def angoff(expected: Floats, maxima: Floats | None = None) -> Angoff:
    """Angoff's pass mark from a (judges, items) table of expected shares (0 to 1).

    cut = mean over judges of sum over items of share * maximum (maximum 1 unless given).
    Every judge must have judged every item; shares outside 0 to 1 are refused.
    """
    if expected.ndim != 2 or expected.size == 0:
        raise UserError("Angoff judgements", expected.shape, "a table of judges by items", "")
    if not ((expected >= 0) & (expected <= 1)).all():
        bad = expected[~((expected >= 0) & (expected <= 1))]
        raise UserError(
            "Angoff judgements",
            float(bad[0]),
            "shares from 0 to 1, none missing",
            "Give the share of such students who would do it, not percent.",
        )
    top = np.ones(expected.shape[1]) if maxima is None else maxima
    sums = expected @ top
    judges = expected.shape[0]
    sd = float(sums.std(ddof=1)) if judges > 1 else float("nan")
    cut = float(sums.mean())
    notes = ("One judge only: no spread between judges.",) if judges == 1 else ()
    return Angoff(
        cut,
        100 * cut / float(top.sum()),
        sd,
        sd / float(np.sqrt(judges)),
        sums,
        judges,
        expected.shape[1],
        notes,
    )


@dataclass(frozen=True, slots=True)
class Hofstee:
    """Where the curve of failures meets the judges' line inside their box.

    `cut` is the mark at which the step curve (share strictly below the mark) meets the line,
    `cut_smooth` the same with the curve drawn through the points (mark, share strictly below it).
    `fails` is the share strictly below `cut`. NaN and a warning when they do not meet inside the
    box.
    """

    cut: float
    cut_smooth: float
    fails: float
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class HofsteeBox:
    """What the judges accept: lowest and highest pass mark, lowest and highest failures (0-1)."""

    low_cut: float
    high_cut: float
    low_fails: float
    high_fails: float

    def __post_init__(self) -> None:
        marks = self.low_cut < self.high_cut
        if not (marks and 0 <= self.low_fails < self.high_fails <= 1):
            raise UserError(
                "Hofstee limits",
                f"{self.low_cut:g}, {self.high_cut:g}, {self.low_fails:g}, {self.high_fails:g}",
                "lowest and highest pass mark, lowest and highest share failing",
                "Each lowest must be under its highest; shares between 0 and 1.",
            )

    def line(self, mark: Floats) -> Floats:
        """Accepted share of failures at a mark: high at the lowest cut, low at the highest."""
        across = (mark - self.low_cut) / (self.high_cut - self.low_cut)
        return self.high_fails + across * (self.low_fails - self.high_fails)


def hofstee(marks: Floats, box: HofsteeBox) -> Hofstee:
    """Hofstee's compromise: the failure curve against the line across the judges' box.

    If curve and line do not meet between the lowest and the highest cut the method has no answer;
    nothing is extrapolated.
    """
    known = np.sort(marks[~np.isnan(marks)])
    if known.size < 2:
        return _none("fewer than two students")
    cut = _step_meeting(known, box)
    if np.isnan(cut):
        return _none("the curve of failures does not meet the judges' line inside their limits")
    return Hofstee(cut, _smooth_meeting(known, box), float((known < cut).mean()))


def _none(why: str) -> Hofstee:
    nan = float("nan")
    return Hofstee(nan, nan, nan, (f"Hofstee has no answer: {why}.",))


def _step_meeting(known: Floats, box: HofsteeBox) -> float:
    """The step curve rises and the line falls, so they meet once or not at all."""
    below = np.searchsorted(known, [box.low_cut, box.high_cut], side="left") / known.size
    above_first = below[0] > box.high_fails
    if above_first or below[1] < box.low_fails:
        return float("nan")
    levels = np.unique(known)
    inside = levels[(levels >= box.low_cut) & (levels < box.high_cut)]
    # Just above a level the share below includes everyone at it.
    just_above = np.searchsorted(known, inside, side="right") / known.size
    jump = np.flatnonzero(just_above >= box.line(inside))
    edge = float(inside[jump[0]]) if jump.size else box.high_cut
    return _on_flat(known, box, edge)


def _on_flat(known: Floats, box: HofsteeBox, edge: float) -> float:
    """Where the falling line meets a flat part of the curve before `edge`, if it does."""
    share = float((known < edge).mean())
    span = box.high_fails - box.low_fails
    meet = box.low_cut + (box.high_fails - share) / span * (box.high_cut - box.low_cut)
    lower = known[known < edge]
    start = max(float(lower[-1]), box.low_cut) if lower.size else box.low_cut
    return meet if start <= meet <= edge else edge


def _smooth_meeting(known: Floats, box: HofsteeBox) -> float:
    levels, first = np.unique(known, return_index=True)
    share = first / known.size
    grid = np.unique(np.concatenate([levels, [box.low_cut, box.high_cut]]))
    grid = grid[(grid >= box.low_cut) & (grid <= box.high_cut)]
    gap = np.interp(grid, levels, share, right=1.0) - box.line(grid)
    after = np.flatnonzero(gap >= 0)
    if after.size == 0 or (after[0] == 0 and gap[0] > 0):
        return float("nan")
    i = int(after[0])
    if i == 0 or gap[i] == gap[i - 1]:
        return float(grid[i])
    share_of_step = -gap[i - 1] / (gap[i] - gap[i - 1])
    return float(grid[i - 1] + share_of_step * (grid[i] - grid[i - 1]))
