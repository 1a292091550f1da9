"""Tables that leave little or nothing to estimate give an answer with warnings or a UserError."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from sidewise.errors import UserError
from sidewise.teaching.reliability.generalizability import Design, g_study
from sidewise.teaching.reliability.variance_components import fit_variance
from sidewise.teaching.severity.drift import fit_drift
from sidewise.teaching.severity.mark_severity import severity_in_marks
from sidewise.teaching.severity.rating_severity import fit_severity, to_categories
from tests.teaching.severity.test_naming_and_links import circuits


def table() -> pd.DataFrame:
    frame = circuits("across", 5)
    session = frame["student"].str[1:].astype(int) // 20
    return frame.assign(session=session)


def codes(frame: pd.DataFrame, column: str) -> np.ndarray:
    return pd.factorize(frame[column])[0].astype(float)


TABLES: dict[str, Callable[[pd.DataFrame], pd.DataFrame]] = {
    "two students": lambda f: f[f["student"].isin(["s0", "s1"])],
    "one student": lambda f: f[f["student"] == "s0"],
    "one station": lambda f: f[f["station"] == "t0"],
    "two stations": lambda f: f[f["station"].isin(["t0", "t1"])],
    "one examiner": lambda f: f[f["examiner"] == "e0"],
    "one row": lambda f: f.iloc[:1],
    "no rows": lambda f: f.iloc[:0],
    "all marks equal": lambda f: f.assign(score=50.0),
    "one mark differs": lambda f: f.assign(score=np.where(np.arange(len(f)) == 0, 1.0, 50.0)),
    "two values": lambda f: f.assign(score=(f["score"] > 60).astype(float)),
    "students alone": lambda f: f.assign(score=codes(f, "student")),
    "stations alone": lambda f: f.assign(score=codes(f, "station")),
    "no residual": lambda f: f.assign(score=codes(f, "student") + codes(f, "station")),
    "huge units": lambda f: f.assign(score=f["score"] * 1e12),
    "a mark is infinite": lambda f: f.assign(score=np.where(f["score"] > 70, np.inf, 50.0)),
    "no marks": lambda f: f.assign(score=np.nan),
    "a station without marks": lambda f: f.assign(
        score=f["score"].where(f["station"] != "t1"),
    ),
}
FITS: dict[str, Callable[[pd.DataFrame], object]] = {
    "components": fit_variance,
    "coefficients": lambda f: g_study(fit_variance(f), Design(6), pass_mark=50.0),
    "marks": severity_in_marks,
    "rating scale": lambda f: fit_severity(to_categories(f)),
    "partial credit": lambda f: fit_severity(to_categories(f), model="partial_credit"),
    "drift": fit_drift,
}


def outcome(fit: Callable[[pd.DataFrame], object], frame: pd.DataFrame) -> str:
    try:
        return type(fit(frame)).__name__
    except UserError as error:
        return error.expected


@pytest.mark.parametrize("name", TABLES)
def test_no_table_ends_in_a_crash(name):
    outcomes = [outcome(fit, TABLES[name](table())) for fit in FITS.values()]
    assert len(outcomes) == 6
    assert all(outcomes)


@pytest.mark.parametrize("name", ["students alone", "stations alone", "no residual", "two values"])
def test_nobody_is_named_where_examiners_do_not_differ(name):
    found = severity_in_marks(TABLES[name](table()))
    assert found.severe == found.lenient == ()


def test_a_fit_without_residual_says_so():
    found = fit_variance(TABLES["no residual"](table()))
    assert any("without a residual" in w for w in found.warnings)
