"""Holds a criterion against a record: met, not met, softly met, unknown, or not interpretable.

What was not examined, not asked or in conflict is unknown; it is never read as normal.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from enum import StrEnum
from math import erf, sqrt
from typing import Any

from sidewise.kinds import kind_of
from sidewise.kinds.angle import AngleValue
from sidewise.kinds.level import LevelLimits, LevelValue
from sidewise.kinds.mrc import GRADES, REDUCED
from sidewise.kinds.reduced_by_eye import ReducedByEye
from sidewise.kinds.result import LAG, ResultLimits, ResultValue
from sidewise.kinds.vital import VitalValue
from sidewise.protocol import Protocol, Reading
from sidewise.protocol import criteria as c
from sidewise.protocol.fits import NEEDS
from sidewise.record import OTHER, Finding, Record

EQUIVOCAL = 2 / 3
"""How far an equivocal result leans to positive: likelihoods 2 to 1 (our judgement)."""

CERTAIN = 0.025
"""Closer than this to 0 or 1 a soft verdict is a plain one: 1.96 errors from the threshold."""


class State(StrEnum):
    """What a criterion comes to on a record."""

    MET = "met"
    NOT_MET = "not met"
    SOFT = "soft"
    UNKNOWN = "unknown"
    NOT_INTERPRETABLE = "not interpretable"


@dataclass(frozen=True, slots=True)
class Verdict:
    """A criterion's state; for a soft one the weight towards met, in (0, 1); and why."""

    state: State
    weight: float = 0.0
    because: str = ""
    doubt: bool = False
    """Unknown, but something was recorded that may mean it."""

    @property
    def known(self) -> bool:
        """Whether it says anything, however softly."""
        return self.state in (State.MET, State.NOT_MET, State.SOFT)


UNKNOWN = Verdict(State.UNKNOWN)
NORMAL_BY_EYE = "normal by eye"
UNSTATED_ASPECT = Verdict(
    State.UNKNOWN, because="positive, but in which way not stated", doubt=True
)
Sem = Callable[[str, str | None, str | None], float | None]
"""Standard error of one reading in degrees for (item, mode, instrument), if there is a figure."""


def no_error(_item: str, _mode: str | None, _instrument: str | None) -> float | None:
    """For callers that want thresholds taken at their word."""
    return None


