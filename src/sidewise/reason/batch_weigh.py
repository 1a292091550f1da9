"""Many records weighed at once.

Two ways, and the answer says which. *Mean parameters* (`draws` = 0): one set of parameters, the
mean of the draws in a new clinic, so that records which saw the same go through the elimination
together, one on each row; no interval. *Draws*: record by record exactly as `interpret` does, with
intervals. Red flags are the same in both.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidewise.evidence.fitted import load_fitted, stable_seed
from sidewise.evidence.pretest import MONTH, TWO_YEARS, Case, pretest
from sidewise.evidence.pretest_table import load_pretest_table
from sidewise.protocol import load_protocol
from sidewise.reason.before import (
    ASSUMED_AGE,
    case_of,
    targets,
    unstudied,
    without_readings,
)
from sidewise.reason.drawn import fitted_draws, links_in
from sidewise.reason.engine import network as engine
from sidewise.reason.engine.complaint import pre_selection
from sidewise.reason.engine.eliminate import prior_solution, solve
from sidewise.reason.engine.evidence import Evidence, Observation
from sidewise.reason.flags import load_flags, red_flags
from sidewise.reason.interpreting import ADULT, error_of_one_reading, setting_used
from sidewise.reason.judge import Judge
from sidewise.reason.net import Layout, layout
from sidewise.reason.observe import Observed, observe
from sidewise.reason.rules import ContextIs, leaves
from sidewise.reason.variants import variants
from sidewise.reason.weigh import weigh
from sidewise.record import Record

Array = NDArray[np.float64]

BEHIND_MEAN = 500
"""Draws whose mean the mean parameters are: as many as stand behind an interval on screen."""
MOST_ROWS = 512
"""Records on one row axis; more gain nothing and take memory."""


@dataclass(frozen=True, slots=True)
class Flags:
    """Ids of red flags raised, and of those not excluded."""

    raised: tuple[str, ...]
    open: tuple[str, ...]


@dataclass(frozen=True)
class Judged:
    """What a record says, before any weighing. `seen` is None where no figure may be shown."""

    setting: str
    flags: Flags
    seen: Observed | None
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class Weighed:
    """A record weighed: (V, Lmax) prior and posterior by level; (V,) limits if drawn."""

    record: Record
    judged: Judged
    prior: Array | None = None
    posterior: Array | None = None
    low: Array | None = None
    high: Array | None = None
    warnings: tuple[str, ...] = ()

    @property
    def usable(self) -> bool:
        """Whether every figure is a number: a failed sum must not pass for an answer."""
        return self.posterior is None or bool(np.isfinite(self.posterior).all())


def weigh_records(
    records: Iterable[Record], setting: str | None = None, draws: int = 0
) -> list[Weighed]:
    """Every record weighed, in the order given. `setting` overrides the records' own."""
    pairs = [(record, _judged_once(_Said(contents(record), setting, record))) for record in records]
    return _drawn(pairs, draws) if draws else _by_mean(pairs)


def judged(record: Record, setting: str | None) -> Judged:
    """Flags, readings that speak, and the doubts that `interpret` would voice."""
    used, unstated = setting_used(record, setting)
    protocol = load_protocol(record.region)
    judge = Judge(protocol, record, error_of_one_reading(record))
    found = red_flags(judge, load_flags(record.region))
    flags = Flags(
        tuple(flag.flag for flag in found if flag.status == "raised"),
        tuple(flag.flag for flag in found if flag.status == "not excluded"),
    )
    age = record.context.age
    if age is not None and age < ADULT:
        told = "Under 18: no figure here applies; none is shown."
        return Judged(used, flags, None, (*unstated, told))
    laid = layout(record.region, record.context.complaint)
    seen = observe(judge, laid, variants(judge))
    return Judged(used, flags, seen, (*unstated, *_assumptions(record)))


def _assumptions(record: Record) -> tuple[str, ...]:
    found = []
    if record.context.age is None:
        found.append(f"Age was not stated; {ASSUMED_AGE} is assumed.")
    if not record.context.complaint:
        found.append(
            "No side was stated to complain; figures for sides without complaint are used."
        )
    return tuple(found)


@dataclass(frozen=True)
class _Said:
    """What a record says; two that say the same are equal, whoever was examined."""

    contents: str
    setting: str | None
    record: Record = field(compare=False, repr=False)


@lru_cache(maxsize=4096)
def _judged_once(said: _Said) -> Judged:
    """Judging takes most of the time of a batch, and registers repeat themselves."""
    return judged(said.record, said.setting)


WHO = {"patient", "examined_at", "examiner", "mechanism"}
"""Context that no rule and no figure reads."""
NUMBERS = ("age", "duration_weeks", "pain_0_10")
"""Context that rules read only as being above or below a limit."""


