"""Variance components against outside programs, published tables and a direct calculation."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidewise.errors import UserError
from sidewise.teaching.examples.teaching_week import teaching_week
from sidewise.teaching.reliability import reml
from sidewise.teaching.reliability.variance_components import fit_variance
from sidewise.teaching.reliability.variance_limits import _above_zero
from sidewise.teaching.tables.scores import station_scores
from tests.teaching.published import (
    BRENNAN,
    PASTES,
    PLATES,
    brennan_unbalanced,
    long,
    run,
    small_examination,
)


def direct_criterion(frame: pd.DataFrame, components: dict[str, float]) -> float:
    """-2 log restricted likelihood from the whole covariance matrix, term by term."""
    y = frame["score"].to_numpy(dtype=float)
    n = len(y)
    keys = {name: frame[name].to_numpy() for name in ("student", "station", "examiner", "session")
            if name in frame}  # fmt: skip
    keys["student_station"] = frame["student"].to_numpy() * 1000 + frame["station"].to_numpy()
    v = components["residual"] * np.eye(n)
    for name, value in components.items():
        if name != "residual":
            v += value * (keys[name][:, None] == keys[name])
    inverse = np.linalg.inv(v)
    x = np.ones(n)
    info = x @ inverse @ x
    rest = y - (x @ inverse @ y) / info
    logdet = np.linalg.slogdet(v)[1]
    return (n - 1) * np.log(2 * np.pi) + logdet + np.log(info) + rest @ inverse @ rest


def pastes() -> pd.DataFrame:
    """Batches as students; the casks of each batch, which no other has, as stations."""
    batch, cask, _ = np.indices(PASTES.shape)
    return pd.DataFrame({"student": batch.ravel(), "station": (3 * batch + cask).ravel(),
                         "score": PASTES.ravel()})  # fmt: skip


class TestAgainstLme4:
    """lme4 1.1-31 on the reference runs: criterion within 1e-4, components within 1e-3 where the
    likelihood is not flat (12 stations are: 5e-3)."""

    LME4 = {
        "reml_200": (14706.2534121, 9.842901757, {
            "student_station": 1.4636775, "student": 0.89064474, "examiner": 0.14999012,
            "station": 0.72539620, "residual": 0.60890817, "session": 0.0}),
        "reml_2000": (146908.403625, 9.946038324, {
            "student_station": 1.407966220, "student": 1.013572782, "session": 0.065471632,
            "examiner": 0.252668813, "station": 0.540401245, "residual": 0.635181423}),
    }  # fmt: skip

    @pytest.mark.parametrize("name", LME4)
    def test_criterion(self, name):
        found = fit_variance(run(name), intervals="none")
        assert found.criterion == pytest.approx(self.LME4[name][0], abs=1e-4)

    @pytest.mark.parametrize("name", LME4)
    def test_components(self, name):
        found = fit_variance(run(name), intervals="none")
        for facet, value in self.LME4[name][2].items():
            wide = 5e-3 if facet == "station" else 1e-3
            assert found.components[facet] == pytest.approx(value, rel=wide, abs=1e-9), facet

    @pytest.mark.parametrize("name", LME4)
    def test_mean(self, name):
        found = fit_variance(run(name), intervals="none")
        assert found.mean == pytest.approx(self.LME4[name][1], abs=1e-5)

    def test_boundary_is_zero_and_said_with_an_upper_limit(self):
        found = fit_variance(run("reml_200"))
        limits = found.intervals["session"]
        assert found.boundary == ("session",)
        assert found.components["session"] == 0.0
        assert limits.low == 0.0
        assert 0.0 < limits.high < 1.0
        assert any("session: estimated as 0, on the boundary" in w for w in found.warnings)

    def test_limit_on_the_boundary_is_where_the_criterion_rises_by_384(self):
        # At the limit, with the other components as fitted, the rise can only be larger.
        checked = 0
        for seed in range(8):
            frame = small_examination(seed).assign(session=lambda f: f["student"] % 3)
            found = fit_variance(frame, facets=("student", "station", "session"))
            if "session" in found.boundary:
                moved = {**found.components, "session": found.intervals["session"].high}
                assert direct_criterion(frame, moved) - found.criterion >= 3.83
                checked += 1
        assert checked >= 3


class TestPublishedTables:
    def test_brennan_persons_by_raters_in_tasks(self):
        # Brennan 2001: .4731 .3252 .6475 .5596 2.3802 (balanced, so REML equals ANOVA).
        found = fit_variance(long(BRENNAN, raters=4), intervals="none").components
        printed = {"student": 0.4731, "station": 0.3252, "examiner": 0.6475,
                   "student_station": 0.5596, "residual": 2.3802}  # fmt: skip
        for name, value in printed.items():
            assert found[name] == pytest.approx(value, abs=1.1e-4), name

    def test_brennan_with_ten_cells_missing(self):
        # lme4 1.1-31 on the same cells.
        found = fit_variance(brennan_unbalanced(), intervals="none")
        values = {"student": 0.610546, "station": 0.447282, "examiner": 0.634179,
                  "student_station": 0.486962, "residual": 2.376023}  # fmt: skip
        assert found.criterion == pytest.approx(447.902667, abs=1e-5)
        assert found.mean == pytest.approx(4.77257874, abs=1e-4)
        assert found.mean_standard_error == pytest.approx(0.54867664, rel=1e-3)
        for name, value in values.items():
            assert found.components[name] == pytest.approx(value, rel=1e-3), name

    def test_crossed_plates_and_samples(self):
        # lme4's crossed example: .7169 3.7309 .3024, criterion 330.9 (computed 330.860589).
        frame = long(PLATES).drop(columns="examiner")
        found = fit_variance(frame, intervals="none")
        assert found.criterion == pytest.approx(330.860589, abs=1e-5)
        assert found.components["student"] == pytest.approx(0.716905, rel=1e-3)
        assert found.components["station"] == pytest.approx(3.731132, rel=1e-3)
        assert found.components["residual"] == pytest.approx(0.302415, rel=1e-3)

    def test_casks_within_batches(self):
        # lme4's nested example, as its users print it to four decimals:
        # cask within batch 8.4337, batch 1.6573, residual 0.6780.
        found = fit_variance(pastes(), facets=("student", "station"), cell=False, intervals="none")
        assert found.components["student"] == pytest.approx(1.6573, abs=6e-5)
        assert found.components["station"] == pytest.approx(8.4337, abs=6e-5)
        assert found.components["residual"] == pytest.approx(0.6780, abs=6e-5)

    def test_a_balanced_nested_table_gives_the_components_of_its_mean_squares(self):
        # With equal numbers and no estimate below zero REML is the analysis of variance
        # (Searle SR, Casella G, McCulloch CE, Variance Components, 1992; from memory).
        casks, batches = PASTES.mean(axis=2), PASTES.mean(axis=(1, 2))
        residual = ((PASTES - casks[..., None]) ** 2).sum() / 30
        within = 2 * ((casks - batches[:, None]) ** 2).sum() / 20
        between = 6 * ((batches - batches.mean()) ** 2).sum() / 9
        found = fit_variance(pastes(), facets=("student", "station"), cell=False, intervals="none")
        assert found.components["residual"] == pytest.approx(residual, rel=1e-5)
        assert found.components["station"] == pytest.approx((within - residual) / 2, rel=1e-4)
        assert found.components["student"] == pytest.approx((between - within) / 6, rel=1e-3)

    def test_raters_labelled_afresh_at_each_task(self):
        frame = long(BRENNAN, raters=4)
        frame["examiner"] %= 4
        facets = ("student", "station", "examiner:station")
        nested = fit_variance(frame, facets=facets, intervals="none")
        plain = fit_variance(long(BRENNAN, raters=4), intervals="none")
        assert nested.components == pytest.approx(plain.components)


class TestAgainstDirectCalculation:
    @pytest.mark.parametrize("seed", range(5))
    def test_criterion_is_that_of_the_whole_matrix(self, seed):
        frame = small_examination(seed)
        found = fit_variance(frame, intervals="none")
        assert found.criterion == pytest.approx(direct_criterion(frame, found.components), rel=1e-9)

    @pytest.mark.parametrize("seed", range(20))
    def test_no_neighbour_is_better(self, seed):
        frame = small_examination(seed)
        found = fit_variance(frame, intervals="none")
        for name, value in found.components.items():
            for factor in (0.97, 1.03):
                moved = {**found.components, name: value * factor + 1e-3 * (value == 0)}
                assert direct_criterion(frame, moved) >= found.criterion - 1e-7, (name, factor)

    @settings(max_examples=25, deadline=None)
    @given(st.lists(st.floats(0.0, 4.0), min_size=5, max_size=5), st.integers(0, 3))
    def test_gradient_is_that_of_differences(self, ratios, seed):
        sums = sums_of(small_examination(seed))
        point = np.array(ratios) + 1e-3
        exact = reml.restricted_likelihood(sums, point, 0.8)
        h = 1e-6
        for k in range(5):
            step = h * np.eye(5)[k]
            above = reml.restricted_likelihood(sums, point + step, 0.8).criterion
            below = reml.restricted_likelihood(sums, point - step, 0.8).criterion
            rise = (above - below) / (2 * h)
            assert exact.gradient[k] == pytest.approx(rise, rel=1e-4, abs=1e-3)

    def test_statsmodels_gives_the_same_nested_fit(self):
        import statsmodels.formula.api as smf

        frame = small_examination(7, students=40)
        ours = fit_variance(frame, facets=("student", "session"), cell=False, intervals="none")
        with np.errstate(all="ignore"):
            theirs = smf.mixedlm("score ~ 1", frame, groups=frame["session"],
                                 vc_formula={"student": "0 + C(student)"},
                                 re_formula="1").fit(reml=True, method="lbfgs")  # fmt: skip
        assert ours.components["student"] == pytest.approx(float(theirs.vcomp[0]), rel=2e-3)
        assert ours.components["residual"] == pytest.approx(float(theirs.scale), rel=2e-3)
        assert ours.criterion == pytest.approx(-2 * theirs.llf, abs=1e-3)


def sums_of(frame: pd.DataFrame) -> reml.Sums:
    student, station, examiner, session = (
        frame[c].to_numpy(dtype=np.int64) for c in ("student", "station", "examiner", "session")
    )
    cell = np.unique(student * 4 + station, return_inverse=True)[1]
    return reml.sums_of_design(frame["score"].to_numpy(), [cell, student, session],
                       [station, examiner], (4, 6))  # fmt: skip


class TestInvariance:
    @settings(max_examples=10, deadline=None)
    @given(st.integers(0, 10**6))
    def test_order_of_rows_does_not_matter(self, seed):
        frame = small_examination(1)
        mixed = frame.sample(frac=1.0, random_state=seed)
        a, b = (fit_variance(f, intervals="none") for f in (frame, mixed))
        assert b.criterion == pytest.approx(a.criterion, abs=1e-6)

    @settings(max_examples=10, deadline=None)
    @given(st.permutations(range(6)))
    def test_names_do_not_matter(self, names):
        frame = small_examination(2)
        named = frame.assign(examiner=[f"E{names[e]}" for e in frame["examiner"]])
        a, b = (fit_variance(f, intervals="none") for f in (frame, named))
        assert b.components == pytest.approx(a.components, rel=1e-4, abs=1e-6)

    def test_units_scale_components_by_their_square(self):
        frame = small_examination(4)
        a = fit_variance(frame, intervals="none")
        b = fit_variance(frame.assign(score=7 + 10 * frame["score"]), intervals="none")
        for name, value in a.components.items():
            assert b.components[name] == pytest.approx(100 * value, rel=1e-4, abs=1e-6)


class TestDesignsThatCannotSeparate:
    def test_one_mark_per_cell_is_said(self):
        frame = small_examination(5).drop_duplicates(["student", "station"])
        found = fit_variance(frame)
        assert "cannot be told from the residual" in found.dropped["student_station"]
        assert any(w.startswith("student by station") for w in found.warnings)

    def test_one_examiner_for_each_station_is_said(self):
        frame = small_examination(5).assign(examiner=lambda f: "E" + f["station"].astype(str))
        assert "cannot be told from station" in fit_variance(frame).dropped["examiner"]

    def test_a_single_session_is_left_out(self):
        found = fit_variance(small_examination(5).assign(session="monday"))
        assert "one level only" in found.dropped["session"]

    def test_a_missing_session_column_is_a_warning(self):
        found = fit_variance(small_examination(5).drop(columns="session"))
        assert "There is no column session: it was left out of the model." in found.warnings

    def test_students_in_several_sessions_are_crossed_with_them(self):
        frame = small_examination(6).assign(session=lambda f: f["station"] % 2)
        found = fit_variance(frame, intervals="none")
        assert found.criterion == pytest.approx(direct_criterion(frame, found.components), rel=1e-9)

    def test_a_station_with_no_marks_is_left_out(self):
        frame = small_examination(5)
        frame.loc[frame["station"] == 2, "score"] = np.nan
        assert fit_variance(frame).levels["station"] == 3

    def test_few_students_are_a_warning(self):
        assert any("below 50" in w for w in fit_variance(small_examination(5)).warnings)


class TestRefusals:
    @pytest.mark.parametrize(
        ("change", "message"),
        [
            (lambda f: f.assign(score=50.0), "marks that differ"),
            (lambda f: f[f["student"] == 0], "at least two students"),
            (lambda f: f.assign(score=np.inf), "finite marks"),
            (lambda f: f.assign(score=np.nan), "at least a few marks"),
            (lambda f: f.drop(columns="student"), "a column student"),
            (lambda f: f.drop(columns="score"), "a column score"),
            (lambda f: f.drop_duplicates("student"), "several marks for each student"),
            (lambda f: f.assign(examiner=None), "a name on every row"),
        ],
    )
    def test_message(self, change, message):
        with pytest.raises(UserError, match=message):
            fit_variance(change(small_examination(0)))

    @pytest.mark.parametrize("column", ["station", "examiner"])
    def test_one_level_is_a_result_with_a_warning(self, column):
        frame = small_examination(0)
        found = fit_variance(frame[frame[column] == 1])
        assert any(w.startswith(f"{column} has one level only") for w in found.warnings)


class TestLimitsAlwaysEnd:
    """Weeks and thin tables whose search for a limit once ran away to a singular system."""

    @pytest.mark.parametrize("seed", [3, 313, 314, 317])
    @pytest.mark.parametrize("students", [6, 48])
    def test_every_limit_is_finite_and_on_its_side(self, seed, students):
        scores = station_scores(teaching_week(seed).marks)
        names = scores["student"].unique()[:students]
        found = fit_variance(scores[scores["student"].isin(names)])
        assert found.intervals
        for name, limits in found.intervals.items():
            assert np.isfinite([limits.low, limits.high]).all()
            assert limits.low <= found.components[name] <= limits.high

    def test_a_guess_beyond_the_limit_of_a_zero_is_drawn_in(self):
        # The profile of a variance estimated as 0 rises as its square root: limit 0.0004.
        found = _above_zero(lambda value: np.sqrt(value) - 0.02, start=50.0)
        assert found == pytest.approx(0.0004, rel=1e-3)


@pytest.mark.slow
def test_twenty_thousand_students_have_limits_for_stations_alike():
    """Stations of no difficulty among 20,000 students: 0 is estimated, and its upper limit lies
    far below a ten-thousandth of the residual. Wald limits elsewhere, as above 500 students."""
    rng = np.random.default_rng(2)
    students, stations = 20_000, 12
    score = rng.normal(0, 7, (students, 1)) + rng.normal(0, 10, (students, stations))
    # Station means are made equal, so that nothing but zero fits.
    score -= score.mean(axis=0)
    student, station = np.indices(score.shape)
    frame = pd.DataFrame({"student": student.ravel(), "station": station.ravel(),
                          "score": score.ravel()})  # fmt: skip
    found = fit_variance(frame)
    assert found.boundary == ("station",)
    assert found.intervals["station"].method == "profile"
    assert 0 < found.intervals["station"].high < 1e-4 * found.components["residual"]
    assert found.intervals["student"].method.startswith("Wald")


@pytest.mark.slow
def test_limits_cover_the_truth_in_95_of_100():
    """120 balanced examinations, 60 students x 8 stations x 2 examiners: the student component's
    profile limits. Binomial: 114 expected, standard deviation 2.4; accepted within four of them."""
    rng = np.random.default_rng(11)
    covered = 0
    for _ in range(120):
        table = (rng.normal(0, 1.0, (60, 1, 1)) + rng.normal(0, 0.7, (1, 8, 1))
                 + rng.normal(0, 1.0, (60, 8, 1)) + rng.normal(0, 0.8, (60, 8, 2)))  # fmt: skip
        student, station, _ = np.indices(table.shape)
        frame = pd.DataFrame({"student": student.ravel(), "station": station.ravel(),
                              "score": table.ravel()})  # fmt: skip
        limits = fit_variance(frame, intervals="profile").intervals["student"]
        covered += limits.low <= 1.0 <= limits.high
    assert 105 <= covered <= 120
