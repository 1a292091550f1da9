"""Masks over the dots of a picture."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage


def smooth_mask(mask: NDArray[np.bool_], blur: float = 4) -> NDArray[np.bool_]:
    """A mask with its stairs of triangles rounded off."""
    found = np.zeros_like(mask)
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    if len(rows):
        pad = int(4 * blur) + 1
        box = (
            slice(max(rows[0] - pad, 0), rows[-1] + pad),
            slice(max(columns[0] - pad, 0), columns[-1] + pad),
        )
        found[box] = ndimage.gaussian_filter(mask[box].astype(np.float32), blur) > 0.5
    return found


def without_holes(mask: NDArray[np.bool_], largest: float) -> NDArray[np.bool_]:
    """A mask with holes of up to `largest` dots filled."""
    holes, count = ndimage.label(~mask)
    size = np.bincount(holes.reshape(-1), minlength=count + 1)
    small = size <= largest
    small[0] = False
    found: NDArray[np.bool_] = mask | small[holes]
    return found
