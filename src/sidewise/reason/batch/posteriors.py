"""Many records weighed at once.

Two ways, and the answer says which. *Mean parameters* (`draws` = 0): one set of parameters, the
mean of the draws in a new clinic, so that records which saw the same go through the elimination
together, one on each row; no interval. *Draws*: record by record exactly as `interpret` does, with
intervals. Red flags are the same in both.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

import numpy as np

from sidewise import network as engine
from sidewise.evidence.fit.fitted import stable_seed
from sidewise.evidence.pretest.person import MONTH, TWO_YEARS, Case, pretest_figures
from sidewise.evidence.pretest.table import pretest_table_of
from sidewise.ground.arrays import Array
from sidewise.knowledge.region import Region, chosen_region
from sidewise.network import Evidence, Observation, pre_selection, prior_solution, solve
from sidewise.protocol import protocol_of
from sidewise.reason.interpretation import ADULT, error_of_one_reading, not_said, setting_used
from sidewise.reason.judging.flags import (
    NOTHING_MEANINGLESS,
    Meaningless,
    flag_book_of,
    meaningless,
    red_flags,
)
from sidewise.reason.judging.grading import Louder, grading_of
from sidewise.reason.judging.judge import Judge
from sidewise.reason.judging.observations import Observed, observe
from sidewise.reason.judging.results import record_with_results
from sidewise.reason.judging.rules import ContextIs, leaves
from sidewise.reason.judging.variants import variants, variants_of
from sidewise.reason.weighing.layout import Layout, network_layout
from sidewise.reason.weighing.parameters import fitted_draws, links_in, raise_voices
from sidewise.reason.weighing.posterior import weigh_record
from sidewise.reason.weighing.pretest_prior import (
    ASSUMED_AGE,
    case_of,
    target_figures,
    unstudied_figures,
    without_readings,
)
from sidewise.record import Record

BEHIND_MEAN = 500
"""Draws whose mean the mean parameters are: as many as stand behind an interval on screen."""
MOST_ROWS = 512
"""Records on one row axis; more gain nothing and take memory."""


@dataclass(frozen=True, slots=True)
class Flags:
    """Ids of red flags raised, and of those not excluded and called for."""

    raised: tuple[str, ...]
    open: tuple[str, ...]


@dataclass(frozen=True)
class JudgedRecord:
    """What a record says, before any weighing. `seen` is None where no figure may be shown.

    withheld: of what a raised flag lets no figure be shown.
    """

    setting: str
    flags: Flags
    seen: Observed | None
    warnings: tuple[str, ...]
    withheld: Meaningless = NOTHING_MEANINGLESS


@dataclass(frozen=True)
class WeighedRecord:
    """A record weighed: (V, Lmax) prior and posterior by level; (V,) limits if drawn."""

    record: Record
    judged: JudgedRecord
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
    records: Iterable[Record],
    regions: Mapping[str, Region],
    setting: str | None = None,
    draws: int = 0,
) -> list[WeighedRecord]:
    """Every record weighed, in the order given. `setting` overrides the records' own."""
    cases = [_case(record, chosen_region(regions, record.region), setting) for record in records]
    return _with_limits(cases, draws) if draws else _by_mean(cases)


@dataclass(frozen=True)
class _Judgement:
    """A record, its region, and what it says."""

    record: Record
    region: Region
    said: JudgedRecord


def _case(record: Record, region: Region, setting: str | None) -> _Judgement:
    said = _judged_once(_Said(record_contents(record, region), setting, region, record))
    return _Judgement(record, region, said)


def judge_record(record: Record, region: Region, setting: str | None) -> JudgedRecord:
    """Flags, readings that speak, and the doubts that `interpret` would voice."""
    used, unstated = setting_used(record, setting)
    record = record_with_results(record, protocol_of(region))
    judge = Judge(protocol_of(region), record, error_of_one_reading(region))
    book = flag_book_of(region)
    found = red_flags(judge, book)
    void = meaningless(found, book)
    flags = Flags(
        tuple(flag.flag for flag in found if flag.status == "raised"),
        tuple(flag.flag for flag in found if flag.status == "not excluded" and flag.called_for),
    )
    age = record.context.age
    if not region.has_weighing:
        return JudgedRecord(used, flags, None, (*unstated, *not_said(region)))
    if age is not None and age < ADULT:
        refusal = "Under 18: no figure here applies; none is shown."
        return JudgedRecord(used, flags, None, (*unstated, refusal, *not_said(region)))
    laid = network_layout(region, record.context.complaint)
    excused = variants(judge, variants_of(region))
    seen = observe(judge, laid, excused, void, grading_of(region))
    warnings = (*unstated, *_assumptions(record), *not_said(region))
    return JudgedRecord(used, flags, seen, warnings, void)


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
    region: Region
    record: Record = field(compare=False, repr=False)


@lru_cache(maxsize=4096)
def _judged_once(said: _Said) -> JudgedRecord:
    """Judging takes most of the time of a batch, and registers repeat themselves."""
    return judge_record(said.record, said.region, said.setting)


