"""One person before any finding: the pre-test case, and priors the complaints bend back to it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from sidewise.evidence.fitted import stable_seed
from sidewise.evidence.pretest import Case, Pretest, pretest
from sidewise.reason.engine import network as engine
from sidewise.reason.engine.complaint import pre_selection
from sidewise.reason.engine.eliminate import Solution, unexamined
from sidewise.reason.net import Layout, layout
from sidewise.record import Record

Array = NDArray[np.float64]

# Questions whose answers move the pre-test figures; a region without one of them moves nothing.
INJURY = ("injury",)
DIABETES = ("diabetes",)
DISLOCATION = ("dislocation_reduced",)
ASSUMED_AGE = 50


def case_of(record: Record, setting: str) -> Case:
    """What of a record moves the pre-test figures."""
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

    @cached_property
    def mean_prior(self) -> Array:
        """(1, V, Lmax) mean of the priors."""
        return np.asarray(self.prior.mean(axis=0, keepdims=True))


@lru_cache(maxsize=64)
def before_findings(region: str, case: Case, complaint: tuple[str, ...], draws: int) -> Before:
    """Priors such that, the complaints known, the published figures come out again.

    One set of draws for everybody, so that a page does not wait for them; the spread between
    clinics, which differs from record to record, is drawn with the links.
    """
    laid = layout(region, complaint)
    person = pretest(region, case, draws, stable_seed(region, "pretest"))
    bare = without_readings(laid, targets(laid, person))
    prior = pre_selection(laid.structure, bare).prior
    selected = engine.Network(laid.structure, replace(bare, prior=prior))
    drawn, mean = unexamined(selected), unexamined(selected.mean())
    return Before(prior, drawn, mean, drawn.marginal.mean(axis=0), person)


def targets(laid: Layout, person: Pretest) -> Array:
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
        **unstudied(laid),
    )


def unstudied(laid: Layout) -> dict[str, Array]:
    """What no study tells: concordance of the sides and the links of the complaints."""
    conditions = laid.conditions
    links = np.asarray(conditions.complaint_links)[laid.complaint_columns]
    leaks = np.full((1, len(laid.structure.complaints)), conditions.other_cause.leak)
    sided = [c.concordance for c in conditions.network if c.scope == "side"]
    return {
        "concordance": np.array([sided]),
        "complaint_link": links[None, :],
        "complaint_leak": leaks,
    }
