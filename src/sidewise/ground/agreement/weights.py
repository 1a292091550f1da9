"""Agreement weights between ordered categories: 1 for the same, less the further apart.

Two conventions meet in the literature and are kept apart by name here: *agreement* weights (1 on
the diagonal) are what every function takes; published *disagreement* weights (0 on the diagonal)
are turned round by `from_disagreement`.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array

Kind = Literal["identity", "linear", "quadratic"]
Metric = Literal["nominal", "ordinal", "interval", "ratio"]


def agreement_weights(categories: int, kind: Kind = "identity") -> Array:
    """(q, q) weights: identity; linear 1 - |i-j|/(q-1); quadratic 1 - (i-j)^2/(q-1)^2."""
    if kind == "identity" or categories == 1:
        return np.eye(categories)
    apart = np.abs(np.subtract.outer(np.arange(categories), np.arange(categories)))
    share = apart / (categories - 1)
    return 1 - (share if kind == "linear" else share**2)


def from_disagreement(disagreement: Array) -> Array:
    """Agreement weights from disagreement weights: 1 - w / max(w)."""
    top = float(disagreement.max())
    if top <= 0 or float(disagreement.min()) < 0:
        raise UserError("weights", disagreement.tolist(), "disagreements of 0 or more", "")
    return np.asarray(1 - disagreement / top)


def metric_weights(values: Array, frequency: Array, metric: Metric) -> Array:
    """Agreement weights that give Krippendorff's alpha for a level of measurement.

    delta^2 is 1 for different values (nominal); the squared count of ranks between, ends counted
    half, by `frequency` of pairable values (ordinal); (a-b)^2 (interval); ((a-b)/(a+b))^2 (ratio).
    Weights are 1 - delta^2 / max(delta^2); alpha does not depend on the scale.

    Krippendorff K, Computing Krippendorff's alpha-reliability, 2011 (from memory).
    """
    a, b = values[:, None], values[None, :]
    if metric == "nominal":
        squared = 1 - np.eye(values.size)
    elif metric == "ordinal":
        middle = np.cumsum(frequency) - frequency / 2
        squared = np.subtract.outer(middle, middle) ** 2
    elif metric == "interval":
        squared = (a - b) ** 2
    else:
        with np.errstate(invalid="ignore", divide="ignore"):
            squared = np.where(a == b, 0.0, ((a - b) / (a + b)) ** 2)
    top = float(squared.max())
    return np.asarray(1 - squared / top) if top > 0 else np.ones_like(squared)
