"""Pass marks set by judges: Angoff (judges on items), Ebel (items by relevance and difficulty) and
Hofstee (a compromise with the result).

Angoff WH in Thorndike RL (ed.), Educational Measurement, 1971, and Hofstee WKB in Anderson SB,
Helmick JS (eds), On Educational Testing, 1983, Ebel RL, Essentials of Educational Measurement,
1972 (all citations from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array


@dataclass(frozen=True, slots=True)
class JudgedItems:
    """Judges on items: `expected` shares (judges, items), 0 to 1; `keys` station and item; `weight`
    what each item carries of the examination's 100 marks."""

    judges: tuple[str, ...]
    keys: tuple[tuple[str, str], ...]
    expected: Array
    weight: Array


@dataclass(frozen=True, slots=True)
class Angoff:
    """The mean of the judges' expected marks for a student who just passes.

    `cut` in marks and `percent` of the possible marks; `sd` between judges' sums, `se` = sd /
    sqrt(judges), both in marks; `judge_sums` one per judge. `judged` what they said of each item,
    where it was read from a table.
    """

    cut: float
    percent: float
    sd: float
    se: float
    judge_sums: Array
    judges: int
    items: int
    warnings: tuple[str, ...] = ()
    judged: JudgedItems | None = field(default=None, repr=False)


def angoff_mark(expected: Array, maxima: Array | None = None) -> Angoff:
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
class EbelCell:
    """Items of one relevance and difficulty: the share of their marks that a student who just
    passes is expected to earn, how many items a judge put there and what they weigh (percent of all
    marks), both on average."""

    relevance: str
    difficulty: str
    expected: float
    items: float
    weight: float


@dataclass(frozen=True, slots=True)
class Ebel:
    """The mean over judges of the expected marks; `percent`, `sd` and `se` in percent of all marks,
    one of `judge_marks` per judge."""

    percent: float
    sd: float
    se: float
    judge_marks: Array
    cells: tuple[EbelCell, ...]
    warnings: tuple[str, ...] = ()


def ebel_mark(
    placed: Sequence[Sequence[tuple[str, str]]],
    expected: Mapping[tuple[str, str], float],
    maxima: Array | None = None,
) -> Ebel:
    """Ebel's pass mark: `placed` is each judge's relevance and difficulty of every item (judges,
    items), `expected` the share of marks expected in each such cell, `maxima` the items' marks.

    mark of a judge = sum over items of maximum * expected[its cell], over the sum of maxima. Cells
    without an expectation and shares outside 0 to 1 are refused.
    """
    used = sorted({cell for judge in placed for cell in judge})
    missing = [cell for cell in used if cell not in expected]
    if not used or missing:
        raise UserError(
            "Ebel judgements", " ".join(missing[0]) if missing else "none",
            "an expected share for every relevance and difficulty used", "",
        )  # fmt: skip
    wrong = [share for share in expected.values() if not 0 <= share <= 1]
    if wrong:
        raise UserError("Ebel shares", wrong[0], "shares from 0 to 1", "Not percent.")
    shares = np.array([[expected[cell] for cell in judge] for judge in placed])
    top = np.ones(shares.shape[1]) if maxima is None else maxima
    weight = 100 * top / float(top.sum())
    marks = shares @ weight
    sd = float(marks.std(ddof=1)) if marks.size > 1 else float("nan")
    inside = {c: np.array([[cell == c for cell in judge] for judge in placed]) for c in used}
    cells = tuple(
        EbelCell(*c, float(expected[c]), float(m.sum(axis=1).mean()), float((m @ weight).mean()))
        for c, m in inside.items()
    )
    notes = ("One judge only: no spread between judges.",) if marks.size == 1 else ()
    return Ebel(
        float(marks.mean()), sd, sd / float(np.sqrt(marks.size)), np.asarray(marks), cells, notes
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

    def line(self, mark: Array) -> Array:
        """Accepted share of failures at a mark: high at the lowest cut, low at the highest."""
        across = (mark - self.low_cut) / (self.high_cut - self.low_cut)
        return self.high_fails + across * (self.low_fails - self.high_fails)


def hofstee_mark(marks: Array, box: HofsteeBox) -> Hofstee:
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


def _step_meeting(known: Array, box: HofsteeBox) -> float:
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


def _on_flat(known: Array, box: HofsteeBox, edge: float) -> float:
    """Where the falling line meets a flat part of the curve before `edge`, if it does."""
    share = float((known < edge).mean())
    span = box.high_fails - box.low_fails
    meet = box.low_cut + (box.high_fails - share) / span * (box.high_cut - box.low_cut)
    lower = known[known < edge]
    start = max(float(lower[-1]), box.low_cut) if lower.size else box.low_cut
    return meet if start <= meet <= edge else edge


def _smooth_meeting(known: Array, box: HofsteeBox) -> float:
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
