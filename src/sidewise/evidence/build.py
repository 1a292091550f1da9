"""Fits every reading of a region and writes the fit beside its knowledge.

`python -m sidewise.evidence.build [REGION or FOLDER ...]`; without a word, every region that comes
with the program.

Deterministic: each reading is fitted with a seed of its own name. About two minutes on one core.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidewise.errors import UserError
from sidewise.evidence.fit.correlation import combination_fits, rho_posterior
from sidewise.evidence.fit.fitted import MARKS, stable_seed, write_fit
from sidewise.evidence.fit.inputs import Inputs, inputs_of
from sidewise.evidence.fit.links import Kind, ReadingPrior
from sidewise.evidence.fit.reading_fit import Posterior, ReadingFit, fit_reading, prior_draws
from sidewise.evidence.fit.report import fit_summary
from sidewise.ground.arrays import Array
from sidewise.knowledge.manifest import NO_WEIGHING
from sidewise.knowledge.region import Region, open_region, shipped_folders

Arrays = dict[str, NDArray[Any]]

DRAWS = 500
# Probabilities are kept to 1 in 4,096 (well inside their Monte-Carlo noise): such numbers
# compress to half the size.
GRID = 2.0**12
# A link counts as measured when its rows have at least halved the prior variance.
IDENTIFIED = 0.5


def fit_all(inputs: Inputs, count: int = DRAWS, say: bool = False) -> list[ReadingFit]:
    """The fit of every reading, in order."""
    fits = []
    for number, prior in enumerate(inputs.priors, start=1):
        rng = np.random.default_rng(stable_seed(inputs.region, "fit", prior.reading))
        groups = inputs.groups_by_reading[prior.reading]
        fits.append(fit_reading(prior, groups, count, rng))
        if say:
            print(f"{number}/{len(inputs.priors)} {prior.reading}", file=sys.stderr)
    return fits


def variance_left(fit: ReadingFit) -> Array:
    """(1 + P,) posterior over prior variance, of the leak and of each (cumulated) link."""
    prior = fit.prior
    rng = np.random.default_rng(stable_seed("variance", prior.reading))
    before = Posterior(prior, ()).natural(prior_draws(prior, 4000, rng))
    after = fit.draws
    priors = np.hstack([before.leak[:, None], before.links]).var(axis=0)
    return np.asarray(np.hstack([after.leak[:, None], after.links]).var(axis=0) / priors)


def marks_of(prior: ReadingPrior, left: Array) -> list[int]:
    """Number in `MARKS` for the leak and each link."""
    kinds: Sequence[Kind] = (prior.leak_kind, *prior.kinds)
    return [_mark(kind, float(share)) for kind, share in zip(kinds, left, strict=True)]


def _mark(kind: Kind, left: float) -> int:
    if kind == "by definition":
        return MARKS.index("by definition")
    measured = kind == "measured" and left < IDENTIFIED
    return MARKS.index("measured" if measured else "leans on judgement")


def arrays_of(inputs: Inputs, fits: Sequence[ReadingFit]) -> Arrays:
    """The arrays of fitted.npz."""
    rng = np.random.default_rng(stable_seed(inputs.region, "correlation"))
    together = combination_fits(
        inputs.combinations, inputs.groups, inputs.families, inputs.conditions.slices
    )
    rho = rho_posterior(inputs.families, together, len(fits[0].draws.leak), rng)
    marks = [marks_of(fit.prior, variance_left(fit)) for fit in fits]
    return {
        "fingerprint": np.array(inputs.fingerprint),
        "readings": np.array([fit.prior.reading for fit in fits]),
        "families": np.array(inputs.families.names),
        "settings": np.array(_settings(inputs)),
        "reading_of": np.repeat(np.arange(len(fits)), [len(f.prior.columns) for f in fits]),
        "column_of": np.concatenate([np.array(f.prior.columns, dtype=int) for f in fits]),
        # Finer, for leaks by definition are some thousandths.
        "leak": _rounded([f.draws.leak[:, None] for f in fits], GRID * 16),
        "link": _rounded([f.draws.links for f in fits]),
        "tau_se": _rounded([f.draws.tau_se[:, None] for f in fits], GRID / 16),
        "tau_sp": _rounded([f.draws.tau_sp[:, None] for f in fits], GRID / 16),
        "rho_s": _rounded([rho.structure]),
        "rho_m": _rounded([rho.mechanism]),
        "rho_effective": rho.effective.astype(np.float32),
        "link_mark": np.concatenate([np.array(m[1:], dtype=np.int8) for m in marks]),
        "leak_mark": np.array([m[0] for m in marks], dtype=np.int8),
        "learned": np.array([k == "measured" for f in fits for k in f.prior.kinds]),
    }


def _settings(inputs: Inputs) -> list[str]:
    mixes: Mapping[str, set[str]] = {reading.id: set() for reading in inputs.readings}
    for row in inputs.rows.fitted:
        mixes[row.reading].add(row.case_mix)
    return [";".join(sorted(mine)) for mine in mixes.values()]


def _rounded(parts: Sequence[Array], grid: float = GRID) -> NDArray[np.float32]:
    return (np.round(np.hstack(parts) * grid) / grid).astype(np.float32)


def build(region: Region, say: bool = False) -> None:
    """Fits a region and writes fitted.npz and fitted.json beside its knowledge.

    UserError where no study measures a reading of it.
    """
    if not region.has_weighing:
        raise UserError(f"region {region.id}", "no study to fit", "rows in accuracy.csv with use "
                        "fit, and the parts that go with them", NO_WEIGHING)  # fmt: skip
    inputs = inputs_of(region)
    fits = fit_all(inputs, say=say)
    arrays = arrays_of(inputs, fits)
    write_fit(region.folder, arrays, fit_summary(inputs, fits, arrays))


def main(words: list[str]) -> int:
    """Fit the regions named (or the folders, or all that come with the program)."""
    shipped = shipped_folders()
    try:
        for word in words or shipped:
            build(open_region(shipped.get(word) or Path(word)), say=True)
    except UserError as error:
        print(error.message, file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
