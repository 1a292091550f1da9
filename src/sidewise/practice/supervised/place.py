"""One place of a body at which two examiners looked, and how what they found compares."""

from __future__ import annotations

from dataclasses import dataclass

SAME, WITHIN, BEYOND, UNLIKE, NO_ERROR = (
    "same", "within error", "beyond error", "differs", "no published error",
)  # fmt: skip
YOU_LEFT_OUT, THEY_LEFT_OUT = "only the supervisor", "only you"


@dataclass(frozen=True, slots=True)
class FindingCompared:
    """One place: in words what each found, "" where it was not examined; and how they compare.

    numbers: of learner and supervisor. difference: learner minus supervisor; threshold: how far
    error alone seldom takes it, both in `unit`; None where it is no number or no error is
    published. known: how well two examiners are known to agree. sources: of the figures used;
    cautions: what was given up to use them.
    """

    item: str
    label: str
    side: str
    mode: str
    yours: str
    theirs: str
    verdict: str
    difference: float | None = None
    threshold: float | None = None
    unit: str = ""
    numbers: tuple[float, float] | None = None
    known: str = ""
    sources: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