@dataclass(frozen=True, slots=True)
class Judge:
    """Judges criteria on one record; each criterion once, however many rules ask for it."""

    protocol: Protocol
    record: Record
    sem: Sem = no_error
    # Verdicts by identity of the criterion, item and side. The criterion is kept beside its
    # verdict, so that its identity cannot pass to another while the judge lives.
    _known: dict[tuple[int, str, str], tuple[c.Criterion, Verdict]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def reading(self, reading: Reading, side: str) -> Verdict:
        """The verdict on a reading, or why it cannot be interpreted."""
        verdict = self.criterion(reading.criterion, reading.item, side)
        if not verdict.known:
            return verdict
        for need in reading.interpretable_when:
            there = self.criterion(need.criterion, need.item, side)
            # Normal by eye meets no criterion of an angle, yet no test needs more than that.
            if there.state is State.NOT_MET and there.because != NORMAL_BY_EYE:
                return Verdict(State.NOT_INTERPRETABLE, because=need.because)
        return verdict

    def criterion(self, criterion: c.Criterion, item: str, side: str) -> Verdict:
        """The verdict on any criterion for one item and side."""
        key = (id(criterion), item, side)
        known = self._known.get(key)
        if known is None:
            verdict = JUDGES[criterion.test](self, criterion, item, side)
            known = self._known[key] = (criterion, verdict)
        return known[1]

    def found(self, item: str, side: str, mode: str | None = None) -> tuple[Finding, ...]:
        """What was examined there; unpaired items answer for every side."""
        known = self.protocol.by_id.get(item)
        where = side if known is None or known.paired else "midline"
        return self.record.examined(item, where, mode)

    def degrees(self, item: str, side: str, mode: str | None) -> tuple[float, float] | None:
        """Mean angle and the standard error of one reading; None if no angle was read."""
        found = (finding.value for finding in self.found(item, side, mode))
        values = [value for value in found if isinstance(value, AngleValue)]
        if not values:
            return None
        mean = sum(value.degrees for value in values) / len(values)
        stated = [value.sd for value in values if value.sd is not None]
        error = stated[0] if stated else self.sem(item, mode, values[0].instrument)
        return mean, error or 0.0

    def levels_lower(self, item: str, side: str) -> int | None:
        """How many levels lower the hand reaches than on the other side; None if not comparable."""
        if not self.record.is_yardstick(OTHER[side]):
            return None
        if (lower := _levels_lower(self, item, side)) is not None:
            return lower
        here, there = (_level(self, item, s) for s in (side, OTHER[side]))
        return None if here is None or there is None else there - here

    def guessed(self, item: str, side: str) -> bool:
        """Whether the active or the passive angle there was read by eye, or nobody said by what."""
        found = (f for mode in ("active", "passive") for f in self.found(item, side, mode))
        return any(f.instrument in (None, "eye") for f in found)


def _kind(finding: Finding) -> str:
    return finding.value.kind if finding.value else ""


def _plain(met: bool, because: str = "") -> Verdict:
    return Verdict(State.MET if met else State.NOT_MET, 1.0 if met else 0.0, because)


def _doubtful(because: str) -> Verdict:
    """Unknown, but what was recorded may mean it: no flag falls silent over it."""
    return Verdict(State.UNKNOWN, because=because, doubt=True)


def _soft(weight: float, because: str) -> Verdict:
    if weight <= CERTAIN or weight >= 1 - CERTAIN:
        return _plain(weight > 0.5, because)
    return Verdict(State.SOFT, weight, because)


def _below(value: float, threshold: float, error: float, what: str) -> Verdict:
    """Whether the true value is at most the threshold, given the reading and its error."""
    if error <= 0:
        return _plain(value <= threshold, what)
    weight = 0.5 * (1 + erf((threshold - value) / (error * sqrt(2))))
    return _near(_soft(weight, what), what, threshold)


def _above(value: float, threshold: float, error: float, what: str) -> Verdict:
    """Whether the true value is at least the threshold, given the reading and its error."""
    if error <= 0:
        return _plain(value >= threshold, what)
    weight = 0.5 * (1 + erf((value - threshold) / (error * sqrt(2))))
    return _near(_soft(weight, what), what, threshold)


def _near(verdict: Verdict, what: str, threshold: float) -> Verdict:
    # Nobody reads a threshold below nought: what was read is said without it.
    if verdict.state is State.SOFT and threshold >= 0:
        return replace(verdict, because=f"{what}: within error of {threshold:g}")
    return verdict


def _each(verdicts: list[Verdict]) -> Verdict:
    """Repeats that agree speak as one; repeats that disagree are equivocal."""
    if not verdicts:
        return UNKNOWN
    states = {verdict.state for verdict in verdicts}
    if len(states) == 1:
        return verdicts[0]
    if states & {State.MET, State.SOFT}:
        return Verdict(State.SOFT, EQUIVOCAL, "repeats disagree")
    return next(verdict for verdict in verdicts if verdict.known)


def _over_values(
    name: str, test: Callable[[Any, Any, Any], Verdict]
) -> Callable[[Judge, Any, str, str], Verdict]:
    """Judges every value of the kinds that the criterion can be asked of."""
    kinds = NEEDS[name]

    def judge(judge: Judge, criterion: Any, item: str, side: str) -> Verdict:
        entry = judge.protocol.by_id.get(item)
        modes = (entry.modes if entry else ()) or (None,)
        found = [f for mode in modes for f in judge.found(item, side, mode) if _kind(f) in kinds]
        return _each([test(criterion, finding.value, entry) for finding in found])

    return judge


def _sign(criterion: c.Sign, value: Any, item: Any) -> Verdict:
    grades = item.kind("sign").grades
    needed = grades.index(criterion.at_least) if criterion.at_least else 1
    if item.kind("sign").is_ungraded(value.grade):
        verdict = _plain(True, NOT_GRADED) if needed <= 1 else _doubtful(NOT_GRADED)
    else:
        verdict = _plain(grades.index(value.grade) >= needed, value.grade)
    if (
        criterion.where
        and value.place not in criterion.where
        and verdict.state is not State.NOT_MET
    ):
        where = f"found {value.place}" if value.place else "where it was found is not said"
        return Verdict(State.UNKNOWN, because=f"{value.grade}: {where}")
    return verdict


def _tender(criterion: c.Tender, value: Any, _item: Any) -> Verdict:
    return _plain(value.grade >= criterion.at_least, f"tenderness {value.grade}")


def _result(criterion: c.Result, value: ResultValue, item: Any) -> Verdict:
    if value.result == "negative":
        return _plain(False, "negative")
    stated = _aspects_state(criterion, value, item)
    if stated is not True:
        return UNSTATED_ASPECT if stated is None else _plain(False, f"{value.result}, but not so")
    if value.result == "equivocal":
        return Verdict(State.SOFT, EQUIVOCAL, "equivocal")
    return _plain(True, "positive")


def _aspects_state(criterion: c.Result, value: ResultValue, item: Any) -> bool | None:
    """Whether the aspects asked for were there: True, False, or None if not stated."""
    if any(value.stated(aspect) for aspect in criterion.without):
        return False
    if criterion.where and value.where is None:
        return None
    if criterion.where and value.where not in criterion.where:
        return False
    if not criterion.aspect:
        return True
    limits: ResultLimits = item.kind("result")
    states = [_aspect_state(value, aspect, limits.aspects) for aspect in criterion.aspect]
    if criterion.lag_over is not None:
        if value.lag_degrees is None:
            return None if True in states else False
        if value.lag_degrees < criterion.lag_over:
            return False
    if True in states:
        return True
    return None if None in states else False


def _aspect_state(value: ResultValue, aspect: str, possible: tuple[str, ...]) -> bool | None:
    stated = value.stated(aspect)
    if aspect == LAG and value.lag_degrees is not None:
        return bool(value.lag_degrees > 0)
    # A manoeuvre that can reproduce one thing only has reproduced that.
    return True if stated is None and possible == (aspect,) else stated


PAIN_LIMITED = "effort limited by pain, so weakness is not known"
WEAK = "weak, not graded"
NOT_GRADED = "present, not graded"


def _power(criterion: c.Power, value: Any, _item: Any) -> Verdict:
    ungraded = value.grade == REDUCED
    weak = ungraded or GRADES.index(value.grade) < GRADES.index(criterion.below)
    if weak and value.limited_by_pain and not criterion.also_if_painful:
        return _doubtful(PAIN_LIMITED)
    if ungraded:
        # Weaker than full power is all that is known of it.
        return _plain(True, WEAK) if criterion.below == GRADES[-1] else _doubtful(WEAK)
    return _plain(weak, f"grade {value.grade}")


def _one_of(criterion: c.OneOf, value: Any, item: Any) -> Verdict:
    read = kind_of(value).words
    assert read is not None, "a kind that is asked for one of its words can name them"
    words = read(value)
    hit = [word for word in words if word in criterion.values]
    unspecified = getattr(item.kind(value.kind), "unspecified", ())
    if not hit and (may_mean := [word for word in words if word in unspecified]):
        return _doubtful(", ".join(may_mean))
    return _plain(bool(hit), ", ".join(hit or words))


def _arc(criterion: c.Arc, value: Any, _item: Any) -> Verdict:
    if value.painless:
        return _plain(False, "no painful part")
    if value.painful:
        return _arc_without_degrees(criterion)
    met = value.start < criterion.high and value.end > criterion.low
    return _plain(met, f"pain from {value.start:g} to {value.end:g}")


MIDDLE_ARC = (60.0, 120.0)
"""What "painful arc" without degrees is taken to mean, in degrees (common practice, no source)."""


def _arc_without_degrees(criterion: c.Arc) -> Verdict:
    because = "painful arc, degrees not stated"
    if criterion.low < MIDDLE_ARC[1] and criterion.high > MIDDLE_ARC[0]:
        return Verdict(State.SOFT, EQUIVOCAL, because)
    return _doubtful(because)


def _count(criterion: c.Count, value: Any, _item: Any) -> Verdict:
    return _plain(value.count >= criterion.at_least, f"count {value.count}")


def _length(criterion: c.Length, value: Any, _item: Any) -> Verdict:
    return _plain(value.cm >= criterion.at_least, f"{value.cm:g} cm")


def _seconds(criterion: c.Seconds, value: Any, _item: Any) -> Verdict:
    if criterion.over is not None:
        # "None came in the time held" is not a time, and says nothing about a slow return.
        slow = not value.none and value.seconds > criterion.over
        return UNKNOWN if value.none else _plain(slow, f"{value.seconds:g} s")
    if value.none:
        return _plain(False, "no symptoms")
    return _plain(value.seconds <= criterion.at_most, f"after {value.seconds:g} s")


def _vital_value(criterion: c.Vital, number: float) -> Verdict:
    low, high = criterion.at_least, criterion.at_most
    met = (low is None or number >= low) and (high is None or number <= high)
    return _plain(met, f"{number:g}")


def _place(criterion: c.PlaceKindIs, value: Any, _item: Any) -> Verdict:
    return _plain(not criterion.what or value.what in criterion.what, value.what)


def _angle(judge: Judge, criterion: c.Angle, item: str, side: str) -> Verdict:
    entry = judge.protocol.by_id[item]
    mode = criterion.mode if entry.modes else None
    read = judge.degrees(item, side, mode)
    if read is None:
        return _angle_by_eye(judge, criterion, item, side, mode)
    value, error = read
    if criterion.at_most is not None:
        return _below(value, criterion.at_most, error, f"{value:g} degrees")
    assert criterion.at_least is not None, "an angle criterion has a threshold"
    return _above(value, criterion.at_least, error, f"{value:g} degrees")


LITTLE_LEFT = 0.9
"""How far "a quarter" or "hardly any" left leans to a large loss: 9 to 1 (our judgement)."""
LOSS_BY_EYE = {"about half": EQUIVOCAL, "about a quarter": LITTLE_LEFT, "hardly any": LITTLE_LEFT}
"""How far what is left by eye leans to a loss of half, or of 30 degrees (our judgement).

"Reduced" and "about three quarters" may be either side of such a threshold: they are left open.
"""
HARDLY_ANY = 45.0
"""Degrees that no movement with hardly any range left is thought to reach (our judgement)."""


def _reduced(judge: Judge, item: str, side: str, mode: str | None) -> ReducedByEye | None:
    values = (finding.value for finding in judge.found(item, side, mode))
    return next((value for value in values if isinstance(value, ReducedByEye)), None)


def _full(judge: Judge, item: str, side: str, mode: str | None) -> bool:
    return any(_kind(finding) == "normal_by_eye" for finding in judge.found(item, side, mode))


def _because(reduced: ReducedByEye) -> str:
    some = "" if reduced.range == "reduced" else f" to {reduced.range}"
    return f"reduced{some} by eye, not measured"


def _by_eye(judge: Judge, item: str, side: str, mode: str | None) -> Verdict:
    """A loss, of a movement without a number: none if full by eye; by how much is left if not."""
    if (reduced := _reduced(judge, item, side, mode)) is not None:
        weight = LOSS_BY_EYE.get(reduced.range)
        because = _because(reduced)
        return _doubtful(because) if weight is None else Verdict(State.SOFT, weight, because)
    return _plain(False, NORMAL_BY_EYE) if _full(judge, item, side, mode) else UNKNOWN


def _angle_by_eye(
    judge: Judge, criterion: c.Angle, item: str, side: str, mode: str | None
) -> Verdict:
    """A number of degrees, of a movement without one: what is reduced never equals a number."""
    reduced, most = _reduced(judge, item, side, mode), criterion.at_most
    if reduced is None:
        # A full range is no loss, and reaches what a manoeuvre needs of it.
        full = _full(judge, item, side, mode)
        return _plain(most is None, NORMAL_BY_EYE) if full else UNKNOWN
    if reduced.range == "hardly any" and most is not None and most >= HARDLY_ANY:
        return Verdict(State.SOFT, LITTLE_LEFT, _because(reduced))
    return _doubtful(_because(reduced))


def _side_loss(judge: Judge, criterion: c.SideLoss, item: str, side: str) -> Verdict:
    here = judge.degrees(item, side, criterion.mode)
    if here is None:
        return _by_eye(judge, item, side, criterion.mode)
    there = judge.degrees(item, OTHER[side], criterion.mode)
    if there is None or not judge.record.is_yardstick(OTHER[side]):
        return _against_norm(criterion, *here)
    value, error = here
    loss, spread = there[0] - value, sqrt(error**2 + there[1] ** 2)
    by_degrees = _above(loss, criterion.at_least, spread, _less(loss))
    # A part of nothing, or of less than nothing, is no threshold.
    if criterion.or_fraction is None or there[0] <= 0:
        return by_degrees
    limit = criterion.or_fraction * there[0]
    by_half = _below(value, limit, error, f"{value:g} of {there[0]:g} degrees")
    return max(by_degrees, by_half, key=lambda verdict: verdict.weight)


def _less(loss: float) -> str:
    return f"{abs(loss):g} degrees {'less' if loss >= 0 else 'more'} than the other side"


def _against_norm(criterion: c.SideLoss, value: float, error: float) -> Verdict:
    if criterion.norm_at_most is None:
        return Verdict(State.UNKNOWN, because="the other side is no yardstick here")
    return _below(value, criterion.norm_at_most, error, f"{value:g} degrees")


def _side_gain(judge: Judge, criterion: c.SideGain, item: str, side: str) -> Verdict:
    here = judge.degrees(item, side, criterion.mode)
    there = judge.degrees(item, OTHER[side], criterion.mode)
    if here is None or there is None or not judge.record.is_yardstick(OTHER[side]):
        return UNKNOWN
    gain, spread = here[0] - there[0], sqrt(here[1] ** 2 + there[1] ** 2)
    return _above(gain, criterion.at_least, spread, f"{gain:g} degrees more")


def _active_gap(judge: Judge, criterion: c.ActiveGap, item: str, side: str) -> Verdict:
    active = judge.degrees(item, side, "active")
    passive = judge.degrees(item, side, "passive")
    if active is None or passive is None:
        return _gap_by_eye(judge, item, side)
    gap, spread = passive[0] - active[0], sqrt(active[1] ** 2 + passive[1] ** 2)
    by_eye = criterion.by_eye if judge.guessed(item, side) else None
    limit = criterion.at_least if by_eye is None else by_eye
    return _above(gap, limit, spread, f"active {gap:g} degrees short of passive")


def _gap_by_eye(judge: Judge, item: str, side: str) -> Verdict:
    """Active range seen to be reduced while passive range was seen to be full."""
    reduced = _reduced(judge, item, side, "active")
    if reduced is None:
        return UNKNOWN
    because = f"active range {_because(reduced)}"
    if not _full(judge, item, side, "passive"):
        return _doubtful(because)
    weight = LOSS_BY_EYE.get(reduced.range)
    full = f"{because}; passive full by eye"
    return _doubtful(full) if weight is None else Verdict(State.SOFT, weight, full)


def _movement_pain(judge: Judge, criterion: c.PainOnMovement, item: str, side: str) -> Verdict:
    found = judge.found(item, side, criterion.mode)
    stated = [getattr(f.value, "pain", None) for f in found]
    known = [pain for pain in stated if pain is not None]
    return _each([_plain(pain, "pain on movement") for pain in known])


def _end_feel(judge: Judge, criterion: c.EndFeel, item: str, side: str) -> Verdict:
    found = judge.found(item, side, criterion.mode)
    feels = [getattr(finding.value, "end_feel", None) for finding in found]
    return _each([_plain(f in criterion.values, f"{f} end feel") for f in feels if f is not None])


def _level_loss(judge: Judge, criterion: c.LevelLoss, item: str, side: str) -> Verdict:
    if not judge.record.is_yardstick(OTHER[side]):
        return UNKNOWN
    loss = judge.levels_lower(item, side)
    if loss is None:
        return _reach_by_eye(judge, item, side) or UNKNOWN
    return _plain(loss >= criterion.at_least, f"{loss} levels lower")


def _level(judge: Judge, item: str, side: str) -> int | None:
    entry = judge.protocol.by_id[item]
    limits = entry.kind("level")
    for mode in entry.modes or (None,):
        for finding in judge.found(item, side, mode):
            level = finding.value.level if isinstance(finding.value, LevelValue) else None
            if level is not None and isinstance(limits, LevelLimits):
                return limits.rung(level)
    return None


def _levels_lower(judge: Judge, item: str, side: str) -> int | None:
    """How many levels lower than the other side, where that was said in place of a level."""
    modes = judge.protocol.by_id[item].modes or (None,)
    values = (f.value for mode in modes for f in judge.found(item, side, mode))
    lower = (value.lower_by for value in values if isinstance(value, LevelValue))
    return next((number for number in lower if number is not None), None)


def _reach_by_eye(judge: Judge, item: str, side: str) -> Verdict | None:
    """A reach seen to be reduced and not counted in levels."""
    if _level(judge, item, side) is not None:
        return None
    for mode in judge.protocol.by_id[item].modes or (None,):
        if (reduced := _reduced(judge, item, side, mode)) is not None:
            # Halves of a reach are not counted in levels: only next to nothing leans to a loss.
            if LOSS_BY_EYE.get(reduced.range) == LITTLE_LEFT:
                return Verdict(State.SOFT, LITTLE_LEFT, _because(reduced))
            return _doubtful(_because(reduced))
    return None


def _vital(judge: Judge, criterion: c.Vital, item: str, side: str) -> Verdict:
    number = judge.record.context.vitals.get(item)
    if number is not None:
        return _vital_value(criterion, number)
    if item in judge.protocol.vitals_by_id:
        return UNKNOWN
    return _each([_vital_value(criterion, number) for number in _vitals(judge, item, side)])


def _vitals(judge: Judge, item: str, side: str) -> list[float]:
    found = (finding.value for finding in judge.found(item, side))
    return [value.number for value in found if isinstance(value, VitalValue)]


def _vital_gap(judge: Judge, criterion: c.VitalGap, item: str, side: str) -> Verdict:
    both = [_vitals(judge, item, s) for s in (side, OTHER.get(side, "right"))]
    if not all(both):
        return UNKNOWN
    gap = abs(both[0][0] - both[1][0])
    return _plain(gap >= criterion.at_least, f"{gap:g} between the sides")


def _answer(judge: Judge, criterion: c.Answer, item: str, _side: str) -> Verdict:
    answer = judge.record.context.answer(item)
    if answer in criterion.values:
        return _plain(True, answer)
    if answer == "unsure":
        return Verdict(State.UNKNOWN, because="not sure", doubt=True)
    return _plain(False, answer) if answer in ("yes", "no") else UNKNOWN


def _normal(judge: Judge, criterion: c.AllNormal, item: str, side: str) -> Verdict:
    from sidewise.record import is_normal

    entry = judge.protocol.by_id[item]
    states: list[Verdict] = []
    for mode in (criterion.mode,) if criterion.mode else entry.modes or (None,):
        for finding in judge.found(item, side, mode):
            kind = entry.kind(_kind(finding))
            normal = is_normal(finding, kind) if kind else None
            states.append(UNKNOWN if normal is None else _plain(normal))
    return _each(states)


JUDGES: dict[str, Callable[[Judge, Any, str, str], Verdict]] = {
    "sign": _over_values("sign", _sign),
    "tenderness": _over_values("tenderness", _tender),
    "result": _over_values("result", _result),
    "power": _over_values("power", _power),
    "one_of": _over_values("one_of", _one_of),
    "arc": _over_values("arc", _arc),
    "count": _over_values("count", _count),
    "length": _over_values("length", _length),
    "seconds": _over_values("seconds", _seconds),
    "place": _over_values("place", _place),
    "angle": _angle,
    "side_loss": _side_loss,
    "side_gain": _side_gain,
    "active_gap": _active_gap,
    "movement_pain": _movement_pain,
    "end_feel": _end_feel,
    "level_loss": _level_loss,
    "vital": _vital,
    "vital_gap": _vital_gap,
    "answer": _answer,
    "normal": _normal,
}
# A new criterion cannot be left without a judgement.
assert set(JUDGES) == set(c.TESTS)
