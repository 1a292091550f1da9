"""Holds a criterion against a record: met, not met, softly met, unknown, or not interpretable.

What was not examined, not asked or in conflict is unknown; it is never read as normal.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from enum import StrEnum
from math import erf, sqrt
from typing import Any

from sidewise.protocol import Protocol, Reading
from sidewise.protocol import criteria as c
from sidewise.record import OTHER, Finding, Record
from sidewise.record.values import LEVELS, MRC_GRADES

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

    @property
    def known(self) -> bool:
        """Whether it says anything, however softly."""
        return self.state in (State.MET, State.NOT_MET, State.SOFT)


UNKNOWN = Verdict(State.UNKNOWN)
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
            if self.criterion(need.criterion, need.item, side).state is State.NOT_MET:
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
        angles = [f for f in self.found(item, side, mode) if _kind(f) == "angle"]
        if not angles:
            return None
        values: list[Any] = [finding.value for finding in angles]
        mean = sum(value.degrees for value in values) / len(values)
        stated = [value.sd for value in values if value.sd is not None]
        error = stated[0] if stated else self.sem(item, mode, values[0].instrument)
        return mean, error or 0.0


def _kind(finding: Finding) -> str:
    return finding.value.kind if finding.value else ""


def _plain(met: bool, because: str = "") -> Verdict:
    return Verdict(State.MET if met else State.NOT_MET, 1.0 if met else 0.0, because)


def _soft(weight: float, because: str) -> Verdict:
    if weight <= CERTAIN or weight >= 1 - CERTAIN:
        return _plain(weight > 0.5, because)
    return Verdict(State.SOFT, weight, because)


def _below(value: float, threshold: float, error: float, what: str) -> Verdict:
    """Whether the true value is at most the threshold, given the reading and its error."""
    if error <= 0:
        return _plain(value <= threshold, what)
    weight = 0.5 * (1 + erf((threshold - value) / (error * sqrt(2))))
    verdict = _soft(weight, what)
    if verdict.state is State.SOFT:
        return replace(verdict, because=f"{what}: within error of {threshold:g}")
    return verdict


def _above(value: float, threshold: float, error: float, what: str) -> Verdict:
    return _below(-value, -threshold, error, what)


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
    kinds: tuple[str, ...], test: Callable[[Any, Any, Any], Verdict]
) -> Callable[[Judge, Any, str, str], Verdict]:
    def judge(judge: Judge, criterion: Any, item: str, side: str) -> Verdict:
        entry = judge.protocol.by_id.get(item)
        modes = (entry.modes if entry else ()) or (None,)
        found = [f for mode in modes for f in judge.found(item, side, mode) if _kind(f) in kinds]
        return _each([test(criterion, finding.value, entry) for finding in found])

    return judge


def _sign(criterion: c.Sign, value: Any, item: Any) -> Verdict:
    grades = item.kind("sign").grades
    needed = grades.index(criterion.at_least) if criterion.at_least else 1
    return _plain(grades.index(value.grade) >= needed, value.grade)


def _tender(criterion: c.Tender, value: Any, _item: Any) -> Verdict:
    return _plain(value.grade >= criterion.at_least, f"tenderness {value.grade}")


def _result(criterion: c.Result, value: Any, item: Any) -> Verdict:
    if value.result == "negative":
        return _plain(False, "negative")
    stated = _aspects_state(criterion, value, item)
    if stated is not True:
        return UNKNOWN if stated is None else _plain(False, f"{value.result}, but not so")
    if value.result == "equivocal":
        return Verdict(State.SOFT, EQUIVOCAL, "equivocal")
    return _plain(True, "positive")


def _aspects_state(criterion: c.Result, value: Any, item: Any) -> bool | None:
    """Whether the aspects asked for were there: True, False, or None if not stated."""
    if any(getattr(value, aspect) for aspect in criterion.without):
        return False
    if criterion.where and value.where is None:
        return None
    if criterion.where and value.where not in criterion.where:
        return False
    if not criterion.aspect:
        return True
    limits = item.kind("result")
    states = [_aspect_state(value, aspect, limits.aspects) for aspect in criterion.aspect]
    if criterion.lag_over is not None and value.lag_degrees is None:
        return None if True in states else False
    if criterion.lag_over is not None and value.lag_degrees < criterion.lag_over:
        return False
    if True in states:
        return True
    return None if None in states else False


def _aspect_state(value: Any, aspect: str, possible: tuple[str, ...]) -> bool | None:
    stated: bool | None = getattr(value, aspect)
    if aspect == "lag" and value.lag_degrees is not None:
        return bool(value.lag_degrees > 0)
    # A manoeuvre that can reproduce one thing only has reproduced that.
    return True if stated is None and possible == (aspect,) else stated


def _power(criterion: c.Power, value: Any, _item: Any) -> Verdict:
    weak = MRC_GRADES.index(value.grade) < MRC_GRADES.index(criterion.below)
    if weak and value.limited_by_pain and not criterion.also_if_painful:
        return Verdict(State.UNKNOWN, because="effort limited by pain, so weakness is not known")
    return _plain(weak, f"grade {value.grade}")


def _one_of(criterion: c.OneOf, value: Any, _item: Any) -> Verdict:
    words = value.chosen if value.kind == "choice" else (getattr(value, value.kind),)
    hit = [word for word in words if word in criterion.values]
    return _plain(bool(hit), ", ".join(hit or words))


def _arc(criterion: c.Arc, value: Any, _item: Any) -> Verdict:
    if value.painless:
        return _plain(False, "no painful part")
    met = value.start < criterion.high and value.end > criterion.low
    return _plain(met, f"pain from {value.start:g} to {value.end:g}")


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
        return _by_eye(judge, item, side, mode)
    value, error = read
    if criterion.at_most is not None:
        return _below(value, criterion.at_most, error, f"{value:g} degrees")
    assert criterion.at_least is not None, "an angle criterion has a threshold"
    return _above(value, criterion.at_least, error, f"{value:g} degrees")


def _by_eye(judge: Judge, item: str, side: str, mode: str | None) -> Verdict:
    """A movement judged normal by eye has no loss; nothing more can be said of it."""
    eye = any(_kind(f) == "normal_by_eye" for f in judge.found(item, side, mode))
    return _plain(False, "normal by eye") if eye else UNKNOWN


def _side_loss(judge: Judge, criterion: c.SideLoss, item: str, side: str) -> Verdict:
    here = judge.degrees(item, side, criterion.mode)
    if here is None:
        return _by_eye(judge, item, side, criterion.mode)
    there = judge.degrees(item, OTHER[side], criterion.mode)
    if there is None or not judge.record.is_yardstick(OTHER[side]):
        return _against_norm(criterion, *here)
    value, error = here
    loss, spread = there[0] - value, sqrt(error**2 + there[1] ** 2)
    by_degrees = _above(loss, criterion.at_least, spread, f"{loss:g} degrees less")
    if criterion.or_fraction is None:
        return by_degrees
    limit = criterion.or_fraction * there[0]
    by_half = _below(value, limit, error, f"{value:g} of {there[0]:g} degrees")
    return max(by_degrees, by_half, key=lambda verdict: verdict.weight)


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
        return UNKNOWN
    gap, spread = passive[0] - active[0], sqrt(active[1] ** 2 + passive[1] ** 2)
    return _above(gap, criterion.at_least, spread, f"active {gap:g} degrees short of passive")


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
    here, there = (_level(judge, item, s) for s in (side, OTHER[side]))
    if here is None or there is None or not judge.record.is_yardstick(OTHER[side]):
        return UNKNOWN
    loss = there - here
    return _plain(loss >= criterion.at_least, f"{loss} levels lower")


def _level(judge: Judge, item: str, side: str) -> int | None:
    entry = judge.protocol.by_id[item]
    for mode in entry.modes or (None,):
        for finding in judge.found(item, side, mode):
            if _kind(finding) == "level":
                return LEVELS.index(finding.value.level)  # type: ignore[union-attr]
    return None


def _vital(judge: Judge, criterion: c.Vital, item: str, side: str) -> Verdict:
    number = judge.record.context.vitals.get(item)
    if number is not None:
        return _vital_value(criterion, number)
    values = [f.value.number for f in judge.found(item, side) if _kind(f) == "vital"]  # type: ignore[union-attr]
    return _each([_vital_value(criterion, value) for value in values])


def _vital_gap(judge: Judge, criterion: c.VitalGap, item: str, side: str) -> Verdict:
    both = [
        [f.value.number for f in judge.found(item, s) if _kind(f) == "vital"]  # type: ignore[union-attr]
        for s in (side, OTHER.get(side, "right"))
    ]
    if not all(both):
        return UNKNOWN
    gap = abs(both[0][0] - both[1][0])
    return _plain(gap >= criterion.at_least, f"{gap:g} between the sides")


def _answer(judge: Judge, criterion: c.Answer, item: str, _side: str) -> Verdict:
    answer = judge.record.context.answer(item)
    if answer in criterion.values:
        return _plain(True, answer)
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
    "sign": _over_values(("sign",), _sign),
    "tenderness": _over_values(("tenderness",), _tender),
    "result": _over_values(("result",), _result),
    "power": _over_values(("mrc",), _power),
    "one_of": _over_values(("choice", "reflex", "sensation", "pulse"), _one_of),
    "arc": _over_values(("arc",), _arc),
    "count": _over_values(("count",), _count),
    "length": _over_values(("length",), _length),
    "seconds": _over_values(("seconds",), _seconds),
    "place": _over_values(("place",), _place),
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
