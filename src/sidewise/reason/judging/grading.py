"""By how much a finding weighs: grades under and over a reading's threshold, and plain positives.

A criterion is met or not. Between "normal" and its threshold a finding is neither, and far beyond
it is more than just over it. Here each gets its weight (`Verdict.weight`) or, beyond the threshold,
its strength; both come from the region's `grading.yaml`. Red flags and everything else that asks
whether a criterion is met take thresholds at their word.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import erf, sqrt
from typing import Any

from pydantic import Field, model_validator

from sidewise.errors import UserError
from sidewise.ground.frozen import Frozen
from sidewise.ground.provenance import Provenance
from sidewise.ground.validation import validate_model
from sidewise.kinds.mrc import GRADES, REDUCED, Grade
from sidewise.kinds.result import ResultLimits, ResultValue
from sidewise.kinds.sign import SignLimits
from sidewise.knowledge.region import Region
from sidewise.protocol import Item, Reading, protocol_of
from sidewise.protocol import criteria as c
from sidewise.reason.judging.judge import CERTAIN, Judge, State, Verdict
from sidewise.record import OTHER

FILE = "grading.yaml"
NEUTRAL = 0.5
"""A weight that speaks neither for a reading nor against it."""
REACH = 4.0
"""The weight of a loss rises from 2% to 98% over four standard deviations."""


class Louder(Frozen):
    """What a stronger finding multiplies: its leak, and links of levels below the highest."""

    leak: float = Field(default=1.0, gt=0, le=1)
    lower: float = Field(default=1.0, gt=0, le=1)

    @property
    def speaks_up(self) -> bool:
        """Whether it multiplies anything."""
        return self.leak < 1 or self.lower < 1


AS_USUAL = Louder()
"""Of a finding that is no stronger than those of the studies."""


class Weighted(Frozen):
    """One weight and where it comes from."""

    weight: float = Field(gt=0, lt=1)
    basis: tuple[Provenance, ...] = Field(min_length=1)


class SignGrading(Louder):
    """For each grade of a sign above the threshold; `except` are readings of other grades."""

    excepted: tuple[str, ...] = Field(default=(), alias="except")
    basis: tuple[Provenance, ...] = Field(min_length=1)


class TenderGrading(Frozen):
    """The weight of one grade of tenderness that meets its threshold."""

    grade: int = Field(ge=1, le=3)
    weight: float = Field(gt=0.5, lt=1)
    basis: tuple[Provenance, ...] = Field(min_length=1)


class PowerGrading(Louder):
    """One grade of power: a weight below 1 where it hardly differs from normal."""

    grade: Grade
    weight: float = Field(default=1.0, gt=0.5, le=1)
    basis: tuple[Provenance, ...] = Field(min_length=1)


class Beyond(Louder):
    """From so many times the threshold."""

    times: float = Field(gt=1)


class BeyondDegrees(Louder):
    """From so many degrees of lag."""

    degrees: float = Field(gt=0)


class LossGrading(Frozen):
    """How a loss weighs: nothing up to a part of the threshold, louder beyond it."""

    nothing: float = Field(ge=0, lt=1)
    level_error: float = Field(gt=0)
    beyond: tuple[Beyond, ...] = ()
    basis: tuple[Provenance, ...] = Field(min_length=1)


class LagGrading(Frozen):
    """How a lag weighs beyond its threshold."""

    beyond: tuple[BeyondDegrees, ...] = ()
    basis: tuple[Provenance, ...] = Field(min_length=1)


class AgeGrading(Louder):
    """What being younger than so many years multiplies, whether the reading is seen or not.

    It is no grade: the other causes that studies saw are rarer in the young.
    """

    readings: tuple[str, ...] = Field(min_length=1)
    below: int = Field(gt=0, le=120)
    basis: tuple[Provenance, ...] = Field(min_length=1)


class Grading(Frozen):
    """The file; weights never fall and factors never rise with the grade."""

    plain_positive: Weighted
    less_than_asked: Weighted
    sign: SignGrading
    tenderness: tuple[TenderGrading, ...] = ()
    power: tuple[PowerGrading, ...] = ()
    loss: LossGrading
    lag: LagGrading
    by_age: tuple[AgeGrading, ...] = ()

    @model_validator(mode="after")
    def _monotone(self) -> Grading:
        if any(one.grade == REDUCED for one in self.power):
            raise ValueError("power: grades only; weakness without one weighs as the mildest")
        power = sorted(self.power, key=lambda one: -GRADES.index(one.grade))
        mild = sorted(self.tenderness, key=lambda one: one.grade)
        _falling("power", power)
        losses = sorted(self.loss.beyond, key=lambda one: one.times)
        lags = sorted(self.lag.beyond, key=lambda one: one.degrees)
        _falling("loss.beyond", losses)
        _falling("lag.beyond", lags)
        _rising("power", [one.weight for one in power])
        _rising("tenderness", [one.weight for one in mild])
        if self.less_than_asked.weight < NEUTRAL:
            raise ValueError("less_than_asked: 0.5 or more, never against a finding")
        return self


def _falling(place: str, ordered: Sequence[Louder]) -> None:
    if any(a.leak < b.leak or a.lower < b.lower for a, b in pairwise(ordered)):
        raise ValueError(f"{place}: leak and lower that do not rise with the grade")


def _rising(place: str, weights: Sequence[float]) -> None:
    if any(a > b for a, b in pairwise(weights)):
        raise ValueError(f"{place}: weights that do not fall with the grade")


def grading_of(region: Region) -> Grading | None:
    """How findings of a region are graded; None where it does not say. UserErrors if wrong."""
    return region.view(_grading)


def _grading(region: Region) -> Grading | None:
    if not region.has("grading"):
        return None
    found = validate_model(Grading, region.part("grading"), FILE)
    known = protocol_of(region).readings_by_id
    named = [("sign.except", name) for name in found.sign.excepted]
    named += [("by_age.readings", name) for one in found.by_age for name in one.readings]
    for place, name in named:
        if name not in known:
            raise UserError(f"{FILE}: {place}", name, "the id of a reading")
    return found


@dataclass(frozen=True, slots=True)
class Graded:
    """A reading as it weighs: its verdict, how loudly it speaks, and whether the way is unstated.

    unstated: it was positive, but how or where was not said, so that it only leans that way.
    """

    verdict: Verdict
    louder: Louder = AS_USUAL
    unstated: bool = False


def graded_verdict(judge: Judge, reading: Reading, side: str, grading: Grading | None) -> Graded:
    """The verdict on a reading, by its grade; `judge.reading` where the region has no grading."""
    plain = judge.reading(reading, side)
    grade = GRADERS.get(reading.criterion.test)
    if grading is None or grade is None or plain.state is State.NOT_INTERPRETABLE:
        return Graded(plain)
    return _by_age(grade(_Case(judge, reading, side, grading), plain), judge, reading, grading)


def _by_age(graded: Graded, judge: Judge, reading: Reading, grading: Grading) -> Graded:
    """The same, with what the person's age multiplies; an unknown age multiplies nothing."""
    age = judge.record.context.age
    for one in grading.by_age:
        if age is not None and age < one.below and reading.id in one.readings:
            here = graded.louder
            both = Louder(leak=here.leak * one.leak, lower=here.lower * one.lower)
            graded = replace(graded, louder=both)
    return graded


