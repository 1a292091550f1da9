"""Marks that lie close together; recorded performances that link circuits."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sidewise.errors import UserError
from sidewise.teaching.examples.example_files import WEEK
from sidewise.teaching.examples.teaching_week import teaching_week
from sidewise.teaching.report.as_json import sitting_data
from sidewise.teaching.severity.central_tendency import central_tendency
from sidewise.teaching.sitting.sitting import analyse_sitting
from sidewise.teaching.tables.marks_table import marks_from_frame


def panel(seed: int, shrink: float = 1.0, examiners: int = 16, each: int = 24) -> pd.DataFrame:
    """Two examiners a station; the first one's marks are drawn together by `shrink`."""
    rng = np.random.default_rng(seed)
    score = rng.normal(60, 12, (examiners, each))
    score[0] = 60 + shrink * (score[0] - 60)
    who = np.repeat(np.arange(examiners), each)
    return pd.DataFrame({"examiner": [f"E{k:02d}" for k in who],
                         "station": [f"t{k // 2}" for k in who],
                         "score": score.ravel()})  # fmt: skip


def test_equal_spreads_are_compared_as_levene_does() -> None:
    # One station, two examiners with many marks: the p value is that of Welch's t test on distances
    # from the median (scipy); the small-sample factor sqrt(1 - 1/n) is common to both.
    table = panel(3, 0.8, examiners=2, each=200)
    found = central_tendency(table).examiners[0]
    own, other = (g.to_numpy() for _, g in table.groupby("examiner")["score"])
    z = [np.abs(x - np.median(x)) for x in (own, other)]
    expected = stats.ttest_ind(*z, equal_var=False)
    assert found.ratio == pytest.approx(z[0].mean() / z[1].mean())
    # Two examiners: Holm doubles the smaller p.
    assert found.p_adjusted == pytest.approx(min(1.0, 2 * expected.pvalue), rel=0.02)


def test_close_marks_are_named_and_nobody_else() -> None:
    found = central_tendency(panel(5, 0.25))
    assert found.close == ("E00",)
    assert "closer together" in found.sentence
    # The only colleague is then the wider one of two; that is the same difference.
    assert {r.examiner for r in found.examiners if r.seen == "far apart"} <= {"E01"}


def test_nobody_is_named_in_five_of_a_hundred_equal_panels() -> None:
    # Family-wise 5%, 300 panels: at most 5% + 2 standard errors of 1.3%.
    named = [bool(central_tendency(panel(seed)).close) for seed in range(300)]
    assert np.mean(named) <= 0.076


def test_no_colleague_means_it_cannot_be_told() -> None:
    table = panel(1).assign(station=lambda t: t["examiner"])
    found = central_tendency(table)
    assert {r.seen for r in found.examiners} == {"cannot be told"}
    assert "cannot be told" in found.sentence


def test_a_column_is_asked_for() -> None:
    with pytest.raises(UserError, match="station"):
        central_tendency(panel(1).drop(columns="station"))


# ---------------------------------------------------------------- recorded performances


def recorded(seed: int, films: int = 6) -> pd.DataFrame:
    """An unlinked week all of whose examiners marked the same films, of three stations."""
    week = teaching_week(seed, linked=False)
    table = week.marks.assign(linking="")
    rng = np.random.default_rng(seed)
    parts = []
    for film in range(films):
        station = ("look", "feel", "move")[film % 3]
        items = table[table["station"] == station].drop_duplicates("item")
        seen = items.assign(student=f"film-{film}", linking="yes", comment="", critical_error="",
                            circuit="film", session="film")  # fmt: skip
        base = rng.normal(0.55, 0.12) + rng.normal(0, 0.1, len(items))
        for who in week.severity:
            # A judgement's error as large as a student's own part at a station makes it elsewhere.
            got = base - week.severity[who] / 100 + rng.normal(0, 0.11)
            mark = np.round(np.clip(got, 0, 1) * items["maximum"].to_numpy(dtype=float))
            grade = np.digitize(got.mean(), [0.35, 0.48, 0.62, 0.78])
            word = ["fail", "borderline", "pass", "good", "excellent"][grade]
            parts.append(seen.assign(examiner=who, mark=mark, global_rating=word))
    return pd.concat([table, *parts], ignore_index=True)


def test_films_link_circuits_that_share_nobody() -> None:
    week = teaching_week(WEEK, linked=False)
    apart = analyse_sitting(marks_from_frame(week.marks))
    linked = analyse_sitting(marks_from_frame(recorded(WEEK)))
    assert not apart.fairness.linked
    assert linked.fairness.linked
    assert linked.fairness.recorded == 6
    assert linked.fairness.severity is not None
    assert week.severe_examiner in linked.fairness.severity.severe


def test_films_change_no_total_and_are_no_students() -> None:
    apart = analyse_sitting(marks_from_frame(teaching_week(WEEK, linked=False).marks))
    linked = analyse_sitting(marks_from_frame(recorded(WEEK)))
    assert [r.total for r in linked.results] == [r.total for r in apart.results]
    assert linked.mark.value == apart.mark.value
    assert not any(r.student.startswith("film") for r in linked.results)
    names = {row["student"] for row in sitting_data(linked)["severity"]["students"]}
    assert not any(name.startswith("film") for name in names)


def test_a_table_of_films_only_is_refused() -> None:
    table = recorded(WEEK)
    with pytest.raises(UserError, match="students' own performances"):
        analyse_sitting(marks_from_frame(table[table["linking"] == "yes"]))


def share_covered(weeks: int) -> float:
    """How often the limits of an examiner hold the severity, which is beside the mean of all."""
    inside = []
    for seed in range(weeks):
        week = teaching_week(2000 + seed, linked=False)
        found = analyse_sitting(marks_from_frame(recorded(2000 + seed))).fairness.severity
        assert found is not None
        mean = np.mean(list(week.severity.values()))
        inside += [x.low <= week.severity[x.examiner] - mean <= x.high for x in found.examiners]
    assert len(inside) == 16 * weeks
    return float(np.mean(inside))


@pytest.mark.long
def test_limits_cover_true_severities_over_films() -> None:
    # 40 weeks of 16 examiners: 95 -/+ 4 of 100 (those of one week hang together). Marks of films
    # are rounded and cut off at 0 and the maximum.
    assert share_covered(40) == pytest.approx(0.95, abs=0.04)


@pytest.mark.slow
def test_limits_cover_true_severities_of_a_few_weeks() -> None:
    # The error of a share over 40 weeks, 2 of 100, is 5.2 over 6; two of them below 95.
    assert share_covered(6) >= 0.95 - 2 * 0.052
