"""Who passed, failed or is held, by which rules, and how sure: the decisions of one sitting."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidewise.teaching.pass_marks.decisions import Decision, StudentResult
from sidewise.teaching.pass_marks.minimum_stations import MinimumStations, minimum_stations
from sidewise.teaching.pass_marks.sequential import RecallForecast, recall_forecast
from sidewise.teaching.sitting.sitting import Sitting

ORDER: tuple[Decision, ...] = ("pass", "fail", "held", "incomplete", "no pass mark")
WORDS: dict[Decision, str] = {
    "pass": "passed", "fail": "failed", "held": "held for another look",
    "incomplete": "without a decision, marks missing",
    "no pass mark": "without a decision, no pass mark",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class DecisionSummary:
    """The decisions of one sitting.

    `counts` by decision; `rules` every rule in force, in words; `headline` both in one text.
    `mean` and `sd` of complete students' totals, percent. `expected_wrong` is the sum of the
    chances that the other decision is right, over those who passed or failed (NaN: not known).
    `minimum` derives the number of stations at the pass mark; `recall` forecasts a sequence.
    """

    counts: dict[Decision, int]
    rules: tuple[str, ...]
    headline: str
    mean: float
    sd: float
    expected_wrong: float
    minimum: MinimumStations
    recall: tuple[RecallForecast, ...]


def decision_summary(e: Sitting, recall: int = 0) -> DecisionSummary:
    """Counts, rules and forecasts; `recall` further stations for those near the mark (0: none)."""
    counts = {d: sum(r.decision == d for r in e.results) for d in ORDER}
    rules = e.rule.in_force(len(e.table.stations))
    total = e.table.total()[e.table.complete]
    chances = np.array([r.other for r in e.results if r.settled])
    return DecisionSummary(
        counts, rules, _headline(e, counts, rules),
        float(total.mean()) if total.size else float("nan"),
        float(total.std(ddof=1)) if total.size > 1 else float("nan"),
        float(chances.sum()) if chances.size else float("nan"),
        _minimum(e), _recall(e, recall),
    )  # fmt: skip


def _headline(e: Sitting, counts: dict[Decision, int], rules: tuple[str, ...]) -> str:
    said = [f"{counts['pass']:,} passed", f"{counts['fail']:,} failed{_which_rules(e)}"]
    said += [f"{n:,} {WORDS[d]}" for d, n in counts.items() if n and d not in ("pass", "fail")]
    many = len(e.results)
    return f"Of {many:,} students {', '.join(said)}. Rules in force: {'; '.join(rules)}."


def _which_rules(e: Sitting) -> str:
    """Which rule failed how many, when there is more than one that can fail."""
    failed = [r for r in e.results if r.decision == "fail"]
    if not failed or (not e.rule.stations and e.rule.critical == "hold"):
        return ""
    total = sum(r.by_marks == "fail" and not r.critical_at for r in failed)
    stations = sum(r.by_marks == "pass" and not r.critical_at for r in failed)
    critical = sum(bool(r.critical_at) for r in failed)
    parts = [(total, "by total"), (stations, "by stations alone"), (critical, "by critical error")]
    return f" ({', '.join(f'{n:,} {what}' for n, what in parts if n)})"


def _minimum(e: Sitting) -> MinimumStations:
    rows = [r for r in e.results if not r.missing_at and r.stations_passed is not None]
    return minimum_stations(
        np.array([r.total for r in rows]),
        np.array([float(r.stations_passed or 0) for r in rows]),
        e.rule.applied, len(e.table.stations),
    )  # fmt: skip


def _recall(e: Sitting, more: int) -> tuple[RecallForecast, ...]:
    known = np.isfinite(e.rule.applied) and np.isfinite(e.rule.sem)
    if not more or e.true_scores is None or not known or not e.table.complete.any():
        return ()
    return recall_forecast(e.table, e.true_scores, e.rule.applied, e.rule.sem, more)


def unsure_students(e: Sitting) -> tuple[StudentResult, ...]:
    """Everybody who did not simply pass, and who passed near the border; the least sure first."""
    chosen = [r for r in e.results if r.decision != "pass" or r.near]
    return tuple(sorted(chosen, key=lambda r: (ORDER.index(r.decision), -_sure(r), r.total)))


def _sure(r: StudentResult) -> float:
    return r.other if r.other == r.other else -1.0
