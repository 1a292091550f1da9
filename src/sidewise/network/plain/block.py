"""A stretch of the batch: slices of the parameters and of the evidence, the batch last.

The batch is the long axis, and the inner loops of numpy then run along it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.network.evidence import Evidence
from sidewise.network.factors import Scope
from sidewise.network.model import Network


@dataclass(eq=False)
class Block:
    """A stretch of the batch: slices of the parameters and of the evidence, made once."""

    network: Network
    evidence: Evidence
    part: slice
    absolute: bool = False  # signs of switches left out, to see how much cancels
    # Tables of family members, by the figures they were made from.
    alike: dict[tuple[int, tuple[int, ...], bytes], Array] = field(default_factory=dict)

    @property
    def width(self) -> int:
        """Length of the stretch."""
        return int(self.part.stop - self.part.start)

    def cut(self, value: Array) -> Array:
        """The part of an array with the batch last; arrays without a batch stay whole."""
        return value if value.shape[-1] == 1 else value[..., self.part]

    def parameter(self, name: str) -> Array:
        """A parameter, draw axis last."""
        return self.cut(self.network.by_column[name])

    def weights(self, column: int) -> tuple[Array, Array]:
        """Likelihoods of what was observed of a reading, if absent and if present."""
        evidence = self.evidence
        return self.cut(evidence.absent[:, column]), self.cut(evidence.present[:, column])


def ordered(table: Array, own: Scope, scope: Scope) -> Array:
    """The table with its axes, which are those of `own`, in the order of `scope`."""
    if own == scope:
        return table
    return np.asarray(table.transpose([*[own.index(v) for v in scope], table.ndim - 1]))


def signed(block: Block, off: Array, on: Array) -> Array:
    """The two halves of a switch's table, the switch first."""
    return np.stack(np.broadcast_arrays(off, np.abs(on) if block.absolute else on))
