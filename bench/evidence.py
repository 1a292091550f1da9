"""Times and checks of the evidence side; run on one thread.

    OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1 python bench/evidence.py

Prints seconds (median of runs), the strata of Park et al. 2005 predicted by the fitted network with
and without the effect of one more study, and how much conditioning on the complaint would move the
expected figures of the rows.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from bench.shoulder import SHOULDER
from numpy.typing import NDArray

from sidewise.evidence.fit.correlation import combination_fits
from sidewise.evidence.fit.fitted import Fitted, fitted_of
from sidewise.evidence.fit.inputs import Inputs, inputs_of
from sidewise.evidence.fit.reading_fit import fit_reading
from sidewise.evidence.fit.report import complaint_shift
from sidewise.evidence.pretest.person import Case, pretest_figures
from sidewise.evidence.studies.display import _display
from sidewise.evidence.studies.groups import mix_at_levels
from sidewise.evidence.studies.rows import Levels, accuracy_rows_of
from sidewise.network import family_counts

Array = NDArray[np.float64]
REGION = SHOULDER
SERIES = "Park 2005"
SIZES = {(0,): 193, (1,): 72, (2,): 72, (3,): 215}


def timed(work: Callable[[], object], runs: int = 5) -> float:
    """Median seconds."""
    found = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return statistics.median(found)


def times() -> None:
    """One line per piece of work."""
    fitted, inputs = fitted_of(REGION), inputs_of(REGION)
    seen = np.arange(30)
    place = fitted.reading_index["hawkins_pain"]
    groups = inputs.groups_by_reading["hawkins_pain"]
    work: dict[str, Callable[[], object]] = {
        "read and check all accuracy rows": lambda: accuracy_rows_of(replace(REGION)),
        "load the shipped fit": lambda: fitted_of(replace(REGION)),
        "links of a setting, 500 draws": lambda: fitted.link_in("primary"),
        "one more study, 30 readings, 500 draws": lambda: fitted.one_more_study(
            fitted.link, 1, seen
        ),
        "pre-test of one person, 500 draws": lambda: pretest_figures.__wrapped__(
            REGION, Case("primary", 58, "female")
        ),
        "display of a reading": lambda: _display(REGION, "hawkins_pain"),
        "fit of the largest reading, 500 draws": lambda: fit_reading(
            inputs.priors[place], groups, 500, np.random.default_rng(1)
        ),
    }
    for name, call in work.items():
        print(f"{name:45s} {1000 * timed(call, 3):8.1f} ms")


@dataclass(frozen=True)
class Stratum:
    """A printed likelihood ratio beside the 90% interval of the network's."""

    id: str
    printed: float
    middle: float
    low: float
    high: float

    @property
    def held(self) -> bool:
        """Whether the interval holds the printed figure."""
        return self.low <= self.printed <= self.high


def strata(inputs: Inputs, fitted: Fitted, effects: bool) -> Iterator[Stratum]:
    """The eight strata with the network's own margins, not the study's."""
    links, leak = fitted.link, fitted.leak
    if effects:
        effect = fitted.one_more_study(links, seed=1)
        links, leak = effect.link, effect.leak
    dense = fitted.dense(links)
    family = fitted.families.index("cuff_bursa")
    rho = fitted.rho_s[:, family], fitted.rho_m[:, family]
    fits = combination_fits(
        inputs.combinations, inputs.groups, inputs.families, inputs.conditions.slices
    )
    for fit in fits:
        if fit.row.series != SERIES or fit.row.lr is None or fit.row.most is None:
            continue
        parts: dict[bool, Array] = {}
        for diseased in (True, False):
            inside = {k: n for k, n in SIZES.items() if (k[0] in fit.row.target.levels) is diseased}
            total = np.zeros(len(leak))
            for levels, size in inside.items():
                shares = _shares(inputs, fitted, fit.row.readings, levels, leak, dense)
                counts = family_counts(shares, fit.mechanisms, *rho)
                assert fit.row.least is not None
                wanted = counts[:, fit.row.least : fit.row.most + 1].sum(axis=1)
                total += wanted * size / sum(inside.values())
            parts[diseased] = total
        low, middle, high = np.quantile(parts[True] / parts[False], [0.05, 0.5, 0.95])
        yield Stratum(fit.row.id, fit.row.lr, middle, low, high)


def _shares(
    inputs: Inputs,
    fitted: Fitted,
    readings: tuple[str, ...],
    levels: tuple[int, ...],
    leak: Array,
    dense: Array,
) -> Array:
    who = mix_at_levels(inputs.mixes, inputs.mixes.mix("surgical"), Levels("cuff", levels))
    rows = [fitted.reading_index[name] for name in readings]
    kept = np.ones((len(leak), len(rows)))
    for part in inputs.conditions.slices.values():
        kept *= 1 - dense[:, rows, part] @ who[part]
    return np.asarray(1 - (1 - leak[:, rows]) * kept)


def strata_table() -> None:
    """Both ways, and how many of the eight a 90% interval holds."""
    inputs, fitted = inputs_of(REGION), fitted_of(REGION)
    for effects in (False, True):
        found = list(strata(inputs, fitted, effects))
        error = np.mean([abs(np.log(s.middle / s.printed)) for s in found])
        word = "with" if effects else "without"
        print(f"Park strata {word} a study effect: {sum(s.held for s in found)} of {len(found)} "
              f"in 90%, mean abs. error of the log ratio {error:.2f}")  # fmt: skip
        for s in found:
            print(
                f"  {s.id} printed {s.printed:6.2f}  {s.middle:6.2f} ({s.low:.2f} to {s.high:.2f})"
            )


def complaint_table() -> None:
    """Change of expected figures, links unchanged, when the complaint is conditioned on."""
    inputs = inputs_of(REGION)
    shifts = []
    for prior in inputs.priors:
        rows = [row for row in inputs.rows.fitted if row.reading == prior.reading]
        rows = [row for row in rows if not row.rest and row.case_mix != "healthy"]
        if not rows or len(shifts) > 60:
            continue
        groups = inputs.groups_by_reading[prior.reading]
        fit = fit_reading(prior, groups, 64, np.random.default_rng(1))
        shifts += [complaint_shift(inputs, fit, row) for row in rows]
    print(f"complaint: expected figures of {len(shifts)} rows move by "
          f"{np.median(shifts):.3f} (median), {max(shifts):.3f} at most")  # fmt: skip


if __name__ == "__main__":
    times()
    strata_table()
    complaint_table()