def contents(record: Record) -> str:
    """Everything of a record that flags and readings depend on, as one text."""
    kept: dict[str, Any] = {
        "region": True,
        "context": set(type(record.context).model_fields) - WHO - set(NUMBERS),
        "findings": True,
    }
    text = record.model_dump_json(include=kept, exclude_defaults=True)
    places = [_place(record.region, name, getattr(record.context, name)) for name in NUMBERS]
    return f"{places}{text}"


def _place(region: str, name: str, number: float | None) -> tuple[int, int] | None:
    """How many limits lie below a number, and how many at or below it."""
    if number is None:
        return None
    limits = _limits(region, name)
    return bisect_left(limits, number), bisect_right(limits, number)


@lru_cache(maxsize=16)
def _limits(region: str, name: str) -> tuple[float, ...]:
    """Every limit that a flag's rules set on a number of the context; adult age is one."""
    found = {float(ADULT)} if name == "age" else set()
    for _, rule in load_flags(region).rules():
        for leaf in leaves(rule):
            if isinstance(leaf, ContextIs):
                found |= {
                    float(value)
                    for test, value in leaf.context
                    if test.startswith(LIMITED_BY[name]) and value is not None
                }
    return tuple(sorted(found))


LIMITED_BY = {"age": "age_", "duration_weeks": "duration_weeks_", "pain_0_10": "pain_"}


def _drawn(pairs: Sequence[tuple[Record, Judged]], draws: int) -> list[Weighed]:
    return [_one_drawn(record, said, draws) for record, said in pairs]


def _one_drawn(record: Record, said: Judged, draws: int) -> Weighed:
    if said.seen is None:
        return Weighed(record, said)
    weighing = weigh(record, said.seen, said.setting, draws)
    found = weighing.summary
    return Weighed(
        record, said, weighing.prior, found.mean, found.present_low, found.present_high,
        found.warnings,
    )  # fmt: skip


def _by_mean(pairs: Sequence[tuple[Record, Judged]]) -> list[Weighed]:
    answers: dict[int, Weighed] = {}
    groups: dict[Group, list[int]] = {}
    for place, (record, said) in enumerate(pairs):
        if said.seen is None:
            answers[place] = Weighed(record, said)
        else:
            groups.setdefault(group_of(record, said, said.seen), []).append(place)
    for group, places in groups.items():
        for start in range(0, len(places), MOST_ROWS):
            some = places[start : start + MOST_ROWS]
            answers.update(zip(some, _solved(group, [pairs[i] for i in some]), strict=True))
    return [answers[place] for place in range(len(pairs))]


@dataclass(frozen=True, slots=True)
class Group:
    """Records that can share the rows of one elimination, at no record's cost.

    joining: readings whose outcome joins conditions (present or soft), and every reading of a
    family of which two or more were seen. Absent findings outside families only multiply odds,
    so that records may differ in them freely.
    """

    region: str
    complaint: tuple[str, ...]
    setting: str
    joining: frozenset[tuple[int, bool]]


def group_of(record: Record, said: Judged, seen: Observed) -> Group:
    """The group of a record."""
    complaint = record.context.complaint
    structure = layout(record.region, complaint).structure
    numbered = {structure.reading_index[name]: found for name, found in seen.findings.items()}
    shared = _shared(structure, numbered)
    joining = {
        (number, found is not False)
        for number, found in numbered.items()
        if number in shared or found is not False
    }
    return Group(record.region, complaint, said.setting, frozenset(joining))


def _shared(structure: engine.Structure, numbers: Iterable[int]) -> set[int]:
    """Readings seen of families of which two or more were seen."""
    members: dict[str, list[int]] = {}
    for number in numbers:
        family = structure.readings[number].family
        if family is not None:
            members.setdefault(family, []).append(number)
    return {number for some in members.values() if len(some) > 1 for number in some}


def _solved(group: Group, pairs: Sequence[tuple[Record, Judged]]) -> list[Weighed]:
    """The group's records on the rows of one elimination; records alike share a row."""
    alike: dict[tuple[Case, tuple[tuple[str, Observation], ...]], int] = {}
    rows = [alike.setdefault(_row_key(record, said), len(alike)) for record, said in pairs]
    before = [mean_before(group.region, case, group.complaint) for case, _ in alike]
    network = engine.Network(
        layout(group.region, group.complaint).structure,
        replace(
            mean_parameters(group.region, group.complaint, group.setting),
            prior=np.stack([b.prior for b in before]),
        ),
    )
    evidence = rows_of_evidence(network.structure, [dict(found) for _, found in alike])
    answer = solve(network, evidence, workers=1).marginal
    return [
        Weighed(record, said, before[row].shown, answer[row])
        for row, (record, said) in zip(rows, pairs, strict=True)
    ]


