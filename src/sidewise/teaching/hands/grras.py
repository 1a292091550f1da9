"""The fifteen points of a report on reliability and agreement, filled in where known.

Kottner J, Audige L, Brorson S and others, J Clin Epidemiol 2011;64:96-106 (the list read, put here
in our own words). What the table of findings cannot know is left for the authors to write.
"""

from __future__ import annotations

from dataclasses import dataclass

from sidewise.teaching.hands.hands import Hands


@dataclass(frozen=True, slots=True)
class GrrasPoint:
    """One point: its number, what it asks, what is known here (empty: to be written)."""

    number: int
    asks: str
    known: str

    @property
    def text(self) -> str:
        """The point in one line."""
        return f"{self.number}. {self.asks}: {self.known or 'to be written by the authors'}"


def grras_points(hands: Hands) -> tuple[GrrasPoint, ...]:
    """All fifteen points with this analysis's numbers."""
    f = hands.findings
    kinds = sorted({item.kind for item in hands.items})
    used = [item.units for item in hands.items]
    asks = [
        ("title or abstract says that reliability or agreement was studied", ""),
        ("the examination and its items", f"{len(hands.items)} items ({', '.join(kinds)})"),
        ("the patients", ""),
        ("the examiners", ""),
        ("what is known already and why this study", ""),
        (
            "sizes",
            f"{f.patients} patients, {len(f.examiners)} examiners, {f.rows} findings"
            + (", one reference examination" if f.has_reference else ", no reference"),
        ),
        ("how patients and examiners were chosen", ""),
        ("how the examinations were done: interval, information, blinding", ""),
        ("whether the findings are independent of each other", ""),
        ("statistics", _statistics(hands)),
        (
            "numbers in the analysis",
            f"{min(used)} to {max(used)} sides per item; {f.not_seen} findings not examined"
            if used
            else "none",
        ),
        ("who the examiners and patients were, and training", ""),
        ("estimates with their uncertainty", "given for each item with 95% intervals"),
        ("what it means in practice", ""),
        ("detailed results", "every item in the machine-readable output (--json)"),
    ]
    return tuple(GrrasPoint(i + 1, ask, known) for i, (ask, known) in enumerate(asks))


def _statistics(hands: Hands) -> str:
    parts = []
    if any(item.among for item in hands.items):
        parts.append(
            "Cohen or Conger, Fleiss, Gwet AC1/AC2, Brennan-Prediger and Krippendorff coefficients "
            "(quadratic weights for grades), linearised errors over units"
        )
    if any(item.reading for item in hands.items):
        parts.append(
            "intraclass correlation (F limits; REML when cells are missing), error and minimal "
            "detectable change, limits of agreement with exact intervals"
        )
    return "; ".join(parts)
