"""One person before any finding: the pre-test case, and priors the complaints bend back to it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np

from sidewise import network as engine
from sidewise.evidence.fit.fitted import stable_seed
from sidewise.evidence.pretest.person import Case, Pretest, pretest_figures
from sidewise.ground.arrays import Array
from sidewise.knowledge.region import Region
from sidewise.network import Solution, pre_selection, unexamined
from sidewise.protocol import Protocol
from sidewise.reason.weighing.layout import Layout, network_layout
from sidewise.record import Record

ASSUMED_AGE = 50


def case_of(record: Record, setting: str, protocol: Protocol) -> Case:
    """What of a record moves the pre-test figures."""
    context = record.context
    return Case(
        setting=setting,
        age=context.age if context.age is not None else ASSUMED_AGE,
        sex=context.sex or "",
        complaint_sides=len(context.complaint),
        known=factors_known(record, protocol),
        duration_weeks=context.duration_weeks,
    )


def factors_known(record: Record, protocol: Protocol) -> tuple[str, ...]:
    """Names of the factors that the record's answers apply, in the region's order."""
    asked = protocol.pretest_questions
    answers = [_known(record, question.questions) for question in asked]
    applied = {q.yes for q, answer in zip(asked, answers, strict=True) if answer}
    return tuple(
        name
        for question, answer in zip(asked, answers, strict=True)
        if (name := {True: question.yes, False: question.no, None: ""}[answer])
        and question.unless not in applied
    )


def _known(record: Record, questions: tuple[str, ...]) -> bool | None:
    """Yes if any is yes; no if all were answered no; otherwise not known."""
    answers = [record.context.answer(name) for name in questions]
    if "yes" in answers:
        return True
    return False if all(answer == "no" for answer in answers) else None


@dataclass(frozen=True)
class PretestPrior:
    """The person before any finding: priors for the engine (D, V, Lmax), and what is shown.

    drawn, mean: the answer with nothing examined, for each draw and for the mean of the draws.
    """

    prior: Array
    drawn: Solution
    mean: Solution
    shown: Array
    pretest: Pretest

    @cached_property
    def mean_prior(self) -> Array:
        """(1, V, Lmax) mean of the priors."""
        return np.asarray(self.prior.mean(axis=0, keepdims=True))


@lru_cache(maxsize=64)
def pretest_prior(
    region: Region, case: Case, complaint: tuple[str, ...], draws: int
) -> PretestPrior:
    """Priors such that, the complaints known, the published figures come out again.

    One set of draws for everybody, so that a page does not wait for them; the spread between
    clinics, which differs from record to record, is drawn with the links.
    """
    laid = network_layout(region, complaint)
    person = pretest_figures(region, case, draws, stable_seed(region.id, "pretest"))
    bare = without_readings(laid, target_figures(laid, person))
    prior = pre_selection(laid.structure, bare).prior
    selected = engine.Network(laid.structure, replace(bare, prior=prior))
    drawn, mean = unexamined(selected), unexamined(selected.mean())
    return PretestPrior(prior, drawn, mean, drawn.marginal.mean(axis=0), person)


def target_figures(laid: Layout, person: Pretest) -> Array:
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


def without_readings(laid: Layout, target: Array) -> engine.Parameters:
    """The conditions and complaints alone, with these priors."""
    structure = laid.structure
    return engine.Parameters(
        prior=target,
        link=np.zeros((1, structure.link_count)),
        leak=np.zeros((1, len(structure.readings))),
        **unstudied_figures(laid),
    )


def unstudied_figures(laid: Layout) -> dict[str, Array]:
    """Figures no study gives: concordance of the sides and the links of the complaints."""
    conditions = laid.conditions
    links = np.asarray(conditions.complaint_links)[laid.complaint_columns]
    leaks = np.full((1, len(laid.structure.complaints)), conditions.other_cause.leak)
    sided = [c.concordance for c in conditions.network if c.scope == "side"]
    return {
        "concordance": np.array([sided]),
        "complaint_link": links[None, :],
        "complaint_leak": leaks,
    }
