"""Who would fail under each method of setting the pass mark, side by side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidewise.teaching.sitting.sitting import Sitting


@dataclass(frozen=True, slots=True)
class FailsUnder:
    """One student below at least one method's mark, and the methods that say so."""

    student: str
    total: float
    methods: tuple[str, ...]


def fails_under(e: Sitting) -> tuple[FailsUnder, ...]:
    """Students with all marks whose total is below some method's mark, lowest first.

    By total alone: rules of stations and critical errors are the same under every method.
    """
    marks = [(p.method, p.cut.value) for p in e.pass_marks if p.cut.known]
    rows = []
    for i in np.argsort(e.table.total()):
        total = float(e.table.total()[i])
        under = tuple(method for method, cut in marks if total < cut)
        if under:
            rows.append(FailsUnder(e.table.students[i], total, under))
    return tuple(rows)
