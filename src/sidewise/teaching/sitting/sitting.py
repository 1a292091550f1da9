"""The whole analysis of one sitting's marks: one call, one result with its warnings.

marks = read_marks("marks.csv")
result = examine(marks)
result.stations, result.mark, result.results ...
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.estimate import Estimate, no_estimate
from sidewise.ground.interval import Z95
from sidewise.ground.result_view import Shown, View
from sidewise.teaching.pass_marks.decisions import Rule, StudentResult, student_results
from sidewise.teaching.pass_marks.examination_mark import ExaminationMark, examination_mark
from sidewise.teaching.pass_marks.judged import hofstee_mark
from sidewise.teaching.pass_marks.true_scores import TrueScores
from sidewise.teaching.reliability.consistency import Consistency, consistency
from sidewise.teaching.sitting.cautions import station_warnings, unvaried_examiners
from sidewise.teaching.sitting.chances import sitting_chances, sitting_true_scores
from sidewise.teaching.sitting.fairness import Fairness, examiner_fairness
from sidewise.teaching.sitting.moderation_log import ModerationLog
from sidewise.teaching.sitting.options import SittingOptions
from sidewise.teaching.sitting.stations import StationFigures, station_figures
from sidewise.teaching.tables.marks_table import Marks, what_is_missing
from sidewise.teaching.tables.scores import Sheet, score_sheet, station_scores
from sidewise.teaching.thresholds import quoted_threshold

if TYPE_CHECKING:
    import pandas as pd

# A line through fewer students than this moves by grades when one of them does: our judgement.
FEWEST_FOR_A_MARK = 10


@dataclass(frozen=True, slots=True)
class PassMark:
    """The examination's pass mark by one method (percent) and how many would fail by it."""

    method: str
    cut: Estimate
    failures: int | None
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class WithoutStation:
    """What the examination would be without one station.

    `alpha` and `mark` without it; `changed` are students whose decision by marks would differ.
    """

    station: str
    alpha: float
    mark: float
    changed: tuple[str, ...]


@dataclass(frozen=True, repr=False)
class Sitting(Shown):
    """Everything computed from one sitting's marks, and the warnings that belong to it."""

    marks: Marks
    options: SittingOptions
    scores: pd.DataFrame
    table: Sheet
    consistency: Consistency
    stations: tuple[StationFigures, ...]
    mark: ExaminationMark
    pass_marks: tuple[PassMark, ...]
    rule: Rule
    sem_method: str
    results: tuple[StudentResult, ...]
    without: tuple[WithoutStation, ...]
    fairness: Fairness
    true_scores: TrueScores | None
    warnings: tuple[str, ...]
    moderation: ModerationLog | None = None

    @property
    def apart(self) -> tuple[StationFigures, ...]:
        """Stations with every sign that they measure something else."""
        return tuple(station for station in self.stations if station.stands_apart)

    @property
    def deciding(self) -> PassMark:
        """The pass mark that decides, before any standard error is added."""
        return next(p for p in self.pass_marks if p.method == self.options.method)

    @property
    def near(self) -> tuple[StudentResult, ...]:
        """Students near the mark, the least sure first."""
        return tuple(sorted((r for r in self.results if r.near), key=lambda r: -r.other))

    def view(self) -> View:
        """What is shown of it in a line, as frames and in a notebook."""
        from sidewise.teaching.sitting.view import sitting_view

        return sitting_view(self)

    def results_frame(self) -> pd.DataFrame:
        """One row per student, for a data frame's user."""
        import pandas as pd

        names = StudentResult.__dataclass_fields__
        return pd.DataFrame([{name: getattr(r, name) for name in names} for r in self.results])

    def stations_frame(self) -> pd.DataFrame:
        """One row per station with its main figures."""
        import pandas as pd

        return pd.DataFrame([station_row(s) for s in self.stations])


def station_row(s: StationFigures) -> dict[str, object]:
    """A station with its main figures."""
    return {
        "station": s.station,
        "n": s.n,
        "mean": s.mean,
        "sd": s.sd,
        "discrimination": s.discrimination.value,
        "alpha": s.alpha.value,
        "alpha_without": s.alpha_without,
        "r_squared": s.line.r_squared,
        "slope": s.line.slope.value,
        "cut": s.line.cut.value,
        "cut_low": s.line.cut.low,
        "cut_high": s.line.cut.high,
        "failures": s.failures,
        "signs": len(s.signs),
    }


