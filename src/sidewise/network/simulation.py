"""Records simulated by the network, and where a record's probability lies among them.

A record is unusual when the network gives its findings less probability than it gives to all but
one in a hundred invented records with the same readings seen: a reason to check sides and
entries. Its place is found in stages: most records are plainly not in the lowest centile after a
few dozen invented ones, and only those near it need the whole thousand.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sidewise.ground.arrays import Array, BoolArray, IndexArray
from sidewise.network.elimination import Ranked, ranked_rows
from sidewise.network.evidence import Evidence, observed_rows
from sidewise.network.joint_tables import pair_tables
from sidewise.network.model import Network
from sidewise.network.normal import normal_probability

RECORDS = 1000
STAGES = (24, 100, 300, RECORDS)
UNUSUAL = 0.01
# A stage settles the matter when even the lower 99.9% limit of the place is above the centile.
SURELY = 3.09
# Records in one batch: more share the cost of a plan, fewer have a smaller union of findings.
TOGETHER = 12
# The first stage, with the record itself, is one batch: plans cost more there than tables.
FIRST = STAGES[0] + 1
# Table entries after which no further stage is begun: about a quarter of a second on one core.
MOST_WORK = 50_000_000


@dataclass(frozen=True, eq=False)
class SimulatedRecords:
    """Invented records: condition levels (N, V) and, of the readings, present or not (N, n)."""

    levels: IndexArray
    readings: tuple[int, ...]
    present: BoolArray


@dataclass(frozen=True, slots=True)
class Percentile:
    """Share of invented records less probable than this one (equal ones count half), 0 to 100.

    among: how many records were invented. judged: whether they settle the matter (False when
    the work allowed ran out first). unusual: judged, and below the first centile.
    """

    percentile: float
    among: int
    judged: bool

    @property
    def unusual(self) -> bool:
        """Below the first centile."""
        return self.judged and self.percentile < 100.0 * UNUSUAL


def simulate_records(
    network: Network,
    count: int,
    rng: np.random.Generator,
    readings: Sequence[int] | None = None,
) -> SimulatedRecords:
    """Conditions at random (given the complaints), then findings, with families dependent.

    readings: those that are examined; all by default. One parameter draw: all records come from
    it. As many parameter draws as records: one each, and a record that a complaint rejects is
    simulated again under its own.
    """
    if network.draws not in (1, count):
        raise ValueError(f"{network.draws} parameter draws for {count} records")
    numbers = tuple(range(len(network.structure.readings))) if readings is None else tuple(readings)
    levels = _levels(network, count, rng)
    return SimulatedRecords(levels, numbers, _findings(network, levels, numbers, rng))


def log_evidence_of(
    network: Network, records: SimulatedRecords, together: int = TOGETHER
) -> Ranked:
    """Log probability of each record's findings, `together` records at a time; for ranking.

    Records with about as many findings present go together: absent findings cost next to
    nothing, so a batch costs what the union of its findings present does.
    """
    present = records.present.astype(float)
    found, work = np.empty(len(present)), 0
    order = np.argsort(present.sum(axis=1), kind="stable")
    for start in range(0, len(order), together):
        rows = order[start : start + together]
        part = ranked_rows(network, observed_rows(records.readings, present[rows]))
        found[rows] = part.log_evidence
        work += part.work
    return Ranked(found, work)


def evidence_percentile(
    network: Network,
    evidence: Evidence,
    seed: int,
    count: int = RECORDS,
    most_work: int = MOST_WORK,
) -> Percentile:
    """Place of one record among invented ones with the same readings seen (`network.mean()`).

    Soft observations are compared as the plain result they favour. `most_work`: no further stage
    is begun after so many table entries; `among` of the answer says how many records it rests on.
    """
    if not evidence.readings:
        return Percentile(50.0, 0, True)
    rng = np.random.default_rng(seed)
    own = (evidence.present > evidence.absent).astype(float)
    mine = None
    below, among, work = 0.0, 0, 0
    for stage in [s for s in STAGES if s < count] + [count]:
        records = simulate_records(network, stage - among, rng, evidence.readings)
        if mine is None:
            records = replace(records, present=np.concatenate([own > 0, records.present]))
        ranked = log_evidence_of(network, records, FIRST if mine is None else TOGETHER)
        theirs, work = ranked.log_evidence, work + ranked.work
        if mine is None:
            mine, theirs = theirs[0], theirs[1:]
        same = np.isclose(theirs, mine, rtol=0.0, atol=1e-9)
        below += float(np.sum((theirs < mine) & ~same) + 0.5 * same.sum())
        among = stage
        if _settled(below / among, among) or work > most_work:
            break
    judged = among == count or _settled(below / among, among)
    return Percentile(100.0 * below / among, among, judged)


def _settled(share: float, among: int) -> bool:
    spread = float(np.sqrt(max(share * (1.0 - share), 1.0 / among) / among))
    return share - SURELY * spread > UNUSUAL


def _levels(network: Network, count: int, rng: np.random.Generator) -> IndexArray:
    levels = np.zeros((count, len(network.structure.variables)), dtype=np.intp)
    todo = np.arange(count)
    while len(todo):
        levels[todo] = _unselected(network, todo, rng)
        todo = todo[~_complains(network, levels[todo], todo, rng)]
    return levels


def _of(values: Array, rows: IndexArray) -> Array:
    """The columns of these rows of an array with the draw axis last."""
    return values if values.shape[-1] == 1 else values[..., rows]


def _chosen(shares: Array, count: int, rng: np.random.Generator) -> IndexArray:
    """One of the categories for each record; shares (n, 1 or count)."""
    edges = np.cumsum(shares, axis=0)
    return np.asarray((rng.random(count) * edges[-1] >= edges[:-1]).sum(axis=0), dtype=np.intp)


def _unselected(network: Network, rows: IndexArray, rng: np.random.Generator) -> IndexArray:
    structure, count = network.structure, len(rows)
    prior = _of(network.by_column["prior"], rows)
    edges = np.cumsum(prior, axis=1)
    drawn = rng.random((len(prior), 1, count)) * edges[:, -1:]
    levels = np.asarray((drawn >= edges[:, :-1]).sum(axis=1).T, dtype=np.intp)
    for pair, table in pair_tables(network).items():
        left, right = structure.pair_numbers[pair]
        both = _of(table, rows)
        joint = _chosen(both.reshape(-1, both.shape[-1]), count, rng)
        levels[:, left], levels[:, right] = joint // len(both), joint % len(both)
    return levels


def _complains(
    network: Network,
    levels: IndexArray,
    rows: IndexArray,
    rng: np.random.Generator,
) -> BoolArray:
    structure = network.structure
    kept = np.ones(len(rows), dtype=bool)
    for complaint, parents in enumerate(structure.complaint_parents):
        none = 1.0 - _of(network.by_column["complaint_leak"][complaint], rows)
        first = structure.first_complaint_arc[complaint]
        for position, variable in enumerate(parents):
            arc = _of(network.complaint_kept[first + position], rows)
            none = none * _picked(arc, levels[:, variable])
        kept &= rng.random(len(rows)) >= none
    return kept


def _picked(table: Array, levels: IndexArray) -> Array:
    """Entry of each record's level; table (L, 1 or N)."""
    return table[levels, 0] if table.shape[-1] == 1 else table[levels, np.arange(len(levels))]


