"""Severity of examiners, difficulty of stations and what both did to each student's marks.

`fit_severity` fits a many-facet model by marginal maximum likelihood. Marks are never changed:
what a student's mean would be under an examiner of average severity stands *beside* the mean as
it was given. Nobody is called severe unless all examiners are linked and one stands out as
`sidewise.teaching.severity.severity_test` describes.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array, IntArray
from sidewise.ground.interval import Z95
from sidewise.teaching.severity import facets, fit_statistics
from sidewise.teaching.severity import severity_test as naming
from sidewise.teaching.severity.linked_sets import LinkedSets, sets_from_codes
from sidewise.teaching.severity.ratings import Ratings, read_ratings
from sidewise.teaching.severity.ratings import to_categories as to_categories
from sidewise.teaching.severity.severity_test import Heterogeneity

if TYPE_CHECKING:
    import pandas as pd

Model = Literal["rating_scale", "partial_credit"]

# Smallest effect worth naming, as a share of the rating scale: a tenth, about half a grade of
# five. Logits would not do: their size depends on how finely the scale is cut. Our judgement.
SMALLEST_SHARE = 0.1
FAMILY_ERROR = 0.05
FEW_RATINGS = 10
FEW_STUDENTS = 50


@dataclass(frozen=True, slots=True)
class ExaminerSeverity:
    """One examiner. `severity` in logits about the mean of all (positive: gives fewer marks);
    `effect` is that in categories of the rating scale, averaged over the ratings given. Standard
    error and 95% limits hold all covariances. `shift` (categories fewer than the others would
    give to all students at all stations), `z` and `p_adjusted` are those of the rule for naming.
    `verdict`: severe, lenient, ordinary, or cannot be told."""

    examiner: str
    n: int
    severity: float
    standard_error: float
    low: float
    high: float
    effect: float
    mean_category: float
    infit: float
    outfit: float
    infit_se: float
    outfit_se: float
    fit: str
    shift: float
    z: float
    p_adjusted: float
    verdict: str
    set: int


@dataclass(frozen=True, slots=True)
class StationDifficulty:
    """One station: difficulty in logits against the students' mean ability of 0."""

    station: str
    n: int
    difficulty: float
    standard_error: float
    low: float
    high: float
    mean_category: float
    infit: float
    outfit: float
    infit_se: float
    outfit_se: float
    fit: str
    steps: tuple[float, ...]


@dataclass(frozen=True)
class SeverityResult:
    """Everything the model says. `students` has one row per student: student, n, measure (mean of
    the posterior, logits), measure_sd, mean_category as given, adjusted_mean (under average
    examiners at the same stations), adjustment (adjusted less given).

    `severe` and `lenient` are empty unless `connected`; `components` are the linked sets of
    examiners. `spread` is the standard deviation of true severities beyond sampling error.
    """

    model: Model
    examiners: tuple[ExaminerSeverity, ...]
    stations: tuple[StationDifficulty, ...]
    students: pd.DataFrame = field(repr=False)
    ability_sd: float
    ability_sd_se: float
    deviance: float
    n: int
    connected: bool
    components: tuple[tuple[str, ...], ...]
    heterogeneity: Heterogeneity | None
    spread: float | None
    severe: tuple[str, ...]
    lenient: tuple[str, ...]
    examiner_covariance: Array = field(repr=False)
    converged: bool
    warnings: tuple[str, ...]
    rule: str
    sentence: str


