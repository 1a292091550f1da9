"""What must not change when names, order or level change."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidewise.ground.agreement.categories import rater_agreement
from sidewise.ground.agreement.intraclass import reading_reliability
from sidewise.teaching.examples.teaching_week import TeachingWeek, teaching_week
from sidewise.teaching.pass_marks.borderline import borderline_regression
from sidewise.teaching.sitting.options import SittingOptions
from sidewise.teaching.sitting.sitting import Sitting, analyse_sitting
from sidewise.teaching.tables.marks_table import marks_from_frame
from sidewise.teaching.tables.scores import score_sheet, station_scores

SEEDS = st.integers(0, 2**32 - 1)
QUICK = SittingOptions(draws=200)


def quick(frame: object) -> Sitting:
    return analyse_sitting(marks_from_frame(frame), QUICK)  # type: ignore[arg-type]


@cache
def usual() -> Sitting:
    return quick(teaching_week(1).marks)


def figures(e: Sitting) -> dict[str, tuple[float, ...]]:
    return {
        s.station: (s.mean, s.sd, s.discrimination.value, s.line.cut.value, s.alpha.value)
        for s in e.stations
    }


def totals(e: Sitting) -> dict[str, tuple[float, float]]:
    return {r.student: (r.total, r.other) for r in e.results}


@given(SEEDS)
@settings(max_examples=2, deadline=None)
def test_order_of_rows_does_not_matter(seed: int) -> None:
    whole, mixed = usual(), quick(teaching_week(1).marks.sample(frac=1, random_state=seed))
    assert figures(mixed).keys() == figures(whole).keys()
    for station, row in figures(whole).items():
        assert figures(mixed)[station] == pytest.approx(row)
    for student, row in totals(whole).items():
        assert totals(mixed)[student] == pytest.approx(row, rel=1e-5)
    assert mixed.mark.bootstrap.low == pytest.approx(whole.mark.bootstrap.low)
    assert mixed.fairness.severity.severe == whole.fairness.severity.severe


@given(SEEDS)
@settings(max_examples=2, deadline=None)
def test_names_do_not_matter(seed: int) -> None:
    rng = np.random.default_rng(seed)
    marks = teaching_week(1).marks
    renamed, back = marks.copy(), {}
    for column in ("student", "station", "examiner", "item"):
        old = list(marks[column].unique())
        new = [f"{column}{i}" for i in rng.permutation(len(old))]
        renamed[column] = marks[column].map(dict(zip(old, new, strict=True)))
        back |= dict(zip(new, old, strict=True))
    before, after = usual(), quick(renamed)
    for station, row in figures(after).items():
        assert row == pytest.approx(figures(before)[back[station]])
    for student, row in totals(after).items():
        # The bootstrap sorts students by name, so only its draws differ.
        assert row[0] == pytest.approx(totals(before)[back[student]][0])
    assert [back[x] for x in after.fairness.severity.severe] == list(
        before.fairness.severity.severe
    )


@given(st.floats(-20, 20), st.floats(0.2, 5))
@settings(max_examples=30, deadline=None)
def test_pass_mark_moves_with_the_marks(shift: float, stretch: float) -> None:
    rng = np.random.default_rng(3)
    rating = rng.integers(0, 5, 40).astype(float)
    mark = 40 + 8 * rating + rng.normal(0, 5, 40)
    before, after = (borderline_regression(m, rating, 1) for m in (mark, shift + stretch * mark))
    assert after.cut.value == pytest.approx(shift + stretch * before.cut.value, abs=1e-8)
    assert after.r_squared == pytest.approx(before.r_squared)


@given(SEEDS)
@settings(max_examples=25, deadline=None)
def test_order_of_units_and_raters_does_not_matter_to_agreement(seed: int) -> None:
    rng = np.random.default_rng(seed)
    table = rng.integers(0, 3, (12, 4)).astype(float)
    table[rng.random(table.shape) < 0.2] = np.nan
    mixed = table[rng.permutation(12)][:, rng.permutation(4)]
    for a, b in zip(
        rater_agreement(table).coefficients, rater_agreement(mixed).coefficients, strict=True
    ):
        assert (b.value, b.se) == pytest.approx((a.value, a.se), nan_ok=True)


@given(SEEDS)
@settings(max_examples=25, deadline=None)
def test_names_of_categories_do_not_matter_to_agreement(seed: int) -> None:
    rng = np.random.default_rng(seed)
    table = rng.integers(0, 3, (12, 4)).astype(float)
    renamed = rng.permutation([10.0, 20.0, 30.0])[table.astype(int)]
    for a, b in zip(
        rater_agreement(table).coefficients, rater_agreement(renamed).coefficients, strict=True
    ):
        assert b.value == pytest.approx(a.value, nan_ok=True)


@given(st.floats(-50, 50), st.floats(0.1, 10))
@settings(max_examples=20, deadline=None)
def test_intraclass_correlation_has_no_unit(shift: float, stretch: float) -> None:
    table = np.random.default_rng(0).normal(size=(10, 3)) + np.arange(10)[:, None] / 4
    before, after = reading_reliability(table), reading_reliability(shift + stretch * table)
    for form, found in before.forms.items():
        assert after.forms[form].value == pytest.approx(found.value, abs=1e-8)
    assert after.sem == pytest.approx(stretch * before.sem, rel=1e-6)


def test_perfect_agreement_is_one() -> None:
    table = np.repeat(np.array([0.0, 1, 2, 1, 0, 2])[:, None], 3, axis=1)
    assert [c.value for c in rater_agreement(table).coefficients] == pytest.approx([1.0] * 5)


def test_sheet_keeps_the_order_of_first_appearance(week: TeachingWeek) -> None:
    marks = week.marks.iloc[::-1]
    assert score_sheet(station_scores(marks)).students[0] == marks["student"].iloc[0]