WHO = {"patient", "examined_at", "examiner", "mechanism", "visit", "follows"}
"""Context that no rule and no figure reads."""
NUMBERS = ("age", "duration_weeks", "pain_0_10")
"""Context that rules read only as being above or below a limit."""


def record_contents(record: Record, region: Region) -> str:
    """Everything of a record that flags and readings depend on, as one text."""
    kept: dict[str, Any] = {
        "region": True,
        "context": set(type(record.context).model_fields) - WHO - set(NUMBERS),
        "findings": True,
        "care": True,
    }
    text = record.model_dump_json(include=kept, exclude_defaults=True)
    places = [_place(region, name, getattr(record.context, name)) for name in NUMBERS]
    return f"{places}{text}"


def _place(region: Region, name: str, number: float | None) -> tuple[int, int] | None:
    """How many limits lie below a number, and how many at or below it."""
    if number is None:
        return None
    limits = region.view(_limits, name)
    return bisect_left(limits, number), bisect_right(limits, number)


def _limits(region: Region, name: str) -> tuple[float, ...]:
    """Every limit that a flag's rules set on a number of the context; adult age is one."""
    found = {float(ADULT)} if name == "age" else set()
    for _, rule in flag_book_of(region).rules():
        for leaf in leaves(rule):
            if isinstance(leaf, ContextIs):
                found |= {
                    float(value)
                    for test, value in leaf.context
                    if test.startswith(LIMITED_BY[name]) and value is not None
                }
    return tuple(sorted(found))


LIMITED_BY = {"age": "age_", "duration_weeks": "duration_weeks_", "pain_0_10": "pain_"}


def _with_limits(cases: Sequence[_Judgement], draws: int) -> list[WeighedRecord]:
    return [_one_with_limits(case, draws) for case in cases]


def _one_with_limits(case: _Judgement, draws: int) -> WeighedRecord:
    record, said = case.record, case.said
    if said.seen is None:
        return WeighedRecord(record, said)
    weighing = weigh_record(record, case.region, said.seen, said.setting, draws)
    found = weighing.summary
    return WeighedRecord(
        record, said, weighing.prior, found.mean, found.present_low, found.present_high,
        found.warnings,
    )  # fmt: skip


def _by_mean(cases: Sequence[_Judgement]) -> list[WeighedRecord]:
    answers: dict[int, WeighedRecord] = {}
    groups: dict[EliminationGroup, list[int]] = {}
    for place, case in enumerate(cases):
        if case.said.seen is None:
            answers[place] = WeighedRecord(case.record, case.said)
        else:
            group = group_of(case.record, case.region, case.said, case.said.seen)
            groups.setdefault(group, []).append(place)
    for group, places in groups.items():
        for start in range(0, len(places), MOST_ROWS):
            some = places[start : start + MOST_ROWS]
            answers.update(zip(some, _solved(group, [cases[i] for i in some]), strict=True))
    return [answers[place] for place in range(len(cases))]


@dataclass(frozen=True, slots=True)
class EliminationGroup:
    """Records that can share the rows of one elimination, at no record's cost.

    joining: readings whose outcome joins conditions (present or soft), and every reading of a
    family of which two or more were seen. Absent findings outside families only multiply odds,
    so that records may differ in them freely.
    """

    region: Region
    complaint: tuple[str, ...]
    setting: str
    joining: frozenset[tuple[int, bool]]


def group_of(
    record: Record, region: Region, said: JudgedRecord, seen: Observed
) -> EliminationGroup:
    """The group of a record."""
    complaint = record.context.complaint
    structure = network_layout(region, complaint).structure
    numbered = {structure.reading_index[name]: found for name, found in seen.findings.items()}
    shared = _shared(structure, numbered)
    joining = {
        (number, found is not False)
        for number, found in numbered.items()
        if number in shared or found is not False
    }
    return EliminationGroup(region, complaint, said.setting, frozenset(joining))


def _shared(structure: engine.Structure, numbers: Iterable[int]) -> set[int]:
    """Readings seen of families of which two or more were seen."""
    members: dict[str, list[int]] = {}
    for number in numbers:
        family = structure.readings[number].family
        if family is not None:
            members.setdefault(family, []).append(number)
    return {number for some in members.values() if len(some) > 1 for number in some}


@dataclass(frozen=True, slots=True)
class _Row:
    """What decides a row of an elimination: two records alike in it share the row."""

    case: Case
    found: tuple[tuple[str, Observation], ...]
    louder: tuple[tuple[str, tuple[float, float]], ...]