@dataclass(frozen=True, slots=True)
class _Case:
    judge: Judge
    reading: Reading
    side: str
    grading: Grading

    @property
    def item(self) -> Item | None:
        """The item of the reading, None for a question."""
        return self.judge.protocol.by_id.get(self.reading.item)

    def value(self, kind: str) -> Any:
        """The one value of this kind that was found; None where there is none, or several."""
        item = self.item
        modes = (item.modes if item else ()) or (None,)
        found = {
            f.value
            for mode in modes
            for f in self.judge.found(self.reading.item, self.side, mode)
            if f.value is not None and f.value.kind == kind
        }
        return found.pop() if len(found) == 1 else None


def _soft(weight: float, because: str) -> Verdict:
    if abs(weight - NEUTRAL) < 1e-9:
        return Verdict(State.UNKNOWN, because=because)
    if weight <= CERTAIN:
        return Verdict(State.NOT_MET, 0.0, because)
    if weight >= 1 - CERTAIN:
        return Verdict(State.MET, 1.0, because)
    return Verdict(State.SOFT, weight, because)


def _less(case: _Case, word: str) -> Graded:
    return Graded(_soft(case.grading.less_than_asked.weight, f"{word}: less than is asked for"))


def _sign(case: _Case, plain: Verdict) -> Graded:
    value, item, criterion = case.value("sign"), case.item, case.reading.criterion
    if value is None or item is None or case.reading.id in case.grading.sign.excepted:
        return Graded(plain)
    assert isinstance(criterion, c.Sign), "chosen by its test"
    limits = item.kind("sign")
    assert isinstance(limits, SignLimits), "an item with such a value has its limits"
    if limits.is_ungraded(value.grade):
        # It is there, and of no grade: neither less than is asked for nor louder.
        return Graded(plain)
    grades = limits.grades
    here = grades.index(value.grade)
    needed = grades.index(criterion.at_least) if criterion.at_least else 1
    if 0 < here < needed:
        return _less(case, value.grade)
    steps = max(here - needed, 0)
    louder = case.grading.sign
    return Graded(plain, Louder(leak=louder.leak**steps, lower=louder.lower**steps))