def analyse_sitting(marks: Marks, options: SittingOptions | None = None) -> Sitting:
    """Analyse one sitting. Raises `UserError` when there is nothing that could be analysed."""
    options = options or SittingOptions()
    table_of_marks, recorded = _apart(_without(marks.table, options.without))
    scores = station_scores(table_of_marks)
    table, dropped = _usable(score_sheet(scores))
    table_of_marks = table_of_marks[table_of_marks["station"].isin(table.stations)]
    scores = scores[scores["station"].isin(table.stations)].reset_index(drop=True)
    figures = station_figures(table, scores, table_of_marks, marks.scale)
    placed = replace(table, rating=marks.scale.at_positions(table.rating))
    borderline = marks.scale.standing[marks.scale.borderline]
    mark = examination_mark(placed, borderline, draws=options.draws, seed=options.seed)
    inner = consistency(table.score)
    pass_marks = _pass_marks(table, figures, mark, options)
    deciding = next(p for p in pass_marks if p.method == options.method)
    fair = examiner_fairness(
        table_of_marks, scores, table, deciding.cut.value, options.wanted, station_scores(recorded)
    )
    sem, method = _sem(table, inner, fair)
    rule = _rule(deciding.cut, sem, options)
    cuts = {s.station: s.line.cut.value for s in figures}
    rated = scores[scores["score"].notna()]
    true = sitting_true_scores(rated, fair.components, options.seed)
    chances = sitting_chances(table, true, mark, rule, cuts, options.seed)
    results = fair.beside(student_results(table, rule, cuts, chances), rule)
    size = _size_warnings(table)
    # Every part says for itself that students are few; here it is said once, with its source.
    said = [w for w in fair.warnings if not (size and w.endswith("such figures are unstable."))]
    warnings = (
        *marks.warnings, *dropped, *size, *what_is_missing(table_of_marks),
        *mark.warnings, *deciding.warnings, *station_warnings(figures),
        *unvaried_examiners(rated), *said,
    )  # fmt: skip
    without = tuple(_leaving(table, s, figures, results, rule) for s in figures if s.stands_apart)
    return Sitting(
        marks, options, scores, table, inner, figures, mark, pass_marks, rule, method, results,
        without, fair, true, tuple(dict.fromkeys(warnings)),
    )  # fmt: skip


def _without(table: pd.DataFrame, stations: tuple[str, ...]) -> pd.DataFrame:
    names = list(table["station"].unique())
    for station in stations:
        if station not in names:
            raise UserError("without", station, f"a station: {', '.join(names[:20])}", "")
    return table[~table["station"].isin(stations)] if stations else table


