"""The network of one person: parameters drawn, findings entered, posterior with intervals."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sidewise.evidence.fitted import Fitted, stable_seed
from sidewise.evidence.pretest import Pretest
from sidewise.evidence.pretest_table import load_pretest_table
from sidewise.reason.adapt import adapted
from sidewise.reason.before import before_findings, case_of
from sidewise.reason.drawn import drawn, learned
from sidewise.reason.engine import network as engine
from sidewise.reason.engine.draws import Summary, summarise
from sidewise.reason.engine.eliminate import solve, with_prior_solution
from sidewise.reason.engine.evidence import Evidence, observed
from sidewise.reason.moved import Moved, moved
from sidewise.reason.net import Layout, layout
from sidewise.reason.observe import Observed
from sidewise.reason.result import Source
from sidewise.record import Record

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Weighing:
    """One record weighed: the network that was used, what was entered, and what came out.

    mean: the network with the mean of the draws, before they were chosen to suit the findings;
    effects: of each finding, under it.
    prior: (V, Lmax) pre-test probability of each level, before any finding.
    """

    region: str
    setting: str
    layout: Layout
    network: engine.Network
    mean: engine.Network
    evidence: Evidence
    effects: Moved
    summary: Summary
    prior: Array
    pretest: Pretest
    fitted: Fitted

    def prior_sources(self, condition: str) -> tuple[Source, ...]:
        """Where the pre-test figure of a condition comes from."""
        return self._sources_of_priors.get(condition, ())

    @cached_property
    def _sources_of_priors(self) -> dict[str, tuple[Source, ...]]:
        used = set(self.pretest.rows)
        found: dict[str, tuple[Source, ...]] = {}
        for row in load_pretest_table(self.region).rows:
            if row.id in used:
                source = Source(row.source, row.mark, row.note)
                found[row.condition] = (*found.get(row.condition, ()), source)
        return found


def weigh(record: Record, seen: Observed, setting: str, draws: int) -> Weighing:
    """Exact posterior under `draws` parameter draws, seeded by the record's id alone."""
    complaint = record.context.complaint
    laid = layout(record.region, complaint)
    before = before_findings(record.region, case_of(record, setting), complaint, draws)
    known = learned(record.region, complaint, setting, draws)
    rows = np.unique([entry.seat.row for entry in seen.spoken]).astype(np.intp)
    plain = drawn(laid, known, before, rows, _seed(record, "study"))
    evidence = observed(laid.structure, seen.findings)
    mean = with_prior_solution(engine.Network(laid.structure, plain.mean), before.mean)
    effects = moved(mean, evidence)
    choice = _seed(record, "choice")
    parameters, log_m = adapted(
        laid.structure, plain.each, evidence, laid.rows, effects.marginal, choice, given_away=True
    )
    network = with_prior_solution(engine.Network(laid.structure, parameters), before.drawn)
    return Weighing(
        region=record.region,
        setting=setting,
        layout=laid,
        network=network,
        mean=mean,
        evidence=evidence,
        effects=effects,
        summary=_summary(network, evidence, log_m),
        prior=before.shown,
        pretest=before.pretest,
        fitted=known.fitted,
    )


def _summary(network: engine.Network, evidence: Evidence, log_m: Array) -> Summary:
    solution = solve(network, evidence)
    return summarise(network, replace(solution, log_evidence=solution.log_evidence - log_m))


def _seed(record: Record, what: str) -> int:
    # The record's id only, so that limits do not flicker while findings are added.
    return stable_seed(record.id, what)
