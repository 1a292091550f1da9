"""What was taken out before the decisions, by whom, and what that did to them."""

from __future__ import annotations

from dataclasses import dataclass

from sidewise.teaching.sitting.cautions import listed_names


@dataclass(frozen=True, slots=True)
class ChangedDecision:
    """A student whose decision is another than without the changes."""

    student: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class ModerationLog:
    """The steps in words, who took them ("" unknown), and what changed.

    `mark_before` and `mark_after` in percent (NaN: none); `changed` the decisions that differ;
    students of one analysis only are counted in `only_before`.
    """

    steps: tuple[str, ...]
    by: str
    mark_before: float
    mark_after: float
    changed: tuple[ChangedDecision, ...]
    only_before: int

    @property
    def sentences(self) -> tuple[str, ...]:
        """The log in words."""
        who = f" by {self.by}" if self.by else ", nobody named"
        moves = [f"{c.student} from {c.before} to {c.after}" for c in self.changed]
        what = (
            f"Decisions that changed: {listed_names(moves)}." if moves else "No decision changed."
        )
        left = self.only_before
        gone = f" {left:,} student{'s are' if left > 1 else ' is'} no longer there." if left else ""
        return (
            f"Changed before the decisions{who}: {'; '.join(self.steps)}.",
            f"Pass mark {_mark(self.mark_before)} before, {_mark(self.mark_after)} after. "
            f"{what}{gone}",
        )


def _mark(value: float) -> str:
    return "none" if value != value else f"{value:.1f}"
