"""How much was gathered in the time, beside the best plan for the same minutes.

Both are what the items could be expected to tell together *before* they were done, sampled alike
from the network: luck in what was found counts for neither.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from sidewise import network as engine
from sidewise.evidence.fit.fitted import stable_seed
from sidewise.ground.extras import missing_modules
from sidewise.plan.candidates import candidates, plan_problem
from sidewise.plan.joint_gain import joint_gain
from sidewise.plan.outlook import outlook
from sidewise.plan.problem import TELLING
from sidewise.plan.solver import solve_plan
from sidewise.practice.feedback.warrant import Moment, moment_of
from sidewise.practice.room import Attempt, Examine, Room, revealed_record
from sidewise.record import Record

SEARCH_SECONDS = 5.0


@dataclass(frozen=True, slots=True)
class Gathering:
    """What was examined, worth before it was done.

    minutes: of examining, without questions, preparing and closing. bits: expected, with the 95%
    interval of the sampling. best: of what the planner takes for these minutes when bits alone
    count; None where there is none, and then `no_best` says why. best_items: their labels.
    """

    minutes: float
    bits: float
    low: float
    high: float
    best: float | None
    best_items: tuple[str, ...]
    no_best: str = ""

    @property
    def per_minute(self) -> float | None:
        """Bits a minute."""
        return self.bits / self.minutes if self.minutes else None


def gathering(room: Room, attempt: Attempt) -> Gathering:
    """What the learner's items could be expected to tell, and what the best for the time could."""
    start = _asked_only(room, attempt)
    moment = moment_of(start, room.region)
    seconds = sum(
        one.seconds for one in attempt.taken if isinstance(one.step, Examine)
        and not room.protocol.stage_of(room.protocol.by_id[one.step.item]).sets_up
    )  # fmt: skip
    numbers = _readings_done(moment, attempt)
    told = joint_gain(
        moment.network, moment.evidence, numbers, moment.interest,
        stable_seed(start.id, "plan"),
    )  # fmt: skip
    best, items, why = _best(room, start, seconds)
    return Gathering(seconds / 60, told.bits, told.low, told.high, best, items, why)


def _asked_only(room: Room, attempt: Attempt) -> Record:
    """What was known from asking and measuring, before anything was examined."""
    whole = revealed_record(room, attempt)
    return Record(id=whole.id, region=whole.region, context=whole.context)


def _readings_done(moment: Moment, attempt: Attempt) -> list[int]:
    """The most telling reading of each item and side that was examined."""
    seats = moment.layout.seats
    done = {(f.item, f.side) for one in attempt.taken for f in one.findings}
    numbers = [n for n in moment.still if (seats[n].reading.item, seats[n].side) in done]
    if not numbers:
        return []
    gains = engine.gains(moment.network, moment.evidence, numbers, list(moment.interest))
    by_place: dict[str, list[int]] = {}
    for number in numbers:
        by_place.setdefault(f"{seats[number].reading.item}|{seats[number].side}", []).append(number)
    return [gain.reading for gain in gains.best_of(by_place).values()]


def _best(room: Room, start: Record, seconds: int) -> tuple[float | None, tuple[str, ...], str]:
    """What the items chosen by the planner for bits alone could tell together, and which."""
    if missing_modules("planning"):
        return None, (), "The best for the time needs the extra `planning`."
    view = outlook(start, room.region)
    if view.expected is None or seconds <= 0:
        return None, (), view.why_no_figures or "Nothing was examined."
    telling = tuple(
        replace(one, tier=TELLING, because="") for one in candidates(view) if one.bits > 0
    )
    solution = solve_plan(plan_problem(view, telling, seconds), SEARCH_SECONDS)
    chosen = [telling[one.task] for one in solution.order]
    told = joint_gain(
        view.expected.weighing.mean,
        view.expected.weighing.evidence,
        [number for one in chosen for number in one.readings],
        view.expected.interest,
        stable_seed(start.id, "plan"),
    )
    return told.bits, tuple(one.item.label for one in chosen), ""