def _apart(table: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Students' rows, and those of recorded performances that only link examiners."""
    linking = table["linking"].to_numpy(dtype=bool)
    if linking.all():
        raise UserError(
            "linking", "yes in every row", "students' own performances as well",
            "Only rows of a recorded performance, marked to compare examiners, say yes.",
        )  # fmt: skip
    return (table[~linking], table[linking]) if linking.any() else (table, table.iloc[:0])


def _usable(table: Sheet) -> tuple[Sheet, tuple[str, ...]]:
    """Stations with no score at all cannot be analysed; they are named and left out."""
    empty = np.asarray(np.isnan(table.score).all(axis=0))
    notes = []
    for name in [s for s, e in zip(table.stations, empty, strict=True) if e]:
        notes.append(f"Station {name} has no complete marks at all: left out.")
        table = table.without(name)
    if not table.stations:
        raise UserError(
            "marks", "no performance with all its marks", "at least one", "Blank is not zero."
        )
    return table, tuple(notes)


def _size_warnings(table: Sheet) -> list[str]:
    small, few = quoted_threshold("small_cohort"), quoted_threshold("few_stations")
    notes = []
    students, stations = len(table.students), len(table.stations)
    if students < small.value:
        notes.append(f"{students} students only: {small.words} [{small.mark}; {small.source}].")
    if stations < few.value:
        notes.append(f"{stations} stations only: {few.words} [recalled, not read].")
    if students == 1:
        notes.append("One student: no statistic of an examination can be computed.")
    return notes


def _pass_marks(
    table: Sheet,
    figures: tuple[StationFigures, ...],
    mark: ExaminationMark,
    options: SittingOptions,
) -> tuple[PassMark, ...]:
    made: list[tuple[str, Estimate, tuple[str, ...]]] = [
        ("borderline regression", mark.best, mark.warnings),
        ("borderline group", *_mean_cut([f.group.cut for f in figures], "borderline group")),
        ("contrasting groups", *_contrasting(figures)),
    ]
    if options.angoff is not None:
        a = options.angoff
        cut = Estimate(a.percent, se=100 * a.se / (100 * a.cut / a.percent), method="Angoff")
        made.append(("angoff", cut, a.warnings))
    if options.ebel is not None:
        found = options.ebel
        cut = Estimate(found.percent, se=found.se, method="Ebel")
        made.append(("ebel", cut, found.warnings))
    if options.hofstee is not None:
        h = hofstee_mark(table.total(), options.hofstee)
        made.append(("hofstee", Estimate(h.cut, method="Hofstee"), h.warnings))
    if len(table.students) < FEWEST_FOR_A_MARK:
        made = [_too_few(table, row) for row in made]
    if options.carried is not None:
        made.append(("carried forward", *_carried(options)))
    return tuple(PassMark(m, cut, _failures(table, cut), tuple(w)) for m, cut, w in made)


def _too_few(
    table: Sheet, made: tuple[str, Estimate, tuple[str, ...]]
) -> tuple[str, Estimate, tuple[str, ...]]:
    """No mark from the students themselves when they are a handful; judges' marks stand."""
    if made[0] in ("angoff", "ebel"):
        return made
    why = (
        f"{len(table.students)} students are too few to set a pass mark from their own results; "
        "carry one forward from a full sitting of the same stations (--pass-mark), or let judges "
        "set it (--angoff)"
    )
    return made[0], no_estimate(why), (f"No pass mark by {made[0]}: {why}.",)


def _carried(options: SittingOptions) -> tuple[Estimate, tuple[str, ...]]:
    """A mark set elsewhere: it is right only if these stations are as hard as those were."""
    value = float("nan") if options.carried is None else options.carried
    note = (
        f"The pass mark of {value:g} is carried forward, not set by this sitting: it holds only if "
        "these stations are as hard as those it was set on, and its own error is not in any figure "
        "here."
    )
    return Estimate(value, method="carried forward"), (note,)


def _mean_cut(cuts: list[Estimate], name: str) -> tuple[Estimate, tuple[str, ...]]:
    """Mean over stations; its error as if stations were independent (said in the method)."""
    known = [cut for cut in cuts if cut.known]
    if not known:
        return no_estimate(f"no station has a {name} mark"), ()
    notes: tuple[str, ...] = ()
    if len(known) < len(cuts):
        notes = (f"By {name} {len(cuts) - len(known)} stations have no mark.",)
    value = float(np.mean([cut.value for cut in known]))
    ses = np.array([cut.se if cut.se is not None else np.nan for cut in known])
    se = float(np.sqrt((ses**2).sum())) / len(known)
    if not np.isfinite(se):
        return Estimate(value, method="mean of stations"), notes
    half = Z95 * se
    return Estimate(value, value - half, value + half, se, "mean of stations taken apart"), notes


def _contrasting(figures: tuple[StationFigures, ...]) -> tuple[Estimate, tuple[str, ...]]:
    known = [f.contrast.cut for f in figures if np.isfinite(f.contrast.cut)]
    if not known:
        return no_estimate("no station has two groups that stand apart"), ()
    lost = len(figures) - len(known)
    notes = (f"By contrasting groups {lost} stations have no mark.",) if lost else ()
    return Estimate(float(np.mean(known)), method="mean of stations"), notes


def _failures(table: Sheet, cut: Estimate) -> int | None:
    total = table.total()
    return int((total < cut.value).sum()) if cut.known else None


def _sem(table: Sheet, inner: Consistency, fair: Fairness) -> tuple[float, str]:
    """Standard error of measurement of a total, percent.

    Pass marks are set on the same stations, so a station's difficulty moves mark and marks alike:
    the relative error is the one that matters.
    """
    if fair.reliability is not None:
        return fair.reliability.sem_relative, "variance components, relative error"
    total = table.total()[table.complete]
    if not inner.alpha.known or total.size < 2:
        return float("nan"), "not computed"
    sd = float(total.std(ddof=1))
    return sd * float(np.sqrt(max(0.0, 1 - inner.alpha.value))), "SD * sqrt(1 - alpha)"


def _rule(cut: Estimate, sem: float, options: SittingOptions) -> Rule:
    added = options.add_sem * sem if options.add_sem else 0.0
    return Rule(
        cut.value, cut.se or 0.0, sem, added, options.stations_to_pass, options.near,
        options.critical, options.look_again, options.method,
    )  # fmt: skip


def _leaving(
    table: Sheet,
    station: StationFigures,
    figures: tuple[StationFigures, ...],
    results: tuple[StudentResult, ...],
    rule: Rule,
) -> WithoutStation:
    rest = table.without(station.station)
    cuts = [f.line.cut.value for f in figures if f.station != station.station and f.line.cut.known]
    mark = float(np.mean(cuts)) + rule.added if cuts else float("nan")
    total = rest.total()
    changed = tuple(
        r.student
        for r, now in zip(results, total, strict=True)
        if r.by_marks in ("pass", "fail")
        and np.isfinite(now)
        and (now >= mark) != (r.by_marks == "pass")
    )
    return WithoutStation(station.station, station.alpha_without, mark, changed)
