"""Drift over the day, halo, and groups of students."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest

from sidewise.errors import UserError
from sidewise.teaching.severity.drift import fit_drift
from sidewise.teaching.severity.group_comparison import compare_groups
from sidewise.teaching.severity.halo import find_halo


def day(seed: int, *, drift: float = 0.0, common: float = 0.0) -> pd.DataFrame:
    """120 students in 6 sessions, 6 stations, 6 examiners who rotate; e0 changes by `drift` points
    from the first session to the last, everyone by `common`."""
    rng = np.random.default_rng(seed)
    ability, ease = rng.normal(0, 6, 120), rng.normal(0, 4, 6)
    student, station = (a.ravel() for a in np.indices((120, 6)))
    session = student // 20
    examiner = (station + session + student % 2) % 6
    time = session / 5
    y = 60 + ability[student] + ease[station] + rng.normal(0, 5, len(student)) + common * time
    y += np.where(examiner == 0, drift * time, 0.0)
    return pd.DataFrame({"student": student, "station": station, "examiner": examiner,
                         "session": session, "score": y}).astype({"examiner": str})  # fmt: skip


class TestDrift:
    def test_who_grew_severe_is_named(self):
        found = fit_drift(day(1, drift=-15.0))
        assert [e.examiner for e in found.examiners if e.verdict == "grew more severe"] == ["0"]
        first = found.examiners[0]
        # Against the mean of all six: five sixths of it.
        assert first.low < -15.0 * 5 / 6 < first.high

    def test_nobody_is_named_on_a_steady_day(self):
        found = fit_drift(day(2))
        assert {e.verdict for e in found.examiners} == {"no drift seen"}

    def test_relative_trends_sum_to_zero(self):
        assert sum(e.change for e in fit_drift(day(3)).examiners) == pytest.approx(0, abs=1e-8)

    def test_common_change_is_apart_and_cautioned(self):
        found = fit_drift(day(4, common=8.0))
        assert abs(found.common_change - 8.0) < 4 * found.common_standard_error
        assert {e.verdict for e in found.examiners} == {"no drift seen"}
        assert "cannot be told apart" in found.sentence

    def test_equals_ordinary_least_squares(self):
        import statsmodels.formula.api as smf

        frame = day(5, drift=-6.0).assign(time=lambda f: f["session"] / 5)
        formula = "score ~ C(student) + C(station) + C(examiner) + C(examiner):time - 1"
        with warnings.catch_warnings():
            # One dummy too many, on purpose: the design holds every examiner's own trend.
            warnings.filterwarnings("ignore", message="The design matrix is rank-deficient")
            theirs = smf.ols(formula, frame[frame["student"] % 3 == 0]).fit()
        slopes = theirs.params.filter(like=":time")
        ours = fit_drift(frame[frame["student"] % 3 == 0])
        # One time trend is the students' own, so only differences of slopes are shared.
        assert [e.change for e in ours.examiners] == pytest.approx(slopes - slopes.mean(), abs=1e-6)

    def test_names_of_sessions_are_taken_in_order_of_appearance(self):
        frame = day(1, drift=-15.0)
        named = frame.assign(session=[f"{'zyxwvu'[k]}" for k in frame["session"]])
        assert fit_drift(named).examiners[0].change == pytest.approx(
            fit_drift(frame).examiners[0].change
        )

    def test_one_place_in_the_day_is_refused(self):
        with pytest.raises(UserError, match="two places in the day"):
            fit_drift(day(1).assign(session=1))

    def test_nobody_seen_twice_is_said(self):
        frame = day(1).assign(examiner=lambda f: f["session"].astype(str))
        assert any("drift cannot be told" in w for w in fit_drift(frame).warnings)

    @pytest.mark.slow
    def test_family_error_on_steady_days(self):
        # 300 days at 5%: 15 expected, standard deviation 3.8; at most four more.
        named = sum(
            any(e.verdict != "no drift seen" for e in fit_drift(day(1000 + k)).examiners)
            for k in range(300)
        )
        assert named <= 15 + 4 * 3.8


def item_marks(seed: int, *, halo: bool) -> pd.DataFrame:
    """40 students, 4 stations, 4 examiners, 10 items of 4 marks; e0 may mark by one impression."""
    rng = np.random.default_rng(seed)
    rows = []
    for student in range(40):
        ability = rng.normal(0, 0.1)
        for station in range(4):
            examiner = (station + student) % 4
            base = float(np.clip(0.6 + ability, 0.05, 0.95))
            marks = rng.binomial(4, np.clip(base + np.linspace(-0.15, 0.15, 10), 0.02, 0.98))
            if halo and examiner == 0:
                marks = np.clip(np.full(10, rng.binomial(4, base)) + rng.integers(0, 2, 10), 0, 4)
            rows += [(student, station, f"e{examiner}", item, float(m), 4.0)
                     for item, m in enumerate(marks)]  # fmt: skip
    columns = ["student", "station", "examiner", "item", "mark", "maximum"]
    return pd.DataFrame(rows, columns=columns)


class TestHalo:
    def test_one_impression_for_all_items_is_found(self):
        found = find_halo(item_marks(1, halo=True))
        assert found.look_at == ("e0",)
        assert found.examiners[0].ratio < 0.6
        assert "no fault is shown" in found.sentence

    def test_nobody_among_ordinary_examiners(self):
        assert find_halo(item_marks(2, halo=False)).look_at == ()

    def test_ratios_are_near_one_among_ordinary_examiners(self):
        for e in find_halo(item_marks(2, halo=False)).examiners:
            assert abs(e.ratio - 1) < 4 * e.standard_error

    def test_a_station_with_one_examiner_has_nobody_to_compare(self):
        marks = item_marks(3, halo=True).assign(examiner=lambda f: "e" + f["station"].astype(str))
        found = find_halo(marks)
        assert {e.seen for e in found.examiners} == {"cannot be told"}
        assert any("cannot be compared" in w for w in found.warnings)

    def test_order_of_rows_does_not_matter(self):
        marks = item_marks(1, halo=True)
        a, b = find_halo(marks), find_halo(marks.sample(frac=1.0, random_state=0))
        assert [e.ratio for e in b.examiners] == pytest.approx([e.ratio for e in a.examiners])

    def test_all_marks_equal(self):
        found = find_halo(item_marks(1, halo=False).assign(mark=2.0))
        assert found.look_at == ()

    def test_infinite_marks_are_refused(self):
        with pytest.raises(UserError, match="finite marks"):
            find_halo(item_marks(1, halo=False).assign(mark=np.inf))


def grouped(seed: int, sizes: dict[str, int], *, gap: float = 0.0) -> pd.DataFrame:
    """Students in groups of the given sizes at 5 stations; group "b" loses `gap` at station 2."""
    rng = np.random.default_rng(seed)
    group = np.repeat(list(sizes), list(sizes.values()))
    ability = rng.normal(60, 6, len(group))
    student, station = (a.ravel() for a in np.indices((len(group), 5)))
    y = ability[student] + rng.normal(0, 5, len(student))
    y -= np.where((group[student] == "b") & (station == 2), gap, 0.0)
    return pd.DataFrame({"student": student, "station": station, "cohort": group[student],
                         "score": y})  # fmt: skip


class TestGroups:
    def test_small_groups_are_suppressed(self):
        found = compare_groups(grouped(1, {"a": 40, "b": 30, "c": 9, "d": 5}), "cohort")
        hidden = [g for g in found.groups if g.suppressed]
        assert [g.group for g in hidden] == ["c", "d"]
        assert all(g.mean is None and g.n is None for g in hidden)

    def test_ten_students_are_shown_and_nine_are_not(self):
        found = compare_groups(grouped(1, {"a": 40, "b": 30, "c": 10}), "cohort")
        assert not any(g.suppressed for g in found.groups)

    def test_one_hidden_group_hides_the_next_smallest(self):
        found = compare_groups(grouped(1, {"a": 40, "b": 30, "c": 20, "d": 5}), "cohort")
        assert sorted(g.group for g in found.groups if g.suppressed) == ["c", "d"]

    def test_difference_is_welchs(self):
        from scipy.stats import ttest_ind

        frame = grouped(2, {"a": 40, "b": 30})
        means = frame.groupby(["cohort", "student"])["score"].mean()
        theirs = ttest_ind(means["a"], means["b"], equal_var=False)
        ours = {g.group: g for g in compare_groups(frame, "cohort").groups}["a"]
        assert ours.difference == pytest.approx(means["a"].mean() - means["b"].mean())
        limits = theirs.confidence_interval(0.95)
        assert (ours.low, ours.high) == pytest.approx((limits.low, limits.high))

    def test_a_station_that_treats_one_group_apart_is_found(self):
        found = compare_groups(grouped(3, {"a": 60, "b": 60}, gap=9.0), "cohort")
        assert [s.station for s in found.stations if s.verdict == "look at this station"] == ["2"]

    def test_caution_goes_with_the_figures(self):
        found = compare_groups(grouped(1, {"a": 40, "b": 30}), "cohort")
        assert "cannot say which" in found.caution

    def test_one_large_group_is_not_compared(self):
        found = compare_groups(grouped(1, {"a": 40}), "cohort")
        assert any("nothing is compared" in w for w in found.warnings)
        assert found.stations == ()

    def test_a_student_in_two_groups_is_refused(self):
        frame = grouped(1, {"a": 40, "b": 30})
        frame.loc[0, "cohort"] = "b"
        with pytest.raises(UserError, match="one group a student"):
            compare_groups(frame, "cohort")