def _tender(case: _Case, plain: Verdict) -> Graded:
    value, criterion = case.value("tenderness"), case.reading.criterion
    if value is None:
        return Graded(plain)
    assert isinstance(criterion, c.Tender), "chosen by its test"
    if 0 < value.grade < criterion.at_least:
        return _less(case, f"tenderness {value.grade}")
    for one in case.grading.tenderness:
        if one.grade == value.grade and plain.state is State.MET:
            return Graded(_soft(one.weight, f"tenderness {value.grade}: mild"))
    return Graded(plain)


def _power(case: _Case, plain: Verdict) -> Graded:
    value = case.value("mrc")
    if value is None or plain.state is not State.MET:
        return Graded(plain)
    if value.grade == REDUCED:
        # Weak by nobody says how much: it may be as little as the mildest grade.
        mildest = min((one.weight for one in case.grading.power), default=1.0)
        return Graded(_soft(mildest, plain.because))
    for one in case.grading.power:
        if one.grade == value.grade:
            return Graded(_soft(one.weight, f"grade {value.grade}"), one)
    return Graded(plain)


def _result(case: _Case, plain: Verdict) -> Graded:
    value, item, criterion = case.value("result"), case.item, case.reading.criterion
    if not isinstance(value, ResultValue) or item is None:
        return Graded(plain)
    assert isinstance(criterion, c.Result), "chosen by its test"
    if plain.state is State.UNKNOWN and plain.doubt:
        return _plain_positive(case, value, criterion, item)
    if plain.state is State.MET and value.lag_degrees is not None and "lag" in criterion.aspect:
        return Graded(plain, _reached(case.grading.lag.beyond, value.lag_degrees, "degrees"))
    return Graded(plain)


def _plain_positive(case: _Case, value: ResultValue, criterion: c.Result, item: Item) -> Graded:
    """Positive, but how or where was not stated."""
    limits = item.kind("result")
    assert isinstance(limits, ResultLimits), "an item with such a value has its limits"
    every_way = set(limits.aspects) <= set(criterion.aspect) and not criterion.where
    if every_way and value.result == "positive":
        return Graded(Verdict(State.MET, 1.0, "positive"))
    weight = case.grading.plain_positive.weight
    if value.result == "equivocal":
        # Doubted as a whole, and in which way it would be positive is not said: half as far.
        weight = (weight + NEUTRAL) / 2
    return Graded(_soft(weight, "positive, but in which way was not stated"), unstated=True)


def _reached(beyond: Sequence[Any], amount: float, name: str) -> Louder:
    found = [one for one in beyond if getattr(one, name) <= amount]
    return max(found, key=lambda one: getattr(one, name)) if found else AS_USUAL


@dataclass(frozen=True, slots=True)
class _Loss:
    """One way of measuring a loss: how much, the threshold, the standard error, and in words."""

    lost: float
    threshold: float
    error: float
    words: str
    nothing: float | None = None


