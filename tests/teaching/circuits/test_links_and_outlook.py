"""What a timetable will tell of examiners: promised before the day, and held in simulation."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from sidewise.errors import UserError
from sidewise.teaching.circuits.allocation import make_timetable
from sidewise.teaching.circuits.faults import timetable_faults
from sidewise.teaching.circuits.links import ExaminerDesign, with_better_links
from sidewise.teaching.circuits.outlook import mark_design, severity_outlook
from sidewise.teaching.circuits.request import CircuitRequest
from sidewise.teaching.circuits.timetable import Timetable
from sidewise.teaching.severity.design_precision import design_precision
from sidewise.teaching.severity.mark_severity import severity_in_marks
from tests.teaching.circuits.days import request

STUDENT_SD, RESIDUAL_SD = 6.0, 10.0


@pytest.fixture(scope="module")
def made() -> tuple[CircuitRequest, Timetable]:
    """40 students, four stations, ten examiners, two circuits, five sessions on two days."""
    asked = request(students=40, stations=4, circuits="AB", sessions=5, examiners=10,
                    rules={"most_stations": 3, "least_runs": 10, "in_a_row": 3})  # fmt: skip
    return asked, make_timetable(asked).timetable


def dense_errors(design: pd.DataFrame) -> dict[str, float]:
    """The same errors from the full model with every column there, by generalised least squares of
    a general-purpose library: stations and examiners fixed, students random."""
    students = pd.get_dummies(design.student).to_numpy(float)
    covariance = STUDENT_SD**2 * students @ students.T + RESIDUAL_SD**2 * np.eye(len(design))
    names = sorted(design.examiner.unique())
    # Sum to zero: the last examiner is minus the sum of the others.
    dummies = pd.get_dummies(design.examiner)[names].to_numpy(float)
    contrast = np.vstack([np.eye(len(names) - 1), -np.ones(len(names) - 1)])
    stations = pd.get_dummies(design.station).to_numpy(float)
    columns = np.hstack([stations, dummies @ contrast])
    fit = sm.GLS(np.zeros(len(design)), columns, sigma=covariance)
    inverse = np.linalg.inv(fit.wexog.T @ fit.wexog)[stations.shape[1] :, stations.shape[1] :]
    errors = np.sqrt(np.diag(contrast @ inverse @ contrast.T))
    return dict(zip(names, errors.tolist(), strict=True))


def test_promised_errors_are_those_of_the_full_model(made: Any) -> None:
    """statsmodels 0.14 GLS, with students' covariance written out."""
    design = mark_design(*made)
    found = design_precision(design, STUDENT_SD, RESIDUAL_SD)
    assert found.linked.connected
    assert found.errors == pytest.approx(dense_errors(design), rel=1e-8)


def test_links_help_and_no_rule_is_broken(made: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    asked, linked = made
    monkeypatch.setattr(
        "sidewise.teaching.circuits.allocation.with_better_links", lambda _, timetable: timetable
    )
    plain = make_timetable(asked).timetable
    assert ExaminerDesign(asked, linked).cost() < ExaminerDesign(asked, plain).cost()
    assert timetable_faults(asked, linked) == []


def test_information_kept_up_is_that_computed_anew(made: Any) -> None:
    asked, timetable = made
    better = with_better_links(asked, timetable, trials=50)
    design = ExaminerDesign(asked, timetable)
    duties = [duty for duty in better.duties if duty.kind == "examiner"]
    changed = [k for k, (a, b) in enumerate(zip(design.duties, duties, strict=True)) if a != b]
    expected = ExaminerDesign(asked, better).cost()
    assert design.cost_with(duties, changed).variance == pytest.approx(expected.variance)
    design.move(duties, changed)
    assert design.cost().variance == pytest.approx(expected.variance)


def test_more_trials_never_cost_more(made: Any) -> None:
    asked, timetable = made
    costs = [
        ExaminerDesign(asked, with_better_links(asked, timetable, n)).cost() for n in (0, 100, 400)
    ]
    assert costs == sorted(costs, reverse=True)


def test_examiners_who_never_move_cannot_be_compared_and_it_is_said() -> None:
    """Two circuits, each examiner at one station of one of them: common practice, and blind."""
    asked = request(students=12, stations=3, circuits="AB", sessions=2, examiners=6)
    fixed = [person.model_copy(update={"stations": (f"s{k % 3 + 1}",)})
             for k, person in enumerate(asked.examiners)]  # fmt: skip
    asked = asked.model_copy(update={"examiners": tuple(fixed)})
    outlook = severity_outlook(asked, make_timetable(asked).timetable)
    assert len(outlook.sets) > 1
    assert "nothing links" in outlook.sentences[0]
    assert "least_runs" in outlook.sentences[1]


@pytest.mark.parametrize("wrong", [0.0, -1.0, float("nan"), float("inf")])
def test_a_spread_that_is_none_is_refused(made: Any, wrong: float) -> None:
    with pytest.raises(UserError, match="student_sd"):
        design_precision(mark_design(*made), wrong, RESIDUAL_SD)


# ------------------------------------------------------------------ simulation


def simulated(design: pd.DataFrame, severity: dict[str, float], rng: np.random.Generator) -> Any:
    """Marks of one sitting under the model that the promise assumes."""
    ability = dict(zip(design.student.unique(), rng.normal(0, STUDENT_SD, 10_000), strict=False))
    station = dict(zip(design.station.unique(), rng.normal(0, 4, 100), strict=False))
    score = (
        60 + design.student.map(ability) + design.station.map(station)
        - design.examiner.map(severity) + rng.normal(0, RESIDUAL_SD, len(design))
    )  # fmt: skip
    return design.assign(score=score)


def held(made: Any, sittings: int, seed: int) -> tuple[float, float]:
    """Mean square of (estimate - truth) / promised error, and how many estimates it rests on in
    effect: deviations of one sitting sum to zero, so one fewer than examiners."""
    asked, timetable = made
    design = mark_design(asked, timetable)
    promised = design_precision(design, STUDENT_SD, RESIDUAL_SD).errors
    rng = np.random.default_rng(seed)
    squares: list[float] = []
    for _ in range(sittings):
        drawn = rng.normal(0, 5, len(promised))
        severity = dict(zip(promised, drawn - drawn.mean(), strict=True))
        rows = severity_in_marks(simulated(design, severity, rng)).examiners
        squares += [((r.points - severity[r.examiner]) / promised[r.examiner]) ** 2 for r in rows]
    return float(np.mean(squares)), sittings * (len(promised) - 1)


def tolerance(free: float) -> float:
    """Four standard errors of a mean square with so many degrees of freedom (chi-squared)."""
    return 4 * (2 / free) ** 0.5


@pytest.mark.filterwarnings("ignore")
def test_severity_is_recovered_with_the_errors_promised(made: Any) -> None:
    square, free = held(made, 12, 20260504)
    assert abs(square - 1) < tolerance(free)


@pytest.mark.long
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("seed", range(4))
def test_severity_is_recovered_over_many_sittings(made: Any, seed: int) -> None:
    square, free = held(made, 250, seed)
    assert abs(square - 1) < tolerance(free)


def test_a_promise_half_as_large_would_be_found_out(made: Any) -> None:
    """The check can fail: with half the error, squares are four times as large."""
    square, free = held(made, 12, 20260504)
    assert abs(4 * square - 1) > tolerance(free)
