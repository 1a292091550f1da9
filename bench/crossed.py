"""A mixed model of two large crossed facets: 73,421 ratings of 1,128 lecturers by 2,972 students.

    python bench/crossed.py [--quick]

The size of a data set that lme4 ships (InstEval: Bates, Maechler, Bolker, Walker, J Stat Softw
2015; 67(1)), with ratings made here. Beside lme4 where Rscript with lme4 is installed; without it
the row says that it was not measured. Memory is the largest of a process of its own.
"""

from __future__ import annotations

import argparse
import json
import resource
import shutil
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

RATINGS, STUDENTS, LECTURERS = 73_421, 2_972, 1_128
LME4 = """
suppressMessages(library(lme4))
d <- read.csv(commandArgs(TRUE)[1])
start <- proc.time()[["elapsed"]]
m <- lmer(score ~ 1 + (1|student) + (1|examiner), d, REML = TRUE)
cat(sprintf('{"seconds": %.4f, "criterion": %.8f}\\n', proc.time()[["elapsed"]] - start,
            REMLcrit(m)))
"""


def ratings(share: float = 1.0) -> pd.DataFrame:
    """So many ratings; students and lecturers are met as unequally as in life."""
    rng = np.random.default_rng(73)
    many, students, lecturers = (round(share * n) for n in (RATINGS, STUDENTS, LECTURERS))
    busy = rng.gamma(1.5, size=lecturers)
    eager = rng.gamma(4.0, size=students)
    student = rng.choice(students, many, p=eager / eager.sum())
    lecturer = rng.choice(lecturers, many, p=busy / busy.sum())
    effects = rng.normal(0, 0.33, students)[student] + rng.normal(0, 0.52, lecturers)[lecturer]
    score = 3.2 + effects + rng.normal(0, 1.18, many)
    return pd.DataFrame({"student": student, "examiner": lecturer, "score": score.round(4)})


def lme4(table: pd.DataFrame) -> dict[str, float] | None:
    """Seconds and criterion of lme4 on the same table, or None where it is not installed."""
    if shutil.which("Rscript") is None:
        return None
    with tempfile.TemporaryDirectory() as folder:
        file, script = Path(folder) / "ratings.csv", Path(folder) / "fit.R"
        table.to_csv(file, index=False)
        script.write_text(LME4)
        done = subprocess.run(
            ["Rscript", str(script), str(file)], capture_output=True, text=True, check=False
        )
    lines = [line for line in done.stdout.splitlines() if line.startswith("{")]
    return json.loads(lines[-1]) if lines else None


def rows(share: float) -> list[dict[str, Any]]:
    """The rows of the table."""
    from sidewise.teaching.reliability.variance_components import fit_variance

    table = ratings(share)
    start = time.perf_counter()
    found = fit_variance(table, facets=("student", "examiner"), cell=False, intervals="wald")
    ours = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    assert found.converged
    size = f"{len(table):,} ratings, {table['student'].nunique():,} x "
    size += f"{table['examiner'].nunique():,} crossed"
    other = lme4(table)
    deviations = ", ".join(f"{name} {value**0.5:.3f}" for name, value in found.components.items())
    beside: dict[str, Any] = {"note": f"standard deviations: {deviations}; lme4 is not installed"}
    if other:
        gap = found.criterion - other["criterion"]
        beside = {"theirs": round(other["seconds"], 2), "ratio": round(other["seconds"] / ours, 2),
                  "note": f"REML criterion less lme4's: {gap:+.1e}"}  # fmt: skip
    return [
        {"work": f"variance components, {size}", "ours": round(ours, 2), "unit": "s",
         "peer": "lme4", "required": "ratio >= 1", **beside},
        {"work": f"variance components, {size}: largest memory", "ours": round(peak), "unit": "MB",
         "required": "median < 600", "note": "the whole process"},
    ]  # fmt: skip


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="an eighth of the size")
    print(json.dumps(rows(0.125 if parser.parse_args().quick else 1.0)))
