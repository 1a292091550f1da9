"""Progress, findings weighed wrongly by most, and who needs help, over a class's finished cases."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from scipy.special import stdtrit

from sidewise.practice.class_figures.one_case import NOT_COMPARED, WRONG_SIDE, PlayedCase, Weighed
from sidewise.practice.feedback.advice import WEIGHED_WRONG
from sidewise.practice.feedback.scores import exact_interval

LATEST = 3
"""Cases from the latest back by which somebody is said to need help (our judgement)."""
OFTEN = 2
"""So many of the latest with one side alone, and it is a habit (our judgement)."""
FAR = 0.05
"""Brier score beyond perfect reading that is worth a talk: a chance 0.2 off (our judgement)."""


@dataclass(frozen=True, slots=True)
class StudentProgress:
    """One student. last: the latest case. with_flags: cases with a flag missed.

    excess: mean Brier score beyond perfect reading of the same findings, with the 95% interval of
    the mean (Student's t), None below two cases; recent: of the latest cases alone. help_with: why
    help is needed, what is gravest first; empty where nothing says so.
    """

    student: str
    cases: int
    last: datetime | None
    with_flags: int
    excess: float | None
    low: float | None
    high: float | None
    recent: float | None
    minutes: float | None
    help_with: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FindingMisread:
    """A finding against which chances were stated, of the cases in which it moved one most.

    students: how many did. share of the cases, with its 95% interval (Clopper-Pearson; cases of
    one student are not independent, so it is rather too narrow).
    """

    finding: str
    about: str
    students: int
    cases: int
    of: int
    share: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class LeftOut:
    """An item and what was wrong with it: by how many students, in how many cases."""

    item: str
    what: str
    students: int
    cases: int


@dataclass(frozen=True)
class ClassFigures:
    """Everything. progress: who needs help first. Lists: what concerns most students first."""

    students: int
    cases: int
    progress: tuple[StudentProgress, ...]
    misread: tuple[FindingMisread, ...]
    left_out: tuple[LeftOut, ...]
    flags_missed: tuple[LeftOut, ...]


def class_figures(members: Iterable[str], played: Sequence[PlayedCase]) -> ClassFigures:
    """The figures of a class. members: every student, also those who have not begun."""
    names = tuple(dict.fromkeys(members))
    own = [one for one in played if one.student in set(names)]
    progress = [student_progress(name, own) for name in names]
    return ClassFigures(
        len(names),
        len(own),
        tuple(sorted(progress, key=lambda one: (-len(one.help_with), one.student))),
        tuple(_misread(own)),
        tuple(_left_out((case, what, item) for case in own for what, items in case.left.items()
                        for item in items)),
        tuple(_left_out((case, "flag missed", flag) for case in own for flag in case.flags)),
    )  # fmt: skip


def student_progress(student: str, played: Sequence[PlayedCase]) -> StudentProgress:
    """How one student stands, by their cases in the order of time."""
    own = sorted((one for one in played if one.student == student), key=lambda one: one.at)
    if not own:
        return StudentProgress(
            student, 0, None, 0, None, None, None, None, None, ("has not finished a case",)
        )
    excess = np.array([one.excess for one in own])
    low, high = mean_interval(excess)
    return StudentProgress(
        student=student,
        cases=len(own),
        last=own[-1].at,
        with_flags=sum(bool(one.flags) for one in own),
        excess=float(excess.mean()),
        low=low,
        high=high,
        recent=float(excess[-LATEST:].mean()),
        minutes=sum(one.seconds for one in own) / len(own) / 60,
        help_with=tuple(_help_with(own[-LATEST:], low)),
    )


def mean_interval(values: np.ndarray) -> tuple[float | None, float | None]:
    """95% interval of a mean by Student's t (Biometrika 1908; 6: 1-25); None below two values."""
    count = len(values)
    if count < 2:
        return None, None
    half = stdtrit(count - 1, 0.975) * values.std(ddof=1) / count**0.5
    return float(values.mean() - half), float(values.mean() + half)


def _help_with(latest: Sequence[PlayedCase], low: float | None) -> Iterator[str]:
    """Why, by the latest cases; a flag missed once is enough, whatever the scores."""
    if flags := dict.fromkeys(flag for one in latest for flag in one.flags):
        yield f"missed a flag: {'; '.join(flags)}"
    sides = sum(bool(one.left[NOT_COMPARED] or one.left[WRONG_SIDE]) for one in latest)
    if sides >= OFTEN:
        yield f"examined one side alone in {sides} of the latest {len(latest)}"
    if low is not None and low > FAR:
        yield "states chances further from the truth than the findings allow"


def _misread(played: Sequence[PlayedCase]) -> Iterator[FindingMisread]:
    seen: Counter[tuple[str, str]] = Counter()
    wrong: defaultdict[tuple[str, str], list[str]] = defaultdict(list)
    for case in played:
        for group in case.weighed:
            for finding in {_without_side(one) for one in group.because}:
                seen[finding, group.label] += 1
                if _against(finding, group):
                    wrong[finding, group.label].append(case.student)
    rows = [(key, who) for key, who in wrong.items()]
    for (finding, about), who in sorted(rows, key=lambda row: (-len(set(row[1])), -len(row[1]))):
        of = seen[finding, about]
        low, high = exact_interval(len(who), of)
        yield FindingMisread(finding, about, len(set(who)), len(who), of, len(who) / of, low, high)


def _without_side(because: str) -> str:
    return re.sub(r"^(left|right) ", "", because)


def _against(finding: str, group: Weighed) -> bool:
    """Whether the chance was stated against what the finding says: it was weighed too little."""
    off = group.stated - group.warranted
    if finding.endswith(" against it"):
        return off >= WEIGHED_WRONG
    return off <= -WEIGHED_WRONG


def _left_out(found: Iterable[tuple[PlayedCase, str, str]]) -> Iterator[LeftOut]:
    who: defaultdict[tuple[str, str], list[str]] = defaultdict(list)
    for case, what, item in found:
        who[item, what].append(case.student)
    rows = sorted(who.items(), key=lambda row: (-len(set(row[1])), -len(row[1]), row[0]))
    for (item, what), students in rows:
        yield LeftOut(item, what, len(set(students)), len(students))
