"""Sides that may have been exchanged: findings that fit the patient's mirror image better.

Only findings that tell the sides apart count: those where the reference (or, without one, what
most of the other examiners found) differs between left and right.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidewise.teaching.tables.findings_table import Findings, ItemFindings
from sidewise.teaching.thresholds import quoted_threshold


@dataclass(frozen=True, slots=True)
class SwappedSides:
    """One examiner's record of one patient: findings nearer the mirrored reference, and the items.

    `mirrored` and `straight` count findings; `certain` is false when only single items are
    exchanged and the record as a whole does not say so.
    """

    patient: str
    examiner: str
    mirrored: int
    straight: int
    items: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """What was seen, in words."""
        many = self.mirrored + self.straight
        return (
            f"{self.examiner} on {self.patient}: {self.mirrored} of {many} findings that tell the "
            f"sides apart fit the other side ({', '.join(self.items)}). Check the sides."
        )


@dataclass(frozen=True, slots=True)
class _Vote:
    patient: str
    examiner: str
    item: str
    mirrored: bool


def swapped_sides(findings: Findings) -> tuple[SwappedSides, ...]:
    """Records in which the mirrored reference fits by three findings more (our judgement)."""
    votes: dict[tuple[str, str], list[_Vote]] = {}
    for item in findings.items:
        for vote in _votes(item):
            votes.setdefault((vote.patient, vote.examiner), []).append(vote)
    least = int(quoted_threshold("sides_swapped_net").value)
    found = [_summed(v) for v in votes.values()]
    return tuple(
        sorted(
            (s for s in found if s.mirrored - s.straight >= least),
            key=lambda s: (s.patient, s.examiner),
        )
    )


def _summed(votes: list[_Vote]) -> SwappedSides:
    mirrored = [v for v in votes if v.mirrored]
    items = tuple(dict.fromkeys(v.item for v in mirrored))
    return SwappedSides(
        votes[0].patient, votes[0].examiner, len(mirrored), len(votes) - len(mirrored), items
    )


def _votes(item: ItemFindings) -> list[_Vote]:
    """One vote per finding that is nearer to one side's reference than to the other's."""
    place = {unit: i for i, unit in enumerate(item.units)}
    votes = []
    for (patient, side), i in place.items():
        other = {"left": "right", "right": "left"}.get(side)
        j = place.get((patient, other)) if other else None
        if j is None:
            continue
        for e, examiner in enumerate(item.examiners):
            own, across = _standard(item, i, e), _standard(item, j, e)
            if _tells(item, own, across) and not np.isnan(item.values[i, e]):
                nearer = abs(item.values[i, e] - across) - abs(item.values[i, e] - own)
                if nearer != 0:
                    votes.append(_Vote(patient, examiner, item.item, bool(nearer < 0)))
    return votes


def _standard(item: ItemFindings, unit: int, examiner: int) -> float:
    """The reference, or what most of the other examiners found (two at least)."""
    if not np.isnan(item.reference).all():
        return float(item.reference[unit])
    others = np.delete(item.values[unit], examiner)
    others = others[~np.isnan(others)]
    if others.size < 2:
        return float("nan")
    if item.kind == "measurement":
        return float(np.median(others))
    value, count = np.unique(others, return_counts=True)
    top = value[count == count.max()]
    return float(top[0]) if top.size == 1 else float("nan")


def _tells(item: ItemFindings, own: float, across: float) -> bool:
    """Whether the two sides differ by more than examiners usually differ from each other."""
    if np.isnan(own) or np.isnan(across):
        return False
    return abs(own - across) > _usual_error(item)


def _usual_error(item: ItemFindings) -> float:
    if item.kind != "measurement":
        return 0.0
    centre = item.reference if not np.isnan(item.reference).all() else None
    middle = np.nanmedian(item.values, axis=1) if centre is None else centre
    gaps = np.abs(item.values - middle[:, None])
    known = gaps[~np.isnan(gaps)]
    return float(np.median(known)) if known.size else 0.0