def _lost(case: _Case, plain: Verdict, ways: Iterator[_Loss]) -> Graded:
    found = [_graded_loss(case.grading.loss, way) for way in ways]
    if not found or not plain.known:
        return Graded(plain)
    return max(found, key=lambda one: (one.verdict.weight, -one.louder.leak))


def _graded_loss(grading: LossGrading, way: _Loss) -> Graded:
    nothing = grading.nothing * way.threshold if way.nothing is None else way.nothing
    middle, width = (nothing + way.threshold) / 2, way.threshold - nothing
    sd = sqrt(way.error**2 + (width / REACH) ** 2)
    weight = 0.5 * (1 + erf((way.lost - middle) / (sd * sqrt(2))))
    verdict = _soft(weight, way.words)
    if verdict.state is State.SOFT:
        verdict = replace(verdict, because=f"{way.words}: part of what is asked for")
    times = (way.lost - nothing) / width
    louder = _reached(grading.beyond, times, "times")
    return Graded(verdict, louder if verdict.state is State.MET else AS_USUAL)


def _side_loss(case: _Case, plain: Verdict) -> Graded:
    return _lost(case, plain, _side_losses(case))


def _side_losses(case: _Case) -> Iterator[_Loss]:
    judge, item, side, criterion = case.judge, case.reading.item, case.side, case.reading.criterion
    assert isinstance(criterion, c.SideLoss), "chosen by its test"
    here = judge.degrees(item, side, criterion.mode)
    if here is None:
        return
    value, error = here
    there = judge.degrees(item, OTHER[side], criterion.mode) if side in OTHER else None
    if there is None or not judge.record.is_yardstick(OTHER[side]):
        norm = criterion.norm_at_most
        if norm is not None:
            margin = (1 - case.grading.loss.nothing) * criterion.at_least
            yield _Loss(-value, -norm, error, f"{value:g} degrees", nothing=-norm - margin)
        return
    loss = there[0] - value
    less = f"{abs(loss):g} degrees {'less' if loss >= 0 else 'more'} than the other side"
    yield _Loss(loss, criterion.at_least, sqrt(error**2 + there[1] ** 2), less)
    if criterion.or_fraction is not None and there[0] > 0:
        part = f"{value:g} of {there[0]:g} degrees"
        yield _Loss(1 - value / there[0], 1 - criterion.or_fraction, error / there[0], part)


def _active_gap(case: _Case, plain: Verdict) -> Graded:
    return _lost(case, plain, _gaps(case))


def _gaps(case: _Case) -> Iterator[_Loss]:
    judge, item, side, criterion = case.judge, case.reading.item, case.side, case.reading.criterion
    assert isinstance(criterion, c.ActiveGap), "chosen by its test"
    active, passive = (judge.degrees(item, side, mode) for mode in ("active", "passive"))
    if active is None or passive is None:
        return
    gap = passive[0] - active[0]
    by_eye = criterion.by_eye if judge.guessed(item, side) else None
    limit = criterion.at_least if by_eye is None else by_eye
    words = f"active {gap:g} degrees short of passive"
    yield _Loss(gap, limit, sqrt(active[1] ** 2 + passive[1] ** 2), words)


def _level_loss(case: _Case, plain: Verdict) -> Graded:
    return _lost(case, plain, _levels_lost(case))


def _levels_lost(case: _Case) -> Iterator[_Loss]:
    judge, item, side, criterion = case.judge, case.reading.item, case.side, case.reading.criterion
    assert isinstance(criterion, c.LevelLoss), "chosen by its test"
    lost = judge.levels_lower(item, side)
    if lost is not None:
        error = case.grading.loss.level_error
        yield _Loss(lost, criterion.at_least, error, f"{lost} levels lower")


GRADERS: dict[str, Callable[[_Case, Verdict], Graded]] = {
    "sign": _sign,
    "tenderness": _tender,
    "power": _power,
    "result": _result,
    "side_loss": _side_loss,
    "active_gap": _active_gap,
    "level_loss": _level_loss,
}
"""Criteria whose findings have an amount; of all others a verdict is what it is."""
