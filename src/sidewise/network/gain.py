"""What each reading not yet examined can be expected to tell.

The gain of a reading is the expected fall of the sum, over the conditions of interest, of the
entropies of their levels (bits):

    gain = H(now) - P(absent) H(given absent) - P(present) H(given present)

One batched elimination gives P(absent) and all marginals given absent; those given present follow
by subtraction, P(c, present) = P(c) - P(c, absent), so that both agree with the present state
exactly and, entropy being concave, no gain is negative. The sum of marginal entropies is chosen
over the joint entropy because it needs no joint table; both rank readings almost alike.

A candidate none of whose family was seen only changes level weights, whatever its sign. One whose
family was seen joins that family's factor: those whose parents the seen members of its mechanism
already span share the first run; others go into further runs, one new set of parents for each
mechanism at a time, so that cliques stay small.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sidewise.ground.arrays import Array, IndexArray
from sidewise.network.elimination import solve
from sidewise.network.evidence import Evidence
from sidewise.network.finding_effects import log_odds
from sidewise.network.model import Network
from sidewise.network.switches import switches

SAME = 1e-9  # relative difference below which two changes are equal
NO_CHANGE = 1e-9  # log odds: smaller changes are the last digits of the sums, not findings


@dataclass(frozen=True, slots=True)
class ItemGain:
    """Gain of an item: that of its most telling reading (the item's joint gain is no less)."""

    bits: float
    reading: int


@dataclass(frozen=True, slots=True)
class Change:
    """The result not yet examined that would move a condition most.

    reading, and whether found `present` or absent; the probability of the condition `now` and
    `then`, the `chance` of that result, and the change in log odds (`shift`).
    """

    reading: int
    present: bool
    now: float
    then: float
    chance: float
    shift: float


@dataclass(frozen=True, eq=False)
class Gains:
    """Expected gain of each candidate reading.

    readings: (n,) candidates. bits: (n,) never negative. chance: (n,) of being found present.
    if_present, if_absent: (n, V) probability of each condition (any level) after that result.
    base: (V,) probability now.
    """

    readings: tuple[int, ...]
    bits: Array
    chance: Array
    if_present: Array
    if_absent: Array
    base: Array

    def best_of(self, items: Mapping[str, Iterable[int]]) -> dict[str, ItemGain]:
        """For each item with readings among the candidates, its most telling reading."""
        place = {reading: i for i, reading in enumerate(self.readings)}
        found = {}
        for item, readings in items.items():
            known = [r for r in readings if r in place]
            if known:
                best = max(known, key=lambda r: self.bits[place[r]])
                found[item] = ItemGain(float(self.bits[place[best]]), best)
        return found

    def change_of_mind(self, variable: int, least_chance: float = 0.05) -> Change | None:
        """The result, with at least this chance, that would move one condition most."""
        now = float(self.base[variable])
        both = np.stack([self.if_absent[:, variable], self.if_present[:, variable]])
        chance = np.stack([1.0 - self.chance, self.chance])
        shift = log_odds(both) - log_odds(np.asarray(now))
        size = np.where(chance >= least_chance, np.abs(shift), -1.0)
        if not size.size or size.max() < NO_CHANGE:
            return None
        # Of equals (the same sign on the other side) the first, whatever the last digits say.
        first = int(np.flatnonzero(size >= size.max() * (1.0 - SAME))[0])
        found, place = divmod(first, size.shape[1])
        at = (found, place)
        then, likely = float(both[at]), float(chance[at])
        return Change(self.readings[place], bool(found), now, then, likely, float(shift[at]))


def gains(
    network: Network,
    evidence: Evidence,
    candidates: Sequence[int] | None = None,
    interest: Sequence[int] | None = None,
) -> Gains:
    """Expected gain of each candidate, under one set of parameters (`network.mean()`).

    candidates: reading numbers not in the evidence; all of them by default.
    interest: numbers of the variables whose entropies count; all of them by default.
    """
    if network.draws != 1 or evidence.rows != 1:
        raise ValueError("gains are computed for one set of parameters and one record")
    seen = set(evidence.readings)
    count = len(network.structure.readings)
    asked = range(count) if candidates is None else dict.fromkeys(candidates)
    wanted = [r for r in asked if r not in seen]
    variables = len(network.structure.variables)
    keep = np.arange(variables) if interest is None else np.asarray(interest, dtype=np.intp)
    runs = _runs(network, evidence, wanted) or [([], [])]
    switched = switches(network, evidence)
    return _joined(wanted, [_run(network, evidence, run, keep, switched) for run in runs])


def entropy(marginal: Array) -> Array:
    """Sum over variables of the entropy of their levels, bits; marginal (..., V, L)."""
    p = np.maximum(marginal, 1e-300)
    return np.asarray(-(marginal * np.log2(p)).sum(axis=(-1, -2)))


Run = tuple[list[int], list[int]]
"""Candidates that fold into weights, and candidates that join a family already seen."""


def _runs(network: Network, evidence: Evidence, wanted: Sequence[int]) -> list[Run]:
    structure = network.structure
    families = {structure.readings[r].family for r in evidence.readings} - {None}
    if network.parameters.rho_structure is None:
        families = set()
    lone = [r for r in wanted if structure.readings[r].family not in families]
    spans = _spans(network, evidence)
    joining: list[list[int]] = [[]]
    left = [r for r in wanted if structure.readings[r].family in families]
    while left:
        fits = [r for r in left if _parents(network, r) <= spans.get(_key(network, r), set())]
        joining[-1] += fits
        left = [r for r in left if r not in set(fits)]
        if left:
            joining.append([])
            spans = _widened(network, evidence, left)
    return [(lone if i == 0 else [], run) for i, run in enumerate(joining)]


def _key(network: Network, reading: int) -> tuple[str | None, str | None]:
    known = network.structure.readings[reading]
    return known.family, known.mechanism


def _parents(network: Network, reading: int) -> set[int]:
    return set(network.core[reading])


def _spans(network: Network, evidence: Evidence) -> dict[tuple[str | None, str | None], set[int]]:
    """Parents of the members seen, by family and mechanism."""
    spans: dict[tuple[str | None, str | None], set[int]] = {}
    for reading in evidence.readings:
        spans.setdefault(_key(network, reading), set()).update(_parents(network, reading))
    return spans


def _widened(
    network: Network, evidence: Evidence, left: Sequence[int]
) -> dict[tuple[str | None, str | None], set[int]]:
    """The spans, one mechanism of each family widened by the parents of one candidate."""
    spans = _spans(network, evidence)
    done = set()
    for reading in sorted(left, key=lambda r: -len(network.core[r])):
        key = _key(network, reading)
        if key[0] not in done:
            done.add(key[0])
            spans.setdefault(key, set()).update(_parents(network, reading))
    return spans


@dataclass(frozen=True, eq=False)
class _Result:
    readings: list[int]
    bits: Array
    chance: Array
    if_present: Array
    if_absent: Array
    base: Array


def _run(
    network: Network,
    evidence: Evidence,
    run: Run,
    keep: IndexArray,
    switched: frozenset[int],
) -> _Result:
    """One elimination: row 0 is the present state, each further row one candidate absent."""
    lone, joining = run
    asked = [*lone, *joining]
    what_ifs = _what_ifs(evidence, asked, frozenset(lone))
    answer = solve(network, what_ifs, switched=switched)
    base, absent = answer.marginal[0], answer.marginal[1:]
    ratio = np.exp(np.minimum(answer.log_evidence[1:] - answer.log_evidence[0], 0.0))
    chance = 1.0 - ratio
    # By subtraction, and not by a second run: cheaper, and both results then agree with the present
    # state to the last digit, without which a gain could come out negative.
    joint = base - ratio[:, None, None] * absent
    present = np.maximum(joint, 0.0) / np.maximum(chance, 1e-300)[:, None, None]
    expected = ratio * entropy(absent[:, keep]) + chance * entropy(present[:, keep])
    bits = np.maximum(entropy(base[keep]) - expected, 0.0)
    there, gone = 1.0 - present[:, :, 0], 1.0 - absent[:, :, 0]
    return _Result(asked, bits, chance, there, gone, 1.0 - base[:, 0])


def _what_ifs(evidence: Evidence, asked: Sequence[int], lone: frozenset[int]) -> Evidence:
    readings = [*evidence.readings, *asked]
    known, rows = len(evidence.readings), len(asked) + 1
    absent, present = np.ones((rows, len(readings))), np.ones((rows, len(readings)))
    absent[:, :known], present[:, :known] = evidence.absent, evidence.present
    own = np.arange(len(asked))
    present[own + 1, known + own] = 0.0
    order = np.argsort(readings)
    numbers = tuple(int(readings[i]) for i in order)
    return Evidence(numbers, absent[:, order], present[:, order], lone)


def _joined(wanted: Sequence[int], parts: Sequence[_Result]) -> Gains:
    readings = [r for part in parts for r in part.readings]
    place = {reading: i for i, reading in enumerate(readings)}
    order = np.asarray([place[r] for r in wanted], dtype=np.intp)
    bits, chance, there, gone = (
        np.concatenate([getattr(part, name) for part in parts])[order]
        for name in ("bits", "chance", "if_present", "if_absent")
    )
    return Gains(tuple(wanted), bits, chance, there, gone, parts[0].base)
