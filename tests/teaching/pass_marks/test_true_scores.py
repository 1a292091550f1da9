"""True scores of a cohort that went round in groups, against the equations written out in full."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from sidewise.teaching.pass_marks import true_scores
from sidewise.teaching.pass_marks.true_scores import _alike, _cells, _inverse, _solve, _Variances

V = _Variances(between=50.0, rest=90.0, examiner=6.0, session=2.0)
STUDENTS, STATIONS = 60, 5


def _scores(students_stay: bool) -> pd.DataFrame:
    """Groups of ten with a session and examiners of their own; or sessions at random."""
    rng = np.random.default_rng(3)
    student, station = np.divmod(np.arange(STUDENTS * STATIONS), STATIONS)
    group = student // 10
    session = group if students_stay else rng.integers(0, 6, student.size)
    return pd.DataFrame({
        "student": student.astype(str), "station": station.astype(str),
        "session": session.astype(str), "examiner": ((group * 3 + station) % 9).astype(str),
        "score": 60 + rng.normal(0, 10, student.size),
    })  # fmt: skip


@pytest.mark.parametrize("dense", [True, False])
@pytest.mark.parametrize("students_stay", [True, False])
def test_the_posterior_is_that_of_all_effects_together(
    students_stay: bool, dense: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One Gaussian model of students, stations, examiners and sessions, solved at once."""
    monkeypatch.setattr(true_scores, "DENSE", true_scores.DENSE if dense else 0)
    scores = _scores(students_stay)
    cells = _cells(scores)
    solved = _solve(cells, V)
    codes = [pd.factorize(scores[n])[0] for n in ("student", "station", "examiner", "session")]
    sizes = [int(c.max()) + 1 for c in codes]
    x = np.zeros((len(scores), sum(sizes)))
    for code, start in zip(codes, np.cumsum([0, *sizes]), strict=False):
        x[np.arange(len(scores)), start + code] = 1.0
    prior = np.repeat([1 / V.between, 1e-8, 1 / V.examiner, 1 / V.session], sizes)
    inverse = np.linalg.inv(x.T @ x / V.rest + np.diag(prior))
    y = scores["score"].to_numpy()
    effects = inverse @ (x.T @ y) / V.rest
    # A true score: the student's part and the mean of what the sitting adds to a mark.
    want = np.zeros((STUDENTS, x.shape[1]))
    want[:, sizes[0] :] = x[:, sizes[0] :].mean(axis=0)
    want[np.arange(STUDENTS), np.arange(STUDENTS)] = 1.0
    centre, spread = want @ effects - y.mean(), np.sqrt(np.diag(want @ inverse @ want.T))
    assert np.allclose(solved.centre, centre, rtol=0, atol=1e-9)
    assert np.allclose(solved.sd, spread, rtol=1e-9)


@pytest.mark.parametrize("diagonal", [True, False])
def test_the_inverse_by_blocks_is_the_inverse(diagonal: bool) -> None:
    rng = np.random.default_rng(1)
    half = rng.normal(size=(40, 40))
    square = half @ half.T + 40 * np.eye(40)
    if diagonal:
        square[8:, 8:] = np.diag(100 + rng.random(32) * 50)
    found, whole = _inverse(square, 8), np.linalg.inv(square)
    assert np.abs(found - whole).max() < 1e-12 * np.abs(whole).max()


def test_students_who_went_round_together_share_a_row(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(true_scores, "DENSE", 0)
    cells = _cells(_scores(students_stay=True))
    rows, which = _alike(cells.seen)
    assert rows.shape[0] == STUDENTS // 10
    assert (rows[which].toarray() == cells.seen.toarray()).all()
    assert _alike(_cells(_scores(students_stay=False)).seen)[0].shape[0] > STUDENTS // 2