def spared_probability(
    network: Network, levels: IndexArray, reading: int, parents: Sequence[int]
) -> Array:
    """(N,) probability that none of these parents causes the reading, given the levels."""
    place, first = dict(network.linked[reading]), network.structure.first_arc[reading]
    spared = np.ones(len(levels))
    for variable in parents:
        spared = spared * _picked(network.kept[first + place[variable]], levels[:, variable])
    return spared


def _findings(
    network: Network,
    levels: IndexArray,
    readings: Sequence[int],
    rng: np.random.Generator,
) -> BoolArray:
    tendency = _tendencies(network, readings, len(levels), rng)
    found = np.empty((len(levels), len(readings)), dtype=bool)
    for column, reading in enumerate(readings):
        core = spared_probability(network, levels, reading, network.core[reading])
        own = tendency[column] <= 1.0 - (1.0 - network.by_column["leak"][reading]) * core
        beside = spared_probability(network, levels, reading, network.beside[reading])
        found[:, column] = own | (rng.random(len(levels)) >= beside)
    return found


def _tendencies(
    network: Network, readings: Sequence[int], count: int, rng: np.random.Generator
) -> Array:
    """For each reading a uniform number per record; those of a family are correlated.

    The finding is present when the number is at most its probability, so that each keeps its own
    probability exactly: Phi of a normal with correlations rho_s, and rho_s + rho_m.
    """
    shared: dict[tuple[str, str], Array] = {}

    def factor(family: str, mechanism: str) -> Array:
        if (family, mechanism) not in shared:
            shared[family, mechanism] = rng.standard_normal(count)
        return shared[family, mechanism]

    families = {family: i for i, family in enumerate(network.structure.families)}
    found, latent = np.empty((len(readings), count)), []
    for row, reading in enumerate(readings):
        known = network.structure.readings[reading]
        if known.family is None or network.parameters.rho_structure is None:
            found[row] = rng.random(count)
            continue
        number = families[known.family]
        rho_s = network.by_column["rho_structure"][number]
        rho_m = network.by_column["rho_mechanism"][number]
        whole = np.sqrt(rho_s) * factor(known.family, "")
        part = np.sqrt(rho_m) * factor(known.family, f"mechanism {known.mechanism}")
        own = np.sqrt(1.0 - rho_s - rho_m) * rng.standard_normal(count)
        # The latent of the model raises the chance of a finding; a low number makes it present.
        found[row] = -(whole + part + own)
        latent.append(row)
    found[latent] = normal_probability(found[latent])
    return found
