"""Types of the arrays that functions take and return; shapes stand in each docstring."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
IndexArray = NDArray[np.intp]
"""Positions along an axis of another array."""
BoolArray = NDArray[np.bool_]