def fit_severity(
    ratings: pd.DataFrame, *, model: Model = "rating_scale", smallest: float = SMALLEST_SHARE
) -> SeverityResult:
    """Many-facet model of `ratings` (student, station, examiner, category from 0) by marginal ML.

    log P(x)/P(x-1) = ability - station - examiner - step_x; ability normal, mean 0, 21 nodes from
    -6 to 6 with weights proportional to the density; severities sum to 0, steps sum to 0 (of each
    station under "partial_credit"). Standard errors are from the whole observed information,
    projected to sum to zero. `smallest`: share of the scale below which nobody is named.

    Where examiners are not linked, only contrasts that can be estimated are fitted; severities
    are given within a linked set, about its mean, and nobody is named.

    Raises UserError for missing columns, ratings that are not whole numbers, one student, or
    ratings that are all the same. Linacre 1989; see `facets` for the rest of the citations.
    """
    if model not in ("rating_scale", "partial_credit"):
        raise UserError("model", model, '"rating_scale" or "partial_credit"')
    if not (np.isfinite(smallest) and smallest >= 0):
        raise UserError("smallest", smallest, "a share of the scale of 0 or more")
    own_steps = model == "partial_credit"
    data = read_ratings(ratings, own_steps=own_steps)
    linked = sets_from_codes(data.student, data.station, data.examiner, data.examiners)
    table = facets.facet_table(
        data.student, data.station, data.examiner, data.category,
        contrasts=linked.contrasts, own_steps=own_steps, tops=data.tops,
    )  # fmt: skip
    fit = facets.fit_facets(table, facets.starting_point(table))
    return _Report(data, linked, table, fit, smallest, model).result()