def _solved(group: EliminationGroup, cases: Sequence[_Judgement]) -> list[WeighedRecord]:
    """The group's records on the rows of one elimination; records alike share a row."""
    alike: dict[_Row, int] = {}
    rows = [alike.setdefault(_row(case), len(alike)) for case in cases]
    before = [mean_prior(group.region, row.case, group.complaint) for row in alike]
    laid = network_layout(group.region, group.complaint)
    shared = mean_parameters(group.region, group.complaint, group.setting)
    network = engine.Network(
        laid.structure,
        replace(
            _louder_rows(laid, shared, [row.louder for row in alike]),
            prior=np.stack([b.prior for b in before]),
        ),
    )
    evidence = rows_of_evidence(network.structure, [dict(row.found) for row in alike])
    answer = solve(network, evidence, workers=1).marginal
    return [
        WeighedRecord(case.record, case.said, before[row].shown, answer[row])
        for row, case in zip(rows, cases, strict=True)
    ]


def _row(case: _Judgement) -> _Row:
    said = case.said
    assert said.seen is not None, "records under age are answered before"
    person = case_of(case.record, said.setting, protocol_of(case.region))
    louder = ((name, (one.leak, one.lower)) for name, one in said.seen.louder.items())
    return _Row(same_figures(case.region, person), tuple(said.seen.findings.items()), tuple(louder))


def _louder_rows(
    laid: Layout,
    shared: engine.Parameters,
    louder: Sequence[tuple[tuple[str, tuple[float, float]], ...]],
) -> engine.Parameters:
    """The parameters all records share; with links and leaks of each row where one is louder."""
    if not any(louder):
        return shared
    link = np.repeat(shared.link, len(louder), axis=0)
    leak = np.repeat(shared.leak, len(louder), axis=0)
    for row, mine in enumerate(louder):
        voices = {name: Louder(leak=a, lower=b) for name, (a, b) in mine}
        raise_voices(laid, voices, link[row : row + 1].T, leak[row : row + 1].T)
    return replace(
        shared, link=np.maximum(link, engine.lowest_links(laid.structure, leak)), leak=leak
    )


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
class MeanPrior:
    """(V, Lmax) priors for the engine, before the complaints, and the pre-test figures shown."""

    prior: Array
    shown: Array


@lru_cache(maxsize=4096)
def mean_prior(region: Region, case: Case, complaint: tuple[str, ...]) -> MeanPrior:
    """Priors that, the complaints known, give back the pre-test figures themselves.

    Solved for the figures, not averaged over their draws: the complaint bends a mean of priors
    (by 0.012 for the commonest condition), and then nothing examined would not give the pre-test.
    """
    laid = network_layout(region, complaint)
    person = pretest_figures(region, case, 1)
    figures = replace(person, complaint_draws=person.complaint[None], free_draws=person.free[None])
    bare = without_readings(laid, target_figures(laid, figures))
    selected = pre_selection(laid.structure, bare)
    shown = prior_solution(engine.Network(laid.structure, selected)).marginal
    return MeanPrior(selected.prior[0], shown[0])


def same_figures(region: Region, case: Case) -> Case:
    """A case with the same pre-test figures, age and duration rounded to what the tables know."""
    weeks = case.duration_weeks
    if weeks is not None:
        weeks = 0.0 if weeks < MONTH else TWO_YEARS if weeks <= TWO_YEARS else TWO_YEARS + 1
    return replace(case, age=region.view(_age_bands)[int(case.age)], duration_weeks=weeks)


def _age_bands(region: Region) -> tuple[int, ...]:
    """For each whole age the youngest to which the same rows of the pre-test table apply."""
    rows = [row for kind in ("age", "free") for row in pretest_table_of(region).of_kind(kind)]
    first: dict[tuple[str, ...], int] = {}
    found = []
    for age in range(121):
        mine = tuple(row.id for row in rows if row.age_low <= age < row.age_high + 1)
        # Under age and adults are never taken for each other.
        found.append(first.setdefault((str(age < ADULT), *mine), age))
    return tuple(found)


@lru_cache(maxsize=32)
def mean_parameters(region: Region, complaint: tuple[str, ...], setting: str) -> engine.Parameters:
    """Mean over the draws of links and leaks in a clinic that is one more study.

    The study effect has one seed for the whole batch, where `interpret` draws it for each record.
    The prior is left at zero: each record has its own.
    """
    laid, fitted = network_layout(region, complaint), fitted_draws(region, BEHIND_MEAN)
    links = links_in(region, BEHIND_MEAN, setting)
    study = fitted.one_more_study(links, stable_seed(region.id, "study of a batch"))
    link = study.link.mean(axis=0, keepdims=True)[:, laid.arcs]
    link[:, laid.silent] = 0.0
    leak = study.leak.mean(axis=0, keepdims=True)[:, laid.rows]
    return engine.Parameters(
        prior=_no_prior(laid),
        link=np.maximum(link, engine.lowest_links(laid.structure, leak)),
        leak=leak,
        rho_structure=fitted.rho_s.mean(axis=0, keepdims=True)[:, laid.family_rows],
        rho_mechanism=fitted.rho_m.mean(axis=0, keepdims=True)[:, laid.family_rows],
        **unstudied_figures(laid),
    )


def _no_prior(laid: Layout) -> Array:
    structure = laid.structure
    return np.zeros((1, len(structure.variables), max(structure.levels)))
