"""The network of one person: parameters drawn, findings entered, posterior with intervals."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from sidewise import network as engine
from sidewise.evidence.fit.fitted import Fitted, stable_seed
from sidewise.evidence.pretest.person import Pretest
from sidewise.evidence.pretest.table import pretest_table_of
from sidewise.ground.arrays import Array
from sidewise.ground.provenance import Mark, Provenance
from sidewise.knowledge.region import Region
from sidewise.network import (
    Effects,
    Evidence,
    Summary,
    effects,
    mechanisms_seen,
    observed,
    solve,
    summarise,
    with_prior_solution,
)
from sidewise.protocol import protocol_of
from sidewise.reason.judging.observations import Observed
from sidewise.reason.weighing.importance_weights import adapt_draws
from sidewise.reason.weighing.layout import Layout, network_layout
from sidewise.reason.weighing.parameters import draw_parameters, learned_parameters
from sidewise.reason.weighing.pretest_prior import PretestPrior, case_of, pretest_prior
from sidewise.record import Record


@dataclass(frozen=True)
class Weighing:
    """One record weighed: the network that was used, what was entered, and what came out.

    mean: the network with the mean of the draws, before they were chosen to suit the findings;
    effects: of each finding, and of each mechanism, under it.
    prior: (V, Lmax) pre-test probability of each level, before any finding.
    """

    region: Region
    setting: str
    layout: Layout
    network: engine.Network
    mean: engine.Network
    evidence: Evidence
    effects: Effects
    summary: Summary
    prior: Array
    pretest: Pretest
    fitted: Fitted

    def prior_sources(self, condition: str) -> tuple[Provenance, ...]:
        """Where the pre-test figure of a condition comes from."""
        return self._sources_of_priors.get(condition, ())

    @cached_property
    def _sources_of_priors(self) -> dict[str, tuple[Provenance, ...]]:
        used = set(self.pretest.rows)
        found: dict[str, tuple[Provenance, ...]] = {}
        for row in pretest_table_of(self.region).rows:
            if row.id in used:
                source = Provenance(Mark(row.mark), row.source, row.note)
                found[row.condition] = (*found.get(row.condition, ()), source)
        return found


@dataclass(frozen=True)
class Entered:
    """A record's findings entered into its network, not yet weighed draw by draw.

    mean: the network with the mean of the draws; each: the draws themselves.
    """

    layout: Layout
    mean: engine.Network
    each: engine.Parameters
    evidence: Evidence
    before: PretestPrior
    fitted: Fitted


def enter_findings(
    record: Record, region: Region, seen: Observed, setting: str, draws: int
) -> Entered:
    """The network of a record and what was found in it; seeded by the record's id alone."""
    complaint = record.context.complaint
    laid = network_layout(region, complaint)
    before = pretest_prior(region, case_of(record, setting, protocol_of(region)), complaint, draws)
    known = learned_parameters(region, complaint, setting, draws)
    rows = np.unique([entry.seat.row for entry in seen.spoken]).astype(np.intp)
    plain = draw_parameters(laid, known, before, rows, _seed(record, "study"), seen.louder)
    evidence = observed(laid.structure, seen.findings)
    mean = with_prior_solution(engine.Network(laid.structure, plain.mean), before.mean)
    return Entered(laid, mean, plain.each, evidence, before, known.fitted)


def weigh_record(
    record: Record, region: Region, seen: Observed, setting: str, draws: int
) -> Weighing:
    """Exact posterior under `draws` parameter draws, seeded by the record's id alone."""
    entered = enter_findings(record, region, seen, setting, draws)
    laid, mean, evidence = entered.layout, entered.mean, entered.evidence
    moved = effects(mean, evidence, mechanisms_seen(laid.structure, evidence))
    choice = _seed(record, "choice")
    parameters, log_m = adapt_draws(
        laid.structure, entered.each, evidence, laid.rows, moved.marginal, choice, given_away=True
    )
    network = with_prior_solution(engine.Network(laid.structure, parameters), entered.before.drawn)
    return Weighing(
        region=region,
        setting=setting,
        layout=laid,
        network=network,
        mean=mean,
        evidence=evidence,
        effects=moved,
        summary=_summary(network, evidence, log_m),
        prior=entered.before.shown,
        pretest=entered.before.pretest,
        fitted=entered.fitted,
    )


def _summary(network: engine.Network, evidence: Evidence, log_m: Array) -> Summary:
    solution = solve(network, evidence)
    return summarise(network, replace(solution, log_evidence=solution.log_evidence - log_m))


def _seed(record: Record, what: str) -> int:
    # The record's id only, so that limits do not flicker while findings are added.
    return stable_seed(record.id, what)
