"""Letters from one sitting: to each examiner, each station's author and each student, as text.

A letter says what was seen beside what colleagues or the class show, what it rests on and what it
does not say. It decides nothing.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sidewise.errors import UserError
from sidewise.ground.whole_file import write_text
from sidewise.teaching.pass_marks.true_scores import AllocatedEffect, allocated_effects
from sidewise.teaching.report.author_letters import station_letters
from sidewise.teaching.report.letter import Letter, letter_text
from sidewise.teaching.report.student_letters import student_letters
from sidewise.teaching.report.text import decimal_text
from sidewise.teaching.sitting.sitting import Sitting

if TYPE_CHECKING:
    import pandas as pd


def letters(e: Sitting) -> tuple[Letter, ...]:
    """Every letter of a sitting: examiners, stations, students."""
    return (*examiner_letters(e), *station_letters(e), *student_letters(e))


def write_letters(e: Sitting, folder: Path) -> int:
    """Write the letters into `folder`, a folder for each kind; returns how many."""
    written: set[Path] = set()
    for letter in letters(e):
        path = folder / letter.kind / letter.file
        if path in written:
            raise UserError(
                "letters", letter.code, "codes that differ in more than signs",
                "Two codes give one file name: change one.",
            )  # fmt: skip
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise UserError(
                str(folder), error.strerror or "no such place", "a folder that can be written", ""
            ) from error
        write_text(path, letter.text)
        written.add(path)
    return len(written)


# ---------------------------------------------------------------- examiners


def examiner_letters(e: Sitting) -> tuple[Letter, ...]:
    """To each examiner: marks and ratings beside colleagues at the same stations."""
    rated = e.scores[e.scores["score"].notna()]
    c = e.fairness.components
    effects = {x.examiner: x for x in allocated_effects(rated, c)} if c is not None else {}
    return tuple(
        Letter("examiners", str(name), _examiner_letter(e, str(name), effects.get(str(name))))
        for name in rated["examiner"].unique()
    )


def _examiner_letter(e: Sitting, name: str, effect: AllocatedEffect | None) -> str:
    rated = e.scores[e.scores["score"].notna()]
    own = rated[rated["examiner"] == name]
    lines = [_beside_colleagues(rated, name, station) for station in own["station"].unique()]
    return letter_text(
        f"To examiner {name}",
        [
            f"You marked {len(own)} performances.",
            "\n".join(lines),
            _ratings_used(e, name),
            _severity_said(e, name, effect),
            _day_said(e, name),
            _spread_said(e, name),
            *[w for w in e.warnings if w.startswith(f"{name} gave all")],
            "Differences may come from the students you happened to see. Nobody is judged by this "
            "letter.",
        ],
    )  # fmt: skip


def _beside_colleagues(rated: pd.DataFrame, name: str, station: str) -> str:
    table = rated[rated["station"] == station]
    own = table[table["examiner"] == name]["score"]
    rest = table[table["examiner"] != name]["score"]
    yours = f"At {station}: mean {own.mean():.1f}, spread {_spread(own)}, {len(own)} students"
    if not len(rest):
        return f"{yours}; no colleague marked there."
    return f"{yours}; colleagues {rest.mean():.1f}, {_spread(rest)}, {len(rest)} students."


def _spread(values: pd.Series[float]) -> str:
    return decimal_text(float(values.std(ddof=1)), 1)


def _ratings_used(e: Sitting, name: str) -> str:
    """How often each rating was given, beside everybody's."""
    given = e.scores[e.scores["global_rating"].notna()]
    own = given[given["examiner"] == name]["global_rating"]
    if own.empty:
        return "You gave no global ratings."
    parts = []
    for place, word in enumerate(e.marks.scale.words):
        yours, all_ = (
            100 * float((x.round() == place).mean()) for x in (own, given["global_rating"])
        )
        parts.append(f"{word} {yours:.0f}% (all examiners {all_:.0f}%)")
    return f"Your global ratings: {', '.join(parts)}."


def _severity_said(e: Sitting, name: str, effect: AllocatedEffect | None) -> str:
    s = e.fairness.severity
    row = next((x for x in s.examiners if x.examiner == name), None) if s is not None else None
    if row is not None and s is not None and s.connected and row.points == row.points:
        way = "fewer" if row.points > 0 else "more"
        low, high = sorted((-row.low, -row.high))
        return (
            f"Students' ability and stations' difficulty taken out, you gave {abs(row.points):.1f} "
            f"points of 100 {way} than the average examiner (difference {low:+.1f} to {high:+.1f}, "
            f"95%). By the rule for all examiners together: {row.verdict}."
        )
    if effect is None:
        return "How severe you are cannot be told from how hard your station is."
    return (
        "Your circuit shares no examiner with the others. If students came to circuits at random, "
        f"your marks stand {effect.points:+.1f} points of 100 beside the average examiner's "
        f"({effect.low:+.1f} to {effect.high:+.1f}, drawn towards zero). Nobody is named from this."
    )  # fmt: skip


def _spread_said(e: Sitting, name: str) -> str:
    found = e.fairness.spread
    row = next((x for x in found.examiners if x.examiner == name), None) if found else None
    if row is None or row.ratio != row.ratio:
        return ""
    return (
        f"Your marks spread {row.ratio:.2f} times as widely as your colleagues' at the same "
        f"stations ({row.low:.2f} to {row.high:.2f}); over all examiners together: {row.seen}."
    )


def _day_said(e: Sitting, name: str) -> str:
    drift = e.fairness.drift
    row = next((x for x in drift.examiners if x.examiner == name), None) if drift else None
    if row is None or row.change != row.change:
        return ""
    return (
        f"From the first to the last place of the day your marks changed by {row.change:+.1f} "
        f"points against your colleagues' ({row.low:+.1f} to {row.high:+.1f}): {row.verdict}."
    )
