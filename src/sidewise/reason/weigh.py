"""The network of one person: parameters drawn, findings entered, posterior with intervals."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sidewise.evidence.conditions import Conditions
from sidewise.evidence.fitted import Fitted, load_fitted, stable_seed
from sidewise.evidence.pretest import Case, Pretest, pretest
from sidewise.evidence.pretest_table import load_pretest_table
from sidewise.reason.adapt import adapted
from sidewise.reason.engine import network as engine
from sidewise.reason.engine.complaint import pre_selection
from sidewise.reason.engine.draws import Summary, summarise
from sidewise.reason.engine.eliminate import Solution, solve, unexamined, with_prior_solution
from sidewise.reason.engine.evidence import Evidence, observed
from sidewise.reason.moved import Moved, moved
from sidewise.reason.net import Layout, layout
from sidewise.reason.observe import Observed
from sidewise.reason.result import Source
from sidewise.record import Record

Array = NDArray[np.float64]

# Questions whose answers move the pre-test figures; a region without one of them moves nothing.
INJURY = ("injury",)
DIABETES = ("diabetes",)
DISLOCATION = ("dislocation_reduced",)
ASSUMED_AGE = 50


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
        used = set(self.pretest.rows)
        rows = load_pretest_table(self.region).rows
        mine = [row for row in rows if row.id in used and row.condition == condition]
        return tuple(Source(row.source, row.mark, row.note) for row in mine)


def weigh(record: Record, seen: Observed, setting: str, draws: int) -> Weighing:
    """Exact posterior under `draws` parameter draws, seeded by the record's id alone."""
    laid = layout(record.region, record.context.complaint)
    fitted = _fitted(record.region, draws)
    case = _case(record, setting)
    before = _before(record.region, case, record.context.complaint, draws)
    plain = _parameters(laid, fitted, before, record, seen, setting)
    evidence = observed(laid.structure, seen.findings)
    mean = with_prior_solution(engine.Network(laid.structure, plain.mean()), before.mean)
    effects = moved(mean, evidence)
    parameters, log_m = adapted(
        laid.structure, plain, evidence, laid.rows, effects.marginal, _seed(record, "choice")
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
        fitted=fitted,
    )


def _summary(network: engine.Network, evidence: Evidence, log_m: Array) -> Summary:
    solution = solve(network, evidence)
    return summarise(network, replace(solution, log_evidence=solution.log_evidence - log_m))


def _seed(record: Record, what: str) -> int:
    # The record's id only, so that limits do not flicker while findings are added.
    return stable_seed(record.id, what)


def _case(record: Record, setting: str) -> Case:
    context = record.context
    return Case(
        setting=setting,
        age=context.age if context.age is not None else ASSUMED_AGE,
        sex=context.sex or "",
        complaint_sides=len(context.complaint),
        injured=_known(record, INJURY),
        diabetes=_known(record, DIABETES),
        dislocated=_known(record, DISLOCATION),
        duration_weeks=context.duration_weeks,
    )


def _known(record: Record, questions: tuple[str, ...]) -> bool | None:
    """Yes if any is yes; no if all were answered no; otherwise not known."""
    answers = [record.context.answer(name) for name in questions]
    if "yes" in answers:
        return True
    return False if all(answer == "no" for answer in answers) else None


@dataclass(frozen=True)
class Before:
    """The person before any finding: priors for the engine (D, V, Lmax), and what is shown.

    drawn, mean: the answer with nothing examined, for each draw and for the mean of the draws.
    """

    prior: Array
    drawn: Solution
    mean: Solution
    shown: Array
    pretest: Pretest


@lru_cache(maxsize=64)
def _before(region: str, case: Case, complaint: tuple[str, ...], draws: int) -> Before:
    """Priors such that, the complaints known, the published figures come out again.

    One set of draws for everybody, so that a page does not wait for them; the spread between
    clinics, which differs from record to record, is drawn with the links.
    """
    laid = layout(region, complaint)
    person = pretest(region, case, draws, stable_seed(region, "pretest"))
    target = _by_variable(laid, person)
    bare = _without_readings(laid, target)
    prior = pre_selection(laid.structure, bare).prior
    selected = engine.Network(laid.structure, replace(bare, prior=prior))
    drawn, mean = unexamined(selected), unexamined(selected.mean())
    return Before(prior, drawn, mean, drawn.marginal.mean(axis=0), person)


def _by_variable(laid: Layout, person: Pretest) -> Array:
    """(D, V, Lmax) target figures: those of a complaining side, or of one that does not."""
    structure = laid.structure
    found = np.zeros((len(person.complaint_draws), len(structure.variables), max(structure.levels)))
    for number, variable in enumerate(structure.variables):
        condition, _, side = variable.name.partition(".")
        quiet = side in laid.painless_sides
        part = laid.conditions.slices[condition]
        shares = (person.free_draws if quiet else person.complaint_draws)[:, part]
        found[:, number, 1 : variable.levels] = shares
        found[:, number, 0] = 1 - shares.sum(axis=1)
    return found


def _without_readings(laid: Layout, target: Array) -> engine.Parameters:
    structure, conditions = laid.structure, laid.conditions
    return engine.Parameters(
        prior=target,
        link=np.zeros((1, structure.link_count)),
        leak=np.zeros((1, len(structure.readings))),
        **_fixed(laid, conditions),
    )


def _fixed(laid: Layout, conditions: Conditions) -> dict[str, Array]:
    """What no study tells: concordance of the sides and the links of the complaints."""
    links = np.asarray(conditions.complaint_links)[laid.complaint_columns]
    leaks = np.full((1, len(laid.structure.complaints)), conditions.other_cause.leak)
    sided = [c.concordance for c in conditions.network if c.scope == "side"]
    return {
        "concordance": np.array([sided]),
        "complaint_link": links[None, :],
        "complaint_leak": leaks,
    }


@lru_cache(maxsize=4)
def _fitted(region: str, draws: int) -> Fitted:
    return load_fitted(region).draws(draws)


@lru_cache(maxsize=16)
def _links_in(region: str, draws: int, setting: str) -> Array:
    return _fitted(region, draws).link_in(setting)


def _parameters(
    laid: Layout, fitted: Fitted, before: Before, record: Record, seen: Observed, setting: str
) -> engine.Parameters:
    """Everything with the draw axis first; readings seen get the effect of one more study."""
    links = _links_in(record.region, fitted.count, setting)
    rows = np.array(sorted({entry.seat.row for entry in seen.spoken}), dtype=np.intp)
    study = fitted.one_more_study(links, _seed(record, "study"), rows)
    link = study.link[:, laid.arcs]
    link[:, laid.silent] = 0.0
    moved = np.isin(laid.rows, rows)
    return engine.Parameters(
        prior=before.prior,
        link=link,
        leak=np.where(moved, study.leak[:, laid.rows], fitted.leak[:, laid.rows]),
        rho_structure=fitted.rho_s[:, laid.family_rows],
        rho_mechanism=fitted.rho_m[:, laid.family_rows],
        **_fixed(laid, laid.conditions),
    )
