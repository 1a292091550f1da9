"""The page of decisions in words: `sidewise marks ... --decide`, and the sentences it shares."""

from __future__ import annotations

from sidewise.teaching.pass_marks.decisions import StudentResult
from sidewise.teaching.pass_marks.minimum_stations import MinimumStations
from sidewise.teaching.pass_marks.sequential import RecallForecast
from sidewise.teaching.sitting.cautions import listed_names
from sidewise.teaching.sitting.decision_summary import (
    DecisionSummary,
    decision_summary,
    unsure_students,
)
from sidewise.teaching.sitting.methods_beside import fails_under
from sidewise.teaching.sitting.sitting import Sitting

HEADS = ("student", "total", "from the mark", "stations passed", "decision", "chance of the other",
         "a second sitting differs", "why")  # fmt: skip
HOW_SURE = (
    "Chance of the other: that the decision by all rules together would be the other at the "
    "student's true score, from marks, stations, examiners and pass mark as uncertain as they are; "
    "true scores are drawn towards the cohort. A second sitting differs: the chance that another "
    "examination of this kind would decide otherwise."
)


def percent_text(chance: float) -> str:
    """A probability in whole percent, or a dash."""
    if chance != chance:
        return "-"
    if chance < 0.005:
        return "<1%"
    return f"{100 * chance:.0f}%"


def decision_cells(r: StudentResult) -> list[str]:
    """One student's row under `HEADS`."""
    passed = "-" if r.stations_passed is None else str(r.stations_passed)
    known = r.settled or r.decision == "held"
    return [
        r.student, _one_decimal(r.total), _one_decimal(r.margin), passed, r.decision,
        percent_text(r.other) if known and not _failed_critically(r) else "-",
        percent_text(r.again) if known and not _failed_critically(r) else "-",
        "; ".join(r.reasons),
    ]  # fmt: skip


def _failed_critically(r: StudentResult) -> bool:
    """Failed by a rule that no mark changes: there is no chance to state."""
    return r.decision == "fail" and bool(r.critical_at)


def _one_decimal(value: float) -> str:
    return "-" if value != value else f"{value:.1f}"


def minimum_sentence(found: MinimumStations, stations: int, in_force: int) -> str:
    """The minimum of stations that agrees with the pass mark; "" where there is none."""
    if found.needed is None:
        return ""
    costs = "; ".join(
        f"of {c.stations}: {c.by_this_alone} ({c.failures} in all)" for c in found.choices
    )
    rule = f"the rule in force asks {in_force}" if in_force else "no minimum is in force"
    return (
        f"A student at the pass mark is expected to pass {found.expected:.1f} of {stations} "
        f"stations ({found.low:.1f} to {found.high:.1f}): a minimum of {found.needed} agrees with "
        f"the mark; {rule}. Failing by a minimum alone: {costs}."
    )


def recall_sentence(f: RecallForecast, students: int) -> str:
    """What a sequence with this margin would do."""
    who = f"{len(f.recalled):,} of {students:,} students"
    return (
        f"Recalled below the mark plus {f.margin:g} SEM: {who} for {f.more} more stations; about "
        f"{f.passing:.0f} of them would pass on all stations together. Expected wrong decisions by "
        f"total {f.wrong_now:.1f} now, {f.wrong_then:.1f} then."
    )


def overall_sentence(found: DecisionSummary) -> str:
    """Mean, spread and how many decisions are expected to be wrong."""
    text = f"Totals: mean {_one_decimal(found.mean)}, SD {_one_decimal(found.sd)} percent."
    if found.expected_wrong == found.expected_wrong:
        text += (
            f" Of the decisions to pass or fail about {found.expected_wrong:.1f} are expected to "
            "be other than at the true scores."
        )
    return text


def decision_paragraphs(e: Sitting, recall: int = 0) -> list[str]:
    """The sentences of the page, headline first."""
    found = decision_summary(e, recall)
    minimum = minimum_sentence(found.minimum, len(e.table.stations), e.rule.stations)
    forecasts = [recall_sentence(f, len(e.results)) for f in found.recall]
    log = e.moderation.sentences if e.moderation is not None else ()
    parts = (
        found.headline, *log, overall_sentence(found), methods_sentence(e), minimum, *forecasts
    )  # fmt: skip
    return [text for text in parts if text]


def methods_sentence(e: Sitting) -> str:
    """Who would fail by total under every method and who under some only."""
    used = [p.method for p in e.pass_marks if p.cut.known]
    rows = fails_under(e)
    if len(used) < 2 or not rows:
        return ""
    every = [r.student for r in rows if len(r.methods) == len(used)]
    some: dict[tuple[str, ...], list[str]] = {}
    for r in rows:
        if len(r.methods) < len(used):
            some.setdefault(r.methods, []).append(r.student)
    text = (
        f"By total under every one of {len(used)} methods fail: {listed_names(every) or 'nobody'}."
    )
    return " ".join([
        text, *(f"Under {' and '.join(methods)} only: {listed_names(names)}."
                for methods, names in some.items())
    ])  # fmt: skip


def listed_rows(e: Sitting) -> list[list[str]]:
    """Rows of everybody who did not simply pass, and of those near the border."""
    return [decision_cells(r) for r in unsure_students(e)]
