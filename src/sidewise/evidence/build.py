"""`python -m sidewise.evidence.build [REGION]`: fits every reading and writes the shipped fit.

Deterministic: each reading is fitted with a seed of its own name. About two minutes on one core.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidewise.evidence.correlation import combination_fits, rho_posterior
from sidewise.evidence.fit import Posterior, ReadingFit, fit_reading, prior_draws
from sidewise.evidence.fitted import MARKS, save, stable_seed
from sidewise.evidence.inputs import Inputs, load_inputs
from sidewise.evidence.links import Kind, ReadingPrior
from sidewise.evidence.report import summary_of
from sidewise.protocol.loader import region_folder, regions

Array = NDArray[np.float64]
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
        "leak": _rounded([f.draws.leak[:, None] for f in fits]),
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


def build(region: str, say: bool = False) -> None:
    """Fits a region and writes fitted.npz and fitted.json beside its knowledge."""
    inputs = load_inputs(region)
    fits = fit_all(inputs, say=say)
    arrays = arrays_of(inputs, fits)
    save(region_folder(region), arrays, summary_of(inputs, fits, arrays))


if __name__ == "__main__":
    for name in sys.argv[1:] or regions():
        build(name, say=True)
