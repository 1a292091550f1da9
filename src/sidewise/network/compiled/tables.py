"""The table of every factor, compiled, for one block of the batch.

The first variable of a table's scope is the fastest of its axes but the lanes.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from sidewise.network.compiled.block import drop_sign, fill, fill_kept, fill_seen, times_kept
from sidewise.network.compiled.inputs import (
    COMPLAINT_IF_ON,
    COMPLAINT_SWITCH,
    GATHERED,
    GIVEN,
    IF_ON,
    LONE,
    LONE_SWITCH,
    OTHER_CAUSES,
    Sources,
    Tables,
)
from sidewise.network.compiled.jit import compiled
from sidewise.network.compiled.members import gathered, one_member


@compiled
def factors(t: Tables, s: Sources, w: Any, a: Any, first: int, absolute: bool) -> None:
    """Every factor's table; the first variable of its scope is the fastest."""
    lanes = w.shape[1]
    seen = np.empty((5, lanes))
    for factor in range(len(t.kind)):
        kind, at, p = t.kind[factor], t.at[factor], t.start[factor]
        entries, end = t.at[factor + 1] - at, t.start[factor + 1]
        if kind == GIVEN:
            for entry in range(entries):
                fill(w, at + entry, s.given, t.parameter[p] + entry, first)
        elif kind == COMPLAINT_SWITCH:
            fill(w, at + 1, s.complaint_leak, t.parameter[p], first)
            for lane in range(lanes):
                w[at, lane] = 1.0
                w[at + 1, lane] -= 1.0
            drop_sign(w, at + 1, absolute)
        elif kind in (IF_ON, COMPLAINT_IF_ON):
            source = s.link if kind == IF_ON else s.complaint_link
            for level in range(entries // 2):
                for lane in range(lanes):
                    w[at + 2 * level, lane] = 1.0
                fill_kept(w, at + 2 * level + 1, source, t.parameter[p], level, first)
        elif kind == LONE_SWITCH:
            fill_seen(s, t.parameter[p + 1], first, seen)
            fill(seen, 4, s.leak, t.parameter[p], first)
            for lane in range(lanes):
                w[at, lane] = seen[1, lane]
                w[at + 1, lane] = seen[0, lane] * (1.0 - seen[4, lane])
            drop_sign(w, at + 1, absolute)
        elif kind == LONE:
            fill_seen(s, t.parameter[p + 1], first, seen)
            fill(w, at, s.leak, t.parameter[p], first)
            for lane in range(lanes):
                w[at, lane] = 1.0 - w[at, lane]
            times_kept(w, at, s.link, t.parameter, p + 2, end, first)
            for entry in range(at, at + entries):
                for lane in range(lanes):
                    w[entry, lane] = seen[1, lane] + seen[0, lane] * w[entry, lane]
        elif kind == OTHER_CAUSES:
            _other_causes(t, s, w, at, p, end, entries, first)
        elif kind == GATHERED:
            gathered(t, s, w, a, at, p, end, entries, first, seen)
        else:
            one_member(t, s, w, a, at, kind, t.parameter[p], first, seen, absolute)


@compiled
def _other_causes(
    t: Tables, s: Sources, w: Any, at: int, p: int, end: int, entries: int, first: int
) -> None:
    lanes = w.shape[1]
    # The helper is the fastest axis: pairs are written from the end, over entries already read.
    half = entries // 2
    for lane in range(lanes):
        w[at, lane] = 1.0
    times_kept(w, at, s.link, t.parameter, p, end, first)
    for entry in range(half - 1, -1, -1):
        for lane in range(lanes):
            spared = w[at + entry, lane]
            w[at + 2 * entry, lane] = spared
            w[at + 2 * entry + 1, lane] = 1.0 - spared
