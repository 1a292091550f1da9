"""How the students of a class are doing: from what was kept of each finished case, and no more.

Thresholds are our judgement, said beside each: they point a teacher to somebody, they judge nobody.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sidewise.practice.feedback import Feedback

FAR_APART = 0.25
"""A stated and a warranted chance further apart than this are called misjudged (our judgement)."""
RECENT = 3
"""Cases that are looked at for who needs help: the latest (our judgement)."""
MUCH_WORSE = 0.1
"""A Brier score so much above that of perfect reading, over the latest cases (our judgement)."""

Outcome = Mapping[str, Any]


def case_outcome(told: Feedback) -> dict[str, Any]:
    """The figures of one finished case that progress and calibration need, as plain data."""
    return {
        "brier": told.stated.brier,
        "perfect": told.perfect.brier,
        "flags_missed": [one.label for one in told.flags_missed],
        "one_thing": told.one_thing.kind,
        "groups": [
            {"label": one.label, "stated": one.stated, "warranted": one.warranted,
             "there": one.there}
            for one in told.groups
        ],
    }  # fmt: skip


@dataclass(frozen=True, slots=True)
class StudentStanding:
    """One student over their cases, the latest first.

    excess: mean Brier score above that of perfect reading, over the latest cases; None without
    any. help_because: why a teacher might look; empty where nothing points there.
    """

    student: str
    cases: int
    flags_missed: int
    excess: float | None
    help_because: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Misjudged:
    """A group or a flag, and how many students misjudged or missed it at least once."""

    label: str
    students: int
    of: int
    times: int


@dataclass(frozen=True, slots=True)
class ClassProgress:
    """A class: its students in the given order; what is misjudged and missed by most, first."""

    students: tuple[StudentStanding, ...]
    misjudged: tuple[Misjudged, ...]
    flags_missed: tuple[Misjudged, ...]


def class_progress(outcomes: Mapping[str, Sequence[Outcome]]) -> ClassProgress:
    """The progress of a class. outcomes: those of each student, the latest first."""
    return ClassProgress(
        tuple(_student(name, there) for name, there in outcomes.items()),
        _by_most(outcomes, _misjudged_in),
        _by_most(outcomes, lambda one: list(one["flags_missed"])),
    )


def _student(name: str, outcomes: Sequence[Outcome]) -> StudentStanding:
    recent = outcomes[:RECENT]
    excess = sum(one["brier"] - one["perfect"] for one in recent) / len(recent) if recent else None
    missed = sum(len(one["flags_missed"]) for one in outcomes)
    return StudentStanding(name, len(outcomes), missed, excess, _help(recent, excess))


def _help(recent: Sequence[Outcome], excess: float | None) -> tuple[str, ...]:
    missed = list(dict.fromkeys(label for one in recent for label in one["flags_missed"]))
    why = [f"missed of late: {label}" for label in missed]
    if excess is not None and excess >= MUCH_WORSE:
        why.append(f"Brier score {excess:.2f} above perfect reading over the latest {len(recent)}")
    return tuple(why)


def _misjudged_in(one: Outcome) -> list[str]:
    return [g["label"] for g in one["groups"] if abs(g["stated"] - g["warranted"]) > FAR_APART]


def _by_most(outcomes: Mapping[str, Sequence[Outcome]], labels: Any) -> tuple[Misjudged, ...]:
    who: dict[str, set[str]] = {}
    times: dict[str, int] = {}
    for name, there in outcomes.items():
        for label in (label for one in there for label in labels(one)):
            who.setdefault(label, set()).add(name)
            times[label] = times.get(label, 0) + 1
    played = sum(bool(there) for there in outcomes.values())
    found = [Misjudged(label, len(names), played, times[label]) for label, names in who.items()]
    return tuple(sorted(found, key=lambda one: (-one.students, -one.times, one.label)))