class _Report:
    """Turns a fit into a result; holds what several parts need."""

    def __init__(
        self, data: Ratings, linked: LinkedSets, table: facets.FacetTable, fit: facets.FacetFit,
        smallest: float, model: Model,
    ) -> None:  # fmt: skip
        self.data, self.linked, self.table, self.fit = data, linked, table, fit
        self.smallest, self.model = smallest, model
        self.warnings = list(data.warnings)
        self.natural = fit.state.natural
        self.pair = self._pairs()
        self.centre = linked.centre
        self.severity = self.centre @ self.natural.examiner
        i, j = table.stations, table.examiners
        block = fit.covariance[i : i + j, i : i + j]
        self.covariance = self.centre @ block @ self.centre.T
        self.standing = self._standing()

    def _pairs(self) -> IntArray:
        code = self.table.pair_station * self.table.examiners + self.table.pair_examiner
        mine = self.data.station * self.table.examiners + self.data.examiner
        return np.searchsorted(code, mine).astype(np.int64)

    def _standing(self) -> naming.SeverityTests | None:
        """None where naming is refused or there are too few examiners to have "others"."""
        enough = self.table.examiners >= naming.FEWEST
        if not (self.linked.connected and enough and np.isfinite(self.covariance).all()):
            return None
        fair, slope = self._fair_averages()
        covariance = self.covariance * np.outer(slope, slope)
        # Severe is fewer marks: the fair average turned round.
        return naming.severity_tests(-fair, covariance, self.linked.contrasts)

    def _fair_averages(self) -> tuple[Array, Array]:
        """The category each examiner would give on average to all students at all stations, and
        its derivative by severity. The rating scale is what students are judged on; a logit is
        worth more where categories are wide."""
        table, x = self.table, np.arange(self.table.top + 1.0)
        weight = np.exp(-(facets.NODES**2) / (2 * self.natural.spread**2))
        weight /= weight.sum()
        fair, slope = np.zeros(table.examiners), np.zeros(table.examiners)
        for k in range(table.stations):
            log = facets.log_at(self.natural, table, k, facets.NODES - self.severity[:, None])
            p = np.exp(log)
            mean = np.einsum("x,exq->eq", x, p)
            variance = np.einsum("x,exq->eq", x**2, p) - mean**2
            fair += mean @ weight / table.stations
            slope += variance @ weight / table.stations
        return fair, slope

    def result(self) -> SeverityResult:
        self._warn()
        examiners, stations = self._examiners(), self._stations()
        severe = tuple(e.examiner for e in examiners if e.verdict == "severe")
        lenient = tuple(e.examiner for e in examiners if e.verdict == "lenient")
        spread_se = self.natural.spread * float(np.sqrt(self.fit.covariance[-1, -1]))
        return SeverityResult(
            model=self.model, examiners=examiners, stations=stations, students=self._students(),
            ability_sd=self.natural.spread, ability_sd_se=spread_se,
            deviance=self.fit.state.deviance, n=len(self.data.category),
            connected=self.linked.connected, components=self.linked.sets,
            heterogeneity=self.standing.heterogeneity if self.standing else None,
            spread=self.standing.spread if self.standing else None,
            severe=severe, lenient=lenient, examiner_covariance=self.covariance,
            converged=self.fit.converged, warnings=tuple(self.warnings),
            rule=_rule(self.smallest), sentence=self._sentence(severe, lenient),
        )  # fmt: skip

    def _warn(self) -> None:
        say = self.warnings.append
        if not self.linked.connected:
            say(self.linked.sentence + " Nobody is named severe.")
        if self.table.examiners < naming.FEWEST:
            say(f"Fewer than {naming.FEWEST} examiners: nobody can be held against the others.")
        if not self.fit.converged:
            say("The search for the best fit did not settle: use with care.")
        if not np.isfinite(self.fit.covariance).all():
            say("The information matrix cannot be inverted: there are no standard errors.")
        if self.table.students < FEW_STUDENTS:
            say(f"{self.table.students} students: below {FEW_STUDENTS} such figures are unstable.")
        n = np.bincount(self.data.examiner)
        few = [name for name, k in zip(self.data.examiners, n, strict=True) if k < FEW_RATINGS]
        if few:
            say(f"Fewer than {FEW_RATINGS} ratings by {', '.join(few[:10])}"
                + (" and others." if len(few) > 10 else "."))  # fmt: skip

    def _squares(self, group: IntArray, groups: int) -> fit_statistics.FitMeanSquares:
        d = self.data
        return fit_statistics.fit_mean_squares(
            self.table, self.fit.state, d.student, self.pair, d.category, group, groups
        )

    def _examiners(self) -> tuple[ExaminerSeverity, ...]:
        data = self.data
        squares = self._squares(data.examiner, self.table.examiners)
        means = np.bincount(data.examiner, data.category) / squares.n
        effect = np.bincount(data.examiner, self._gain(), self.table.examiners) / squares.n
        error = np.sqrt(np.maximum(np.diag(self.covariance), 0.0))
        rows = [
            self._examiner(k, squares, float(means[k]), -float(effect[k]), float(error[k]))
            for k in range(self.table.examiners)
        ]
        aside = [_extreme(name) for name in data.extreme_examiners]
        return tuple(sorted([*rows, *aside], key=lambda e: e.examiner))

    def _examiner(
        self, k: int, squares: fit_statistics.FitMeanSquares, mean: float, effect: float,
        error: float,
    ) -> ExaminerSeverity:  # fmt: skip
        name = self.data.examiners[k]
        number = self.linked.set_of(name)
        alone = len(self.linked.sets[number]) == 1
        severity = float("nan") if alone else float(self.severity[k])
        error = float("nan") if alone else error
        stand = self.standing
        infit, outfit = float(squares.infit[k]), float(squares.outfit[k])
        return ExaminerSeverity(
            examiner=name, n=int(squares.n[k]), severity=severity, standard_error=error,
            low=severity - Z95 * error, high=severity + Z95 * error,
            effect=float("nan") if alone else effect, mean_category=mean,
            infit=infit, outfit=outfit, infit_se=float(squares.infit_se[k]),
            outfit_se=float(squares.outfit_se[k]), fit=fit_statistics.fit_words(infit, outfit),
            shift=float(stand.shift[k]) if stand else float("nan"),
            z=float(stand.z[k]) if stand else float("nan"),
            p_adjusted=float(stand.adjusted[k]) if stand else float("nan"),
            verdict=self._verdict(k), set=number,
        )  # fmt: skip

    def _verdict(self, k: int) -> str:
        if self.standing is None:
            return "cannot be told"
        enough = abs(self.standing.shift[k]) >= self.smallest * self.table.top
        if self.standing.adjusted[k] >= FAMILY_ERROR or not enough:
            return "ordinary"
        return "severe" if self.standing.shift[k] > 0 else "lenient"

    def _stations(self) -> tuple[StationDifficulty, ...]:
        data, squares = self.data, self._squares(self.data.station, self.table.stations)
        means = np.bincount(data.station, data.category) / squares.n
        errors = np.sqrt(np.maximum(np.diag(self.fit.covariance), 0.0))
        rows = []
        for k, name in enumerate(data.stations):
            value, error = float(self.natural.station[k]), float(errors[k])
            infit, outfit = float(squares.infit[k]), float(squares.outfit[k])
            steps = self.natural.steps[k if self.table.step_sets > 1 else 0, : data.tops[k]]
            rows.append(StationDifficulty(
                station=name, n=int(squares.n[k]), difficulty=value, standard_error=error,
                low=value - Z95 * error, high=value + Z95 * error,
                mean_category=float(means[k]), infit=infit, outfit=outfit,
                infit_se=float(squares.infit_se[k]), outfit_se=float(squares.outfit_se[k]),
                fit=fit_statistics.fit_words(infit, outfit), steps=tuple(steps.tolist()),
            ))  # fmt: skip
        return tuple(rows)

    def _gain(self) -> Array:
        """For each rating, what an average examiner would be expected to give in addition, in
        categories, averaged over what is known of the student."""
        x = np.arange(self.table.top + 1.0)
        average = self.natural.examiner - self.severity
        fair = facets.log_probability(self.table, self.natural, facets.NODES, average)
        gain = np.einsum("x,exq->eq", x, np.exp(fair) - self.fit.state.probability)
        total = np.empty(len(self.pair))
        for start in range(0, len(total), fit_statistics.CHUNK):
            rows = slice(start, start + fit_statistics.CHUNK)
            posterior = self.fit.state.posterior[self.data.student[rows]]
            total[rows] = np.einsum("rq,rq->r", posterior, gain[self.pair[rows]])
        return total

    def _students(self) -> pd.DataFrame:
        import pandas as pd

        posterior, data = self.fit.state.posterior, self.data
        measure = posterior @ facets.NODES
        variance = posterior @ facets.NODES**2 - measure**2
        n = np.bincount(data.student)
        mean = np.bincount(data.student, data.category) / n
        adjustment = np.bincount(data.student, self._gain()) / n
        return pd.DataFrame({
            "student": data.students, "n": n, "measure": measure,
            "measure_sd": np.sqrt(np.maximum(variance, 0.0)), "mean_category": mean,
            "adjusted_mean": mean + adjustment, "adjustment": adjustment,
        })  # fmt: skip

    def _sentence(self, severe: tuple[str, ...], lenient: tuple[str, ...]) -> str:
        if not self.linked.connected:
            return self.linked.sentence + " Nobody is named severe."
        if self.standing is None:
            return "Too little is known to say whether an examiner is severe."
        if not severe and not lenient:
            return "No examiner stands out from the ordinary spread of the others."
        parts = [f"{', '.join(names)} gave {less} marks than the others"
                 for names, less in ((severe, "fewer"), (lenient, "more")) if names]  # fmt: skip
        return "; ".join(parts) + ", beyond chance and beyond the ordinary spread."


def _extreme(name: str) -> ExaminerSeverity:
    nan = float("nan")
    return ExaminerSeverity(
        name, 0, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, "not known", nan, nan, nan,
        "cannot be told", -1,
    )  # fmt: skip


def _rule(smallest: float) -> str:
    return (
        "An examiner is named when the deleted residual of the fair average against the others "
        "(sampling error and "
        "ordinary spread together) is significant at 5% over all examiners (Holm, both sides) "
        f"and the shift in average marks is at least {smallest:.0%} of the rating scale."
    )