def _row_key(record: Record, said: Judged) -> tuple[Case, tuple[tuple[str, Observation], ...]]:
    assert said.seen is not None, "records under age are answered before"
    case = same_figures(record.region, case_of(record, said.setting))
    return case, tuple(said.seen.findings.items())


def rows_of_evidence(
    structure: engine.Structure, found: Sequence[dict[str, Observation]]
) -> Evidence:
    """One row for each record; a reading a record did not see says nothing in its row.

    Readings that are alone of their family in every row that saw them join no family, although
    another row may have seen another member.
    """
    numbered = [{structure.reading_index[n]: o for n, o in row.items()} for row in found]
    readings = tuple(sorted({number for row in numbered for number in row}))
    column = {number: place for place, number in enumerate(readings)}
    absent, present = np.ones((2, len(found), len(readings)))
    together: set[int] = set()
    for place, row in enumerate(numbered):
        together |= _shared(structure, row)
        for number, observation in row.items():
            if isinstance(observation, bool):
                observation = (1.0 - observation, float(observation))
            absent[place, column[number]], present[place, column[number]] = observation
    alone = frozenset(readings) - together
    return Evidence(readings, absent, present, alone)


@dataclass(frozen=True)
class MeanBefore:
    """(V, Lmax) priors for the engine, before the complaints, and the pre-test figures shown."""

    prior: Array
    shown: Array


@lru_cache(maxsize=4096)
def mean_before(region: str, case: Case, complaint: tuple[str, ...]) -> MeanBefore:
    """Priors that, the complaints known, give back the pre-test figures themselves.

    Solved for the figures, not averaged over their draws: the complaint bends a mean of priors
    (by 0.012 for the commonest condition), and then nothing examined would not give the pre-test.
    """
    laid = layout(region, complaint)
    person = pretest(region, case, 1)
    figures = replace(person, complaint_draws=person.complaint[None], free_draws=person.free[None])
    bare = without_readings(laid, targets(laid, figures))
    selected = pre_selection(laid.structure, bare)
    shown = prior_solution(engine.Network(laid.structure, selected)).marginal
    return MeanBefore(selected.prior[0], shown[0])


def same_figures(region: str, case: Case) -> Case:
    """A case with the same pre-test figures, age and duration rounded to what the tables know."""
    weeks = case.duration_weeks
    if weeks is not None:
        weeks = 0.0 if weeks < MONTH else TWO_YEARS if weeks <= TWO_YEARS else TWO_YEARS + 1
    return replace(case, age=_age_bands(region)[int(case.age)], duration_weeks=weeks)


@lru_cache(maxsize=4)
def _age_bands(region: str) -> tuple[int, ...]:
    """For each whole age the youngest to which the same rows of the pre-test table apply."""
    rows = [row for kind in ("age", "free") for row in load_pretest_table(region).of_kind(kind)]
    first: dict[tuple[str, ...], int] = {}
    found = []
    for age in range(121):
        mine = tuple(row.id for row in rows if row.age_low <= age < row.age_high + 1)
        # Under age and adults are never taken for each other.
        found.append(first.setdefault((str(age < ADULT), *mine), age))
    return tuple(found)


@lru_cache(maxsize=32)
def mean_parameters(region: str, complaint: tuple[str, ...], setting: str) -> engine.Parameters:
    """Mean over the draws of links and leaks in a clinic that is one more study.

    The study effect has one seed for the whole batch, where `interpret` draws it for each record.
    The prior is left at nought: it is the records' own.
    """
    laid, fitted = layout(region, complaint), fitted_draws(region, BEHIND_MEAN)
    links = links_in(region, BEHIND_MEAN, setting)
    study = fitted.one_more_study(links, stable_seed(region, "study of a batch"))
    link = study.link.mean(axis=0, keepdims=True)[:, laid.arcs]
    link[:, laid.silent] = 0.0
    return engine.Parameters(
        prior=_no_prior(laid),
        link=link,
        leak=study.leak.mean(axis=0, keepdims=True)[:, laid.rows],
        rho_structure=fitted.rho_s.mean(axis=0, keepdims=True)[:, laid.family_rows],
        rho_mechanism=fitted.rho_m.mean(axis=0, keepdims=True)[:, laid.family_rows],
        **unstudied(laid),
    )


def _no_prior(laid: Layout) -> Array:
    structure = laid.structure
    return np.zeros((1, len(structure.variables), max(structure.levels)))


def knowledge_version(region: str) -> str:
    """The hash of everything that was learned, shortened as in an interpretation."""
    return load_fitted(region).fingerprint[:12]
