"""The plan of an examination: from a record, its region and the minutes to steps in order."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sidewise.errors import UserError
from sidewise.evidence.fit.fitted import stable_seed
from sidewise.knowledge.region import Region
from sidewise.plan.candidates import (
    Candidate,
    asked_of_flags,
    candidates,
    plan_problem,
    set_up_items,
)
from sidewise.plan.joint_gain import JointGain, joint_gain
from sidewise.plan.outlook import Outlook, outlook
from sidewise.plan.problem import (
    CALLED,
    FLAG,
    UNITS_A_BIT,
    PlanProblem,
    PlanWorth,
    change_seconds,
    plan_worth,
)
from sidewise.plan.solver import SECONDS_TO_SEARCH, PlanSolution, solve_plan
from sidewise.protocol import Item
from sidewise.reason.interpretation import CAUTIONS, knowledge_version
from sidewise.reason.weighing.suggestions import STOPS
from sidewise.record import Record

PLAN_FORMAT = "sidewise-plan/1"
MOST_MINUTES = 60
ASKED_FOR = {FLAG: "screens a flag", CALLED: "called for"}
DISCOUNT_SAID = (
    "Chosen for the largest sum of what each item could tell by itself, each further one of a "
    "family counting half of the one before. What they tell together is sampled afterwards."
)


@dataclass(frozen=True, slots=True)
class PlanStep:
    """One item of the plan, done on both sides before the next.

    modes: in this order. kind: "screens a flag", "called for" or "tells". because: the flag or
    the reason, in words. bits: what it could tell by itself, 0 where nothing is known of it.
    posture, place: of patient and examiner. change_seconds: to get there from the step before.
    """

    item: str
    label: str
    stage: str
    modes: tuple[str, ...]
    kind: str
    because: str
    bits: float
    seconds: int
    soreness: int
    posture: str
    place: str
    change_seconds: int


@dataclass(frozen=True, slots=True)
class SetUpStep:
    """What every visit begins or ends with."""

    item: str
    label: str
    seconds: int


@dataclass(frozen=True, slots=True)
class LeftOut:
    """What screens a flag or is called for and did not fit into the minutes."""

    item: str
    label: str
    kind: str
    because: str
    seconds: int


@dataclass(frozen=True, slots=True)
class WithheldItem:
    """An item that a raised flag withholds, and which."""

    item: str
    label: str
    reason: str


@dataclass(frozen=True, slots=True)
class PlannedBits:
    """What the plan can be expected to tell, in bits.

    single: the sum of what each item could tell by itself. discounted: by which it was chosen.
    together, low, high: what they tell together, sampled, with its 95% interval. doubt: what
    there is to learn.
    """

    single: float
    discounted: float
    together: float
    low: float
    high: float
    doubt: float


@dataclass(frozen=True)
class ExaminationPlan:
    """Which items in which order within the time, and how good that is.

    seconds: of the whole visit. before, after: what every visit begins and ends with, in the time.
    proven: whether no better plan exists; gap: in words, how much better one could be, "" where
    proven. bits: None where no figure is given. ask: questions that a flag waits for. stop: why
    there is no plan at all.
    """

    record: str
    region: str
    setting: str
    minutes: float
    cautions: tuple[str, ...]
    stop: str
    ask: tuple[str, ...]
    before: tuple[SetUpStep, ...]
    steps: tuple[PlanStep, ...]
    after: tuple[SetUpStep, ...]
    seconds: int
    changes: int
    proven: bool
    gap: str
    bits: PlannedBits | None
    left_out: tuple[LeftOut, ...]
    withheld: tuple[WithheldItem, ...]
    said: tuple[str, ...]
    knowledge_version: str

    def to_json(self) -> dict[str, Any]:
        """The plan as plain data, with its format named first."""
        return {"format": PLAN_FORMAT, **dataclasses.asdict(self)}


def plan_examination(
    record: Record,
    region: Region,
    minutes: float,
    *,
    setting: str | None = None,
    search_seconds: float = SECONDS_TO_SEARCH,
) -> ExaminationPlan:
    """The best order of what is still open, within so many minutes of the patient's time.

    search_seconds: of computing; a plan not proven by then says how much better one could be.
    UserError where the minutes do not hold what every visit has, or the extra is not installed.
    """
    view = outlook(record, region, setting)
    before, after = set_up_items(view)
    left = _seconds_left(minutes, (*before, *after))
    stop = next((f for f in view.flags if f.status == "raised" and f.urgency in STOPS), None)
    found = () if stop else candidates(view)
    problem = plan_problem(view, found, left)
    solution = solve_plan(problem, search_seconds)
    worth = plan_worth(problem, solution.order)
    chosen = {one.task for one in solution.order}
    return ExaminationPlan(
        record=record.id,
        region=record.region,
        setting=view.setting,
        minutes=minutes,
        cautions=(*CAUTIONS, *view.protocol.cautions),
        stop=f"Stop here: {stop.label}. {stop.do} How fast: {stop.how_fast}." if stop else "",
        ask=() if stop else tuple(asked_of_flags(view)),
        before=tuple(_set_up(item) for item in before),
        steps=tuple(_steps(view, found, problem, solution)),
        after=tuple(_set_up(item) for item in after),
        seconds=worth.seconds + sum(item.seconds for item in (*before, *after)),
        changes=worth.changes,
        proven=solution.proven,
        gap=_gap(problem, solution),
        bits=_bits(view, [found[one.task] for one in solution.order], worth),
        left_out=tuple(_left_out(found, chosen)),
        withheld=tuple(_withheld(view)),
        said=tuple(_said(view, found)),
        knowledge_version=knowledge_version(region),
    )


def _seconds_left(minutes: float, set_up: tuple[Item, ...]) -> int:
    # NaN fails here too.
    if not 0 < minutes <= MOST_MINUTES:
        raise UserError("--minutes", minutes, f"more than 0, at most {MOST_MINUTES}")
    needed = sum(item.seconds for item in set_up)
    left = int(minutes * 60) - needed
    if left <= 0:
        raise UserError("--minutes", minutes, f"more than {needed / 60:.1f}",
                        "Preparing and closing take so long, at every visit.")  # fmt: skip
    return left


def _set_up(item: Item) -> SetUpStep:
    return SetUpStep(item.id, item.label, item.seconds)


def _steps(
    view: Outlook, found: tuple[Candidate, ...], problem: PlanProblem, solution: PlanSolution
) -> Iterator[PlanStep]:
    moves = change_seconds(problem, solution.order)
    for one, seconds in zip(solution.order, moves, strict=True):
        candidate = found[one.task]
        item = candidate.item
        yield PlanStep(
            item=item.id,
            label=item.label,
            stage=str(view.protocol.stage_of(item)),
            modes=_modes(view, item),
            kind=ASKED_FOR.get(candidate.tier, "tells"),
            because=candidate.because,
            bits=candidate.bits,
            seconds=item.seconds,
            soreness=item.soreness,
            posture=one.stance.posture,
            place=one.stance.place,
            change_seconds=seconds,
        )


def _modes(view: Outlook, item: Item) -> tuple[str, ...]:
    """Active before passive, passive before resisted; what a flag withholds is not planned."""
    wanted = item.needed_modes or item.modes
    order = ("active", "passive", "resisted")
    return tuple(m for m in order if m in wanted and view.withheld.why(item, m) is None)


def _gap(problem: PlanProblem, solution: PlanSolution) -> str:
    if solution.proven:
        return ""
    if solution.gap >= problem.weights[1]:
        return "not proven: one that holds more of what must be done may exist"
    return f"not proven: at most {solution.gap / UNITS_A_BIT:.3f} bits more may be possible"


def _bits(view: Outlook, chosen: list[Candidate], worth: PlanWorth) -> PlannedBits | None:
    if view.expected is None:
        return None
    expected = view.expected
    readings = [number for one in chosen for number in one.readings]
    joint: JointGain = joint_gain(
        expected.weighing.mean,
        expected.weighing.evidence,
        readings,
        expected.interest,
        stable_seed(view.record.id, "plan"),
    )
    return PlannedBits(
        single=sum(one.bits for one in chosen),
        discounted=worth.units / UNITS_A_BIT,
        together=joint.bits,
        low=joint.low,
        high=joint.high,
        doubt=joint.before,
    )


def _left_out(found: tuple[Candidate, ...], chosen: set[int]) -> Iterator[LeftOut]:
    for number, one in enumerate(found):
        if one.tier in ASKED_FOR and number not in chosen:
            kind = ASKED_FOR[one.tier]
            yield LeftOut(one.item.id, one.item.label, kind, one.because, one.item.seconds)


def _withheld(view: Outlook) -> Iterator[WithheldItem]:
    for item in view.protocol.items:
        if reason := view.withheld.wholly(item):
            yield WithheldItem(item.id, item.label, reason)


def _said(view: Outlook, found: tuple[Candidate, ...]) -> Iterator[str]:
    """What must be read beside the plan."""
    yield from view.warnings
    if view.why_no_figures:
        yield view.why_no_figures
    elif any(one.bits for one in found):
        yield DISCOUNT_SAID
    yield "Each item on both sides, the side without complaint first; active before passive."
    yield "What is not in the plan stays not examined: it is not normal."
