"""Time variance components and severity beside lme4, on generated examinations.

    python bench/marks_model.py            up to 20,000 students for ours, lme4 at 200 and 2,000
    python bench/marks_model.py --large    lme4 at 20,000 as well (minutes)
    python bench/marks_model.py --growth   ours at 200,000 students too

One thread: the program starts itself again with the number of BLAS threads set. lme4 runs only
where Rscript with lme4 is installed. Each figure is the median of `--repeat` runs after import.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

STATIONS, EXAMINERS, GROUP = 12, 40, 20

LME4 = """
suppressMessages(library(lme4))
d <- read.csv(commandArgs(TRUE)[1])
start <- proc.time()[["elapsed"]]
m <- lmer(score ~ 1 + (1|student) + (1|station) + (1|examiner) + (1|session) +
          (1|student:station), d, REML = TRUE)
cat(sprintf('{"seconds": %.4f, "criterion": %.8f}\\n', proc.time()[["elapsed"]] - start,
            REMLcrit(m)))
"""


def examination(students: int, seed: int, per_station: int) -> pd.DataFrame:
    """Sessions of 20 students; each session draws `per_station` examiners for every station; 3%
    of meetings and 6% of ratings are lost."""
    rng = np.random.default_rng(seed)
    sessions = -(-students // GROUP)
    panels = np.stack([
        rng.permutation(EXAMINERS)[: STATIONS * per_station].reshape(STATIONS, per_station)
        for _ in range(sessions)
    ])  # fmt: skip
    student, station, seat = (
        a.ravel() for a in np.meshgrid(np.arange(students), np.arange(STATIONS),
                                       np.arange(per_station), indexing="ij")
    )  # fmt: skip
    met = rng.random((students, STATIONS)) > 0.03
    kept = met[student, station] & (rng.random(len(student)) > 0.06 * (per_station > 1))
    student, station, seat = student[kept], station[kept], seat[kept]
    session = student // GROUP
    examiner = panels[session, station, seat]
    effects = {
        "student": rng.normal(0, 1.0, students)[student],
        "station": rng.normal(0, 0.7, STATIONS)[station],
        "examiner": -rng.normal(0, 0.5, EXAMINERS)[examiner],
        "session": rng.normal(0, 0.3, sessions)[session],
        "cell": rng.normal(0, 1.2, (students, STATIONS))[student, station],
    }
    score = 10 + sum(effects.values()) + rng.normal(0, 0.8, len(student))
    # Object columns of text, as a reader of files would hand them over.
    label = {"student": student, "station": station, "examiner": examiner, "session": session}
    frame = pd.DataFrame({k: pd.Categorical.from_codes(
        v, [f"{k[0]}{i:05d}" for i in range(int(v.max()) + 1)]).astype(str)
        for k, v in label.items()})  # fmt: skip
    frame["score"] = np.round(score, 4)
    ability = effects["student"] + effects["station"] + effects["examiner"]
    frame["category"] = categories(rng, ability)
    return frame


def categories(rng: np.random.Generator, eta: np.ndarray) -> np.ndarray:
    """Ratings 0 to 4 from the rating-scale model."""
    passed = np.concatenate([[0.0], np.cumsum([-2.0, -0.7, 0.6, 2.1])])
    psi = eta[:, None] * np.arange(5) - passed
    p = np.exp(psi - psi.max(axis=1, keepdims=True))
    p /= p.sum(axis=1, keepdims=True)
    return (p.cumsum(axis=1) < rng.random((len(eta), 1))).sum(axis=1)


def on_one_thread() -> None:
    """Start again with one BLAS thread, which must be set before numpy is loaded."""
    names = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
    if any(os.environ.get(name) != "1" for name in names):
        os.execve(sys.executable, [sys.executable, *sys.argv],
                  {**os.environ, **dict.fromkeys(names, "1")})  # fmt: skip


def median_seconds(work: Callable[[], object], repeat: int) -> float:
    times = []
    for _ in range(repeat):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def lme4(frame: pd.DataFrame) -> dict[str, float] | None:
    """Seconds and REML criterion of lme4 on the same table, or None where R is not there."""
    if shutil.which("Rscript") is None:
        return None
    with tempfile.TemporaryDirectory() as folder:
        table, script = Path(folder) / "marks.csv", Path(folder) / "fit.R"
        frame.drop(columns="category").to_csv(table, index=False)
        script.write_text(LME4)
        done = subprocess.run(
            ["Rscript", str(script), str(table)], capture_output=True, text=True, check=False
        )
    lines = [line for line in done.stdout.splitlines() if line.startswith("{")]
    return json.loads(lines[-1]) if lines else None


def peak_megabytes() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def components(students: int, repeat: int, with_lme4: bool) -> None:
    from sidewise.teaching.reliability.variance_components import fit_variance

    frame = examination(students, seed=students, per_station=2)
    # Wald limits: profiles would be work that lme4 is not asked for either.
    ours = fit_variance(frame, intervals="wald")
    seconds = median_seconds(lambda: fit_variance(frame, intervals="wald"), repeat)
    line = (f"components  {students:>7} students {ours.n:>8} marks  ours {seconds:7.3f} s "
            f"({ours.evaluations} evaluations)  criterion {ours.criterion:.5f}")  # fmt: skip
    other = lme4(frame) if with_lme4 else None
    if other:
        line += (f"  lme4 {other['seconds']:8.2f} s  {other['seconds'] / seconds:6.1f} times  "
                 f"criterion less lme4's {ours.criterion - other['criterion']:+.1e}")  # fmt: skip
    print(f"{line}  peak {peak_megabytes():.0f} MB", flush=True)


def severities(students: int, repeat: int) -> None:
    from sidewise.teaching.severity.mark_severity import severity_in_marks
    from sidewise.teaching.severity.rating_severity import fit_severity

    frame = examination(students, seed=students + 1, per_station=1)
    ours = fit_severity(frame)
    seconds = median_seconds(lambda: fit_severity(frame), repeat)
    points = median_seconds(lambda: severity_in_marks(frame), repeat)
    print(f"severity    {students:>7} students {ours.n:>8} ratings many-facet {seconds:7.3f} s  "
          f"in marks {points:7.3f} s  deviance {ours.deviance:.3f}  "
          f"converged {ours.converged}  peak {peak_megabytes():.0f} MB", flush=True)  # fmt: skip


def main() -> None:
    on_one_thread()
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--large", action="store_true", help="lme4 at 20,000 students (minutes)")
    parser.add_argument("--growth", action="store_true", help="ours at 200,000 students")
    parser.add_argument("--repeat", type=int, default=3)
    options = parser.parse_args()
    sizes = [200, 2_000, 20_000] + ([200_000] if options.growth else [])
    for students in sizes:
        beside = students <= 2_000 or (options.large and students == 20_000)
        components(students, options.repeat, beside)
        severities(students, options.repeat)


if __name__ == "__main__":
    main()
