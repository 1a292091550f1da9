"""From rows to binomial groups of people, each counted once.

Rows of one series and reading with overlapping targets are the same patients. The widest target
gives the comparison group; each narrow one gives its own patients; what the narrow ones leave of
the widest is a group of its own. A named comparison group is people with that condition alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from sidewise.errors import UserError
from sidewise.evidence.fit.case_mix import CaseMixes
from sidewise.evidence.studies.rows import AccuracyRow, AccuracyRows, Levels, NamedGroup
from sidewise.ground.arrays import Array


@dataclass(frozen=True)
class PatientGroup:
    """People whose findings were counted together.

    `levels` (C,): probability of each column in this group. `diseased`: the target is present.
    `weight` scales the log likelihood (weak rows count less).
    """

    reading: str
    series: str
    label: str
    levels: Array = field(repr=False)
    positive: int
    size: int
    diseased: bool
    weight: float
    rows: tuple[str, ...]


def mix_at_levels(
    mixes: CaseMixes, mix: Array, who: Levels | None, also: Levels | None = None
) -> Array:
    """(C,) `mix` with one condition restricted to some levels; None: nobody has anything.

    Within the levels kept, shares stay in proportion to the mix (equal where the mix has none).
    """
    if who is None:
        return np.zeros_like(mix)
    start = np.zeros_like(mix) if who.alone else mix.copy()
    for levels in (also, who):
        if levels is not None:
            part = mixes.conditions.slices[levels.condition]
            start[part] = _kept(mix[part], levels.levels)
    return start


def _kept(levels: Array, kept: Sequence[int]) -> Array:
    full = np.concatenate(([1 - levels.sum()], levels))
    chosen = np.zeros_like(full)
    chosen[list(kept)] = full[list(kept)]
    if chosen.sum() <= 0:
        chosen[list(kept)] = 1.0
    return np.asarray((chosen / chosen.sum())[1:])


def _complement(mixes: CaseMixes, target: Levels) -> Levels:
    part = mixes.conditions.slices[target.condition]
    every = range(part.stop - part.start + 1)
    left = tuple(k for k in every if k not in target.levels)
    return Levels(target.condition, left, target.alone)


def study_groups(rows: AccuracyRows, mixes: CaseMixes) -> tuple[PatientGroup, ...]:
    """The groups of every fitted row, each person once."""
    sets: dict[tuple[str, str, str], list[AccuracyRow]] = {}
    for row in rows.fitted:
        assert row.target is not None
        sets.setdefault((row.series, row.reading, row.target.condition), []).append(row)
    return tuple(group for mine in sets.values() for group in _groups_of_set(mine, mixes))


def _groups_of_set(rows: list[AccuracyRow], mixes: CaseMixes) -> Iterable[PatientGroup]:
    if len(rows) == 1 or any(row.groups != "both" for row in rows):
        return [group for row in rows for group in _plain(row, mixes)]
    return _disjoint(rows, mixes)


def _plain(row: AccuracyRow, mixes: CaseMixes) -> Iterable[PatientGroup]:
    mix = mixes.mix(row.case_mix)
    if row.groups in ("both", "diseased") and row.positive_diseased is not None:
        assert row.target is not None
        assert row.diseased is not None
        target = Levels(row.target.condition, row.target.levels, row.target.alone or _alone(row))
        levels = mix_at_levels(mixes, mix, target, row.also)
        yield _group(row, "with", levels, row.positive_diseased, row.diseased, True)
    if row.groups in ("both", "rest"):
        yield from _rest(row, mixes)


def _alone(row: AccuracyRow) -> bool:
    """Case-control series: where all comparison groups have one condition alone, so do cases."""
    named = [group.who for group in row.rest if group.who is not None]
    return bool(named) and all(who.alone for who in named)


def _rest(row: AccuracyRow, mixes: CaseMixes) -> Iterable[PatientGroup]:
    mix = mixes.mix(row.case_mix)
    assert row.target is not None
    named = row.rest or (NamedGroup(_complement(mixes, row.target)),)
    for group in named:
        positive = row.positive_others if group.positive is None else group.positive
        size = row.others if group.size is None else group.size
        if positive is None or not size:
            continue
        levels = mix_at_levels(mixes, mix, group.who, row.also)
        who = group.who
        name = "healthy" if who is None else f"{who.condition} {who.levels}"
        yield _group(row, name if row.rest else "without", levels, positive, size, False)


def _group(
    row: AccuracyRow, label: str, levels: Array, positive: int, size: int, diseased: bool
) -> PatientGroup:
    if not 0 <= positive <= size:
        raise UserError(f"accuracy.csv {row.id}", f"{positive} of {size}", "a part of the group")
    return PatientGroup(
        row.reading, row.series, label, levels, positive, size, diseased, row.weight, (row.id,)
    )


def _disjoint(rows: list[AccuracyRow], mixes: CaseMixes) -> Iterable[PatientGroup]:
    widest, narrow = _widest(rows)
    yield from _rest(widest, mixes)
    left = _Left(widest)
    for row in narrow:
        assert row.target is not None
        assert row.diseased is not None
        positive = row.positive_diseased or 0
        left.take(row, positive)
        levels = mix_at_levels(mixes, mixes.mix(row.case_mix), row.target, row.also)
        yield _group(row, f"with {row.target.levels}", levels, positive, row.diseased, True)
    if left.levels and left.size > 0 and widest.target is not None:
        kept = Levels(widest.target.condition, tuple(left.levels))
        levels = mix_at_levels(mixes, mixes.mix(widest.case_mix), kept, widest.also)
        positive = min(max(left.positive, 0), left.size)
        yield _group(widest, f"with {kept.levels}", levels, positive, left.size, True)


class _Left:
    """What remains of the widest target without the narrow ones."""

    def __init__(self, widest: AccuracyRow) -> None:
        assert widest.target is not None
        self.levels = list(widest.target.levels)
        self.positive = widest.positive_diseased or 0
        self.size = widest.diseased or 0

    def take(self, row: AccuracyRow, positive: int) -> None:
        assert row.target is not None
        self.levels = [k for k in self.levels if k not in row.target.levels]
        self.positive -= positive
        self.size -= row.diseased or 0


def _widest(rows: list[AccuracyRow]) -> tuple[AccuracyRow, list[AccuracyRow]]:
    """The row whose target holds all the others, and the others, which must not overlap."""
    order = sorted(rows, key=lambda row: -len(row.target.levels if row.target else ()))
    widest, narrow = order[0], order[1:]
    covered = [k for row in narrow if row.target for k in row.target.levels]
    inside = widest.target is not None and set(covered) <= set(widest.target.levels)
    if len(set(covered)) != len(covered) or not inside:
        names = ", ".join(row.id for row in rows)
        raise UserError(
            f"accuracy.csv {names}",
            "overlapping targets",
            "one target that holds the others, which are disjoint",
            "The same patients may be counted once only: leave one row out and say why.",
        )
    return widest, narrow
