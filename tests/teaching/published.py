"""Published tables and reference runs used by several tests."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

RUNS = Path(__file__).parent.parent / "data" / "reference_runs"

# Brennan RL, Generalizability Theory, Springer 2001, table 3.2 (synthetic data set 4): ten
# persons; tasks 1 to 3 with raters 1-4, 5-8, 9-12.
BRENNAN = np.array(
    [[int(x) for x in row.split()] for row in """
    5 6 5 5  5 3 4 5  6 7 3 3
    9 3 7 7  7 5 5 5  7 7 5 2
    3 4 3 3  5 3 3 5  6 5 1 6
    7 5 5 3  3 1 4 3  5 3 3 5
    9 2 9 7  7 7 3 7  2 7 5 3
    3 4 3 5  3 3 6 3  4 5 1 2
    7 3 7 7  7 5 5 7  5 5 5 4
    5 8 5 7  7 5 5 4  3 2 1 1
    9 9 8 8  6 6 6 5  5 8 1 1
    4 4 4 3  3 5 6 5  5 7 1 1
    """.strip().splitlines()],
    dtype=float,
)  # fmt: skip

# Cells (person, rater), both from 1, taken out to make the table unbalanced.
TAKEN_OUT = ((3, 1), (7, 2), (8, 3), (1, 5), (5, 6), (6, 7), (9, 8), (10, 9), (1, 11), (8, 12))

# Davies OL, Goldsmith PL, Statistical Methods in Research and Production, 1972, table 6.6:
# diameters of growth inhibition for six samples (columns) on 24 plates (rows), as shipped with
# lme4 1.1-31 under the name Penicillin.
PLATES_AS_PRINTED = """
27,23,26,23,23,21 27,23,26,23,23,21 25,21,25,24,24,20 26,23,25,23,23,20
25,22,26,22,23,20 24,22,25,23,22,19 24,20,23,21,22,19 26,22,26,24,24,21
24,21,24,22,22,20 24,21,24,23,22,19 26,23,26,24,24,21 25,22,26,24,24,20
26,24,26,24,25,22 26,23,26,23,23,20 26,23,25,24,24,22 25,22,25,23,23,20
25,21,24,23,23,20 25,22,24,23,23,19 24,21,23,21,21,19 26,23,26,24,24,21
25,21,24,22,22,18 25,22,25,22,22,20 24,21,24,22,24,19 24,21,24,22,21,18
"""
PLATES = np.array(
    [[float(x) for x in row.split(",")] for row in PLATES_AS_PRINTED.split()], dtype=float
)

# Davies OL, Goldsmith PL, Statistical Methods in Research and Production, 1972, table 6.5 (number
# of the table from memory): strength of a paste, ten batches (rows) of three casks, each cask
# assayed twice; as lme4 ships it under the name Pastes.
PASTES_AS_PRINTED = """
62.8,62.6,60.1,62.3,62.7,63.1 60.0,61.4,57.5,56.9,61.1,58.9 58.7,57.5,63.9,63.1,65.4,63.7
57.1,56.4,56.9,58.6,64.7,64.5 55.1,55.1,54.7,54.2,58.8,57.5 63.4,64.9,59.3,58.1,60.5,60.0
62.5,62.6,61.0,58.7,56.9,57.7 59.2,59.4,65.2,66.0,64.8,64.1 54.8,54.8,64.0,64.0,57.7,56.8
58.3,59.3,59.2,59.2,58.9,56.6
"""
PASTES = np.array(
    [[float(x) for x in row.split(",")] for row in PASTES_AS_PRINTED.split()], dtype=float
).reshape(10, 3, 2)

# Gleser GC, Cronbach LJ, Rajaratnam N, Psychometrika 1965; 30:395-418, table 3: twelve patients;
# columns symptom 1 judge 1, symptom 1 judge 2, ..., symptom 6 judge 2; ratings 0 to 6.
GLESER_AS_PRINTED = """
002120211112 002120122121 001133212112 202122212141 001220233333 202120413331
013131342223 000143342333 122136132321 012433223531 342232453355 112444334666
"""
GLESER = GLESER_AS_PRINTED.split()


def long(table: np.ndarray, raters: int = 1) -> pd.DataFrame:
    """A persons x columns table as rows; `raters` columns in a row make one station."""
    person, column = np.indices(table.shape)
    return pd.DataFrame({
        "student": person.ravel(), "station": column.ravel() // raters,
        "examiner": column.ravel(), "score": table.ravel(),
    })  # fmt: skip


def brennan_unbalanced() -> pd.DataFrame:
    frame = long(BRENNAN, raters=4)
    pairs = set(zip(frame["student"] + 1, frame["examiner"] + 1, strict=True))
    assert pairs >= set(TAKEN_OUT)
    gone = [pair in TAKEN_OUT for pair in
            zip(frame["student"] + 1, frame["examiner"] + 1, strict=True)]  # fmt: skip
    return frame[~np.array(gone)]


def gleser() -> pd.DataFrame:
    rows = [
        (patient, column // 2, column % 2, int(digit))
        for patient, digits in enumerate(GLESER)
        for column, digit in enumerate(digits)
    ]
    return pd.DataFrame(rows, columns=["student", "station", "examiner", "category"])


def run(name: str) -> pd.DataFrame:
    """A table of the reference runs."""
    frame = pd.read_csv(RUNS / f"{name}.csv.gz")
    return frame.rename(columns={"x": "category", "y": "score"})


def outside(name: str) -> pd.Series:
    """TAM's parameters by name."""
    frame = pd.read_csv(RUNS / f"{name}_outside.csv")
    return frame.set_index("parameter")["xsi"]


def small_examination(seed: int, *, students: int = 24, lose: float = 0.1) -> pd.DataFrame:
    """A small linked examination with lost marks: sessions of 8, 4 stations, 6 examiners, two at
    each station."""
    rng = np.random.default_rng(seed)
    rows = []
    station, examiner, ability = rng.normal(0, 1, 4), rng.normal(0, 0.7, 6), {}
    for student in range(students):
        ability[student] = rng.normal(0, 1.2)
        panel = np.random.default_rng(1000 + student // 8).permutation(6)
        for s in range(4):
            cell = rng.normal(0, 0.8)
            for e in (panel[s % 6], panel[(s + 2) % 6]):
                y = 50 + ability[student] + station[s] + examiner[e] + cell + rng.normal(0, 0.6)
                rows.append((student, s, e, student // 8, y))
    frame = pd.DataFrame(rows, columns=["student", "station", "examiner", "session", "score"])
    return frame[rng.random(len(frame)) >= lose].reset_index(drop=True)
