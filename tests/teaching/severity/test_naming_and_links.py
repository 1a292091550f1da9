"""Who may be compared with whom, who may be named, and severity in points of mark."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidewise.errors import UserError
from sidewise.teaching.severity.facets import sum_to_zero
from sidewise.teaching.severity.linked_sets import linked_sets
from sidewise.teaching.severity.mark_severity import severity_in_marks
from sidewise.teaching.severity.severity_test import holm_adjusted_p, severity_tests


def circuits(link: str, seed: int = 0, *, shift: float = 0.0) -> pd.DataFrame:
    """Two circuits of 6 stations and 6 examiners each, 60 students in 3 sessions. `link`: "none"
    (nobody moves), "within" (examiners move from station to station in their circuit) or "across"
    (and half of them change circuits). Examiner e0 marks `shift` points down."""
    rng = np.random.default_rng(seed)
    ability, ease = rng.normal(0, 6, 60), rng.normal(0, 4, 6)
    own = np.where(np.arange(12) == 0, shift, 0.0)
    rows = []
    for student in range(60):
        session, circuit = student // 20, student % 2
        for station in range(6):
            place = station if link == "none" else (station + session) % 6
            home = circuit
            if link == "across" and session == 1 and place % 2 == 0:
                home = 1 - circuit
            examiner = place + 6 * home
            y = 60 + ability[student] + ease[station] - own[examiner] + rng.normal(0, 6)
            rows.append((f"s{student}", f"t{station}", f"e{examiner}", y))
    return pd.DataFrame(rows, columns=["student", "station", "examiner", "score"])


class TestLinks:
    def test_nobody_moves(self):
        found = linked_sets(circuits("none"))
        assert not found.connected
        assert len(found.sets) == 12

    def test_moving_within_circuits_links_each_circuit_only(self):
        found = linked_sets(circuits("within"))
        assert found.sets == (tuple(sorted(f"e{k}" for k in range(6))),
                              tuple(sorted(f"e{k}" for k in range(6, 12))))  # fmt: skip
        assert "severity cannot be told" in found.sentence

    def test_moving_across_circuits_links_all(self):
        found = linked_sets(circuits("across"))
        assert found.connected
        assert found.contrasts.shape == (12, 11)

    def test_one_student_seen_in_both_circuits_does_not_link_stations(self):
        # A single visitor ties the circuits by one thread at one station only if the rank says so.
        frame = circuits("within")
        visit = pd.DataFrame({"student": ["s0"], "station": ["t0"], "examiner": ["e7"],
                              "score": [60.0]})  # fmt: skip
        assert linked_sets(pd.concat([frame, visit])).connected

    def test_agrees_with_the_rank_of_the_whole_design(self):
        rng = np.random.default_rng(3)
        checked = 0
        for _ in range(60):
            levels = {"student": 5, "station": 3, "examiner": 4}
            frame = pd.DataFrame({k: rng.integers(0, top, 12) for k, top in levels.items()})
            found = linked_sets(frame)
            for one in found.examiners:
                for other in found.examiners:
                    same = found.set_of(one) == found.set_of(other)
                    assert same == estimable(frame, int(one), int(other))
                    checked += 1
        assert checked > 500

    def test_missing_column(self):
        with pytest.raises(UserError, match="a column examiner"):
            linked_sets(circuits("none").drop(columns="examiner"))


def estimable(frame: pd.DataFrame, one: int, other: int) -> bool:
    """Whether adding the contrast as a row leaves the rank of the full design unchanged."""
    parts = [np.eye(5)[frame["student"]], np.eye(3)[frame["station"]], np.eye(4)[frame["examiner"]]]
    design = np.hstack(parts)
    contrast = np.zeros(12)
    contrast[8 + one] += 1
    contrast[8 + other] -= 1
    longer = np.vstack([design, contrast])
    return bool(np.linalg.matrix_rank(longer) == np.linalg.matrix_rank(design))


class TestHolm:
    def test_worked_by_hand(self):
        # Sorted .01 .03 .04 times 3 2 1, never falling.
        assert holm_adjusted_p(np.array([0.04, 0.01, 0.03])) == pytest.approx([0.06, 0.03, 0.06])

    def test_equals_statsmodels(self):
        from statsmodels.stats.multitest import multipletests

        p = np.random.default_rng(0).random(30) ** 3
        assert holm_adjusted_p(p) == pytest.approx(multipletests(p, method="holm")[1])


class TestStanding:
    def test_heterogeneity_is_cochrans_q_for_independent_errors(self):
        y = np.array([0.3, -0.4, 0.9, -0.8, 0.1])
        found = severity_tests(y - y.mean(), 0.04 * np.eye(5), sum_to_zero(5)).heterogeneity
        assert found.statistic == pytest.approx(((y - y.mean()) ** 2).sum() / 0.04)
        assert found.freedom == 4

    def test_equals_a_deleted_comparison_when_errors_are_equal(self):
        # Others' mean and variance: shift/sqrt(s2 (1 + 1/(J-1))), the classical deleted residual.
        y = np.array([0.1, -0.9, 0.5, -0.3, 0.8, 3.0])
        found = severity_tests(y - y.mean(), 0.01 * np.eye(6), sum_to_zero(6))
        others = y[:5]
        assert found.shift[5] == pytest.approx(3.0 - others.mean())
        expected = found.shift[5] / np.sqrt(others.var(ddof=1) * (1 + 1 / 5))
        assert found.z[5] == pytest.approx(expected, rel=1e-6)

    def test_the_identifying_constraint_does_not_matter(self):
        rng = np.random.default_rng(2)
        y, root = rng.normal(size=8), rng.normal(size=(8, 8))
        cov = root @ root.T / 8
        centre = np.eye(8) - 1 / 8
        first = np.eye(8) - np.outer(np.ones(8), np.eye(8)[0])
        a = severity_tests(centre @ y, centre @ cov @ centre.T, sum_to_zero(8))
        b = severity_tests(first @ y, first @ cov @ first.T, sum_to_zero(8))
        assert b.z == pytest.approx(a.z)


class TestSeverityInMarks:
    def test_the_severe_one_is_named_in_points(self):
        found = severity_in_marks(circuits("across", 1, shift=14.0))
        assert found.severe == ("e0",)
        first = found.examiners[0]
        assert first.low < 14.0 * 11 / 12 < first.high
        assert "e0 gave" in found.sentence

    @pytest.mark.parametrize("link", ["none", "within"])
    def test_unlinked_circuits_name_nobody(self, link):
        found = severity_in_marks(circuits(link, 1, shift=14.0))
        assert not found.connected
        assert found.severe == found.lenient == ()
        assert {e.verdict for e in found.examiners} == {"cannot be told"}

    @settings(max_examples=10, deadline=None)
    @given(st.floats(-9, 9), st.integers(0, 11))
    def test_adding_to_one_examiners_marks_moves_that_examiner_only(self, points, which):
        # Against the others: everyone's severity is about the common mean, which moves a little.
        frame = circuits("across", 2)
        moved = frame.copy()
        moved.loc[moved["examiner"] == f"e{which}", "score"] += points
        a, b = (by_name(severity_in_marks(f)) for f in (frame, moved))
        shift = {name: b[name] - a[name] for name in a}
        rest = {round(v, 3) for name, v in shift.items() if name != f"e{which}"}
        # Student variance is estimated anew, so weights and thus severities stir by far less.
        assert max(rest) - min(rest) < 0.35
        assert shift[f"e{which}"] - np.mean(list(rest)) == pytest.approx(-points, abs=0.35)

    def test_shift_is_exact_with_many_stations_each(self):
        # Students' variance known to be large: within-student comparison, exact equivariance.
        frame = circuits("across", 2)
        frame["score"] += 1e4 * pd.factorize(frame["student"])[0]
        moved = frame.copy()
        moved.loc[moved["examiner"] == "e4", "score"] += 5.0
        a, b = (by_name(severity_in_marks(f)) for f in (frame, moved))
        assert b["e4"] - a["e4"] == pytest.approx(-5.0 * 11 / 12, abs=1e-4)
        assert b["e1"] - a["e1"] == pytest.approx(5.0 / 12, abs=1e-4)

    @settings(max_examples=10, deadline=None)
    @given(st.integers(0, 10**6))
    def test_order_of_rows_does_not_matter(self, seed):
        frame = circuits("across", 3)
        a = by_name(severity_in_marks(frame))
        b = by_name(severity_in_marks(frame.sample(frac=1.0, random_state=seed)))
        assert b == pytest.approx(a, abs=1e-5)

    def test_equals_dense_generalised_least_squares(self):
        frame = circuits("across", 4, shift=5.0)
        found = by_name(severity_in_marks(frame))
        assert found == pytest.approx(dense_severity(frame), abs=1e-3)

    def test_below_the_practical_size_nobody_is_named(self):
        found = severity_in_marks(circuits("across", 1, shift=14.0), smallest=30.0)
        assert found.severe == ()

    def test_adjusted_marks_stand_beside_those_given(self):
        frame = circuits("across", 1, shift=14.0)
        students = severity_in_marks(frame).students.set_index("student")
        given_mean = frame.groupby("student")["score"].mean()
        assert students["mean_score"].to_dict() == pytest.approx(given_mean.to_dict())
        met = frame.loc[frame["examiner"] == "e0", "student"].unique()
        assert (students.loc[met, "adjustment"] > 0).all()

    def test_ratings_are_used_where_all_rows_have_one(self):
        frame = circuits("across", 1).assign(global_rating=lambda f: (f["score"] // 20).clip(0, 4))
        assert severity_in_marks(frame).named_on == "marks and global ratings together"
        frame.loc[3, "global_rating"] = np.nan
        assert severity_in_marks(frame).named_on == "marks"

    @pytest.mark.parametrize(
        ("change", "message"),
        [(lambda f: f.assign(score=1.0), "marks that differ"),
         (lambda f: f[f["student"] == "s0"], "at least two students"),
         (lambda f: f.assign(score=np.inf), "finite marks"),
         (lambda f: f.assign(score=np.nan), "at least a few marks"),
         (lambda f: f.assign(examiner=None), "a name on every row"),
         (lambda f: f.drop_duplicates("student"), "several marks for each student")],
    )  # fmt: skip
    def test_refusal(self, change, message):
        with pytest.raises(UserError, match=message):
            severity_in_marks(change(circuits("across")))

    @pytest.mark.parametrize("column", ["station", "examiner"])
    def test_one_level_is_a_result(self, column):
        frame = circuits("across")
        other = "examiner" if column == "station" else "station"
        only = frame.assign(**{column: "x"}) if column == "examiner" else frame
        if column == "station":
            only = frame.assign(station="x")
        found = severity_in_marks(only)
        assert found.severe == ()
        assert other in frame.columns


def by_name(found) -> dict[str, float]:
    return {e.examiner: e.points for e in found.examiners}


def dense_severity(frame: pd.DataFrame) -> dict[str, float]:
    """The whole covariance matrix, its two variances by a plain search over REML with stations
    and examiners random as in the program's first step."""
    from sidewise.teaching.reliability.variance_components import fit_variance

    parts = fit_variance(frame, facets=("student", "station", "examiner"), cell=False,
                         intervals="none").components  # fmt: skip
    student, station, examiner = (pd.factorize(frame[c], sort=True)[0]
                                  for c in ("student", "station", "examiner"))  # fmt: skip
    same = (student[:, None] == student).astype(float)
    inverse = np.linalg.inv(parts["residual"] * np.eye(len(frame)) + parts["student"] * same)
    x = np.hstack([np.eye(6)[station], np.eye(12)[examiner]])
    effects = np.linalg.pinv(x.T @ inverse @ x) @ x.T @ inverse @ frame["score"].to_numpy()
    severity = -(effects[6:] - effects[6:].mean())
    return dict(zip(sorted(frame["examiner"].unique()), severity, strict=True))


@pytest.mark.slow
@pytest.mark.parametrize("spread", [0.0, 0.5, 1.0, 3.0])
@pytest.mark.parametrize("count", [8, 16, pytest.param(40, marks=pytest.mark.long)])
def test_family_error_without_anyone_severe(count, spread):
    """1,000 panels with errors of one unit and true spread: anyone is named in at most 5%; four
    binomial standard deviations (0.0069 each) are allowed for."""
    rng = np.random.default_rng(int(10 * spread) + count)
    contrasts = sum_to_zero(count)
    named = 0
    for _ in range(1000):
        y = rng.normal(0, np.sqrt(1 + spread**2), count)
        named += (severity_tests(y - y.mean(), np.eye(count), contrasts).adjusted < 0.05).any()
    assert named / 1000 <= 0.05 + 4 * 0.0069
