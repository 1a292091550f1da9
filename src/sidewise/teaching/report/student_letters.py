"""A letter for each student: the decision and why, the profile beside standard and class, what to
practise, what examiners wrote.
"""

from __future__ import annotations

from sidewise.teaching.report.decisions import HEADS, decision_cells
from sidewise.teaching.report.letter import Letter, letter_text, listed_lines
from sidewise.teaching.report.text import decimal_text
from sidewise.teaching.sitting.profiles import (
    PractisePoint,
    ProfilePart,
    StudentProfile,
    student_profiles,
)
from sidewise.teaching.sitting.sitting import Sitting


def student_letters(e: Sitting) -> tuple[Letter, ...]:
    """To each student: the decision and why, each part beside its standard and the class."""
    return tuple(
        Letter("students", e.results[i].student, _student_letter(e, i, p))
        for i, p in enumerate(student_profiles(e))
    )


def _student_letter(e: Sitting, i: int, profile: StudentProfile) -> str:
    r = e.results[i]
    row = dict(zip(HEADS, decision_cells(r), strict=True))
    why = f" ({row['why']})" if row["why"] else ""
    return letter_text(
        f"To student {r.student}",
        [
            f"Decision: {r.decision}{why}. Total {row['total']}, pass mark "
            f"{decimal_text(e.rule.applied, 1)}.",
            _part_table("station", profile.of("station")),
            _part_table("domain", profile.of("domain")),
            _part_table("stage", profile.of("stage")),
            *_to_practise(profile.practise),
            listed_lines("Comments", list(profile.comments)),
        ],
    )


def _part_table(heading: str, parts: tuple[ProfilePart, ...]) -> str:
    """Own marks, standard, the class's middle half, and the error where it is known."""
    if not parts:
        return ""
    wide = max(16, *(len(p.name) for p in parts))
    head = f"{heading:{wide}}{'yours':>8}{'pass mark':>11}{'class: middle half':>21}"
    lines = [
        f"{p.name:{wide}}{decimal_text(p.own, 1):>8}{decimal_text(p.standard, 1):>11}"
        f"{_middle(p):>21}{_error(p)}"
        for p in parts
    ]
    return "\n".join([head, *lines])


def _middle(p: ProfilePart) -> str:
    return f"{p.low:.0f} to {p.high:.0f}" if p.low == p.low else "-"


def _error(p: ProfilePart) -> str:
    return f"  give or take {p.error:.1f}" if p.error == p.error else ""


def _to_practise(points: tuple[PractisePoint, ...]) -> list[str]:
    if not points:
        return ["Nowhere were you below the middle of the class."]
    lines = [f"{p.name}{_items(p.items)}" for p in points]
    few = "One performance at a station is little to go by."
    return [
        listed_lines("To practise first, where you stood lowest beside the class", lines),
        few,
    ]


def _items(items: tuple[str, ...]) -> str:
    return f": most marks lost at {', '.join(items)}" if items else ""
