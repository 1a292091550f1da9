"""Memory that the compiled passes work in, kept from call to call."""

from __future__ import annotations

from dataclasses import dataclass, field
from threading import Lock

import numpy as np

from sidewise.ground.arrays import Array

# Numbers of the largest piece kept (32 MiB), and how many pieces are.
MOST_KEPT = 1 << 22
PIECES = 4


@dataclass
class Workspace:
    """Room to work in. Fresh memory costs more than the sums done in it: every page of it has to be
    cleared by the system before its first use."""

    free: list[Array] = field(default_factory=list)
    lock: Lock = field(default_factory=Lock)

    def take(self, numbers: int) -> Array:
        """At least so many numbers, whatever stands in them."""
        with self.lock:
            fitting = [place for place, space in enumerate(self.free) if len(space) >= numbers]
            if fitting:
                return self.free.pop(min(fitting, key=lambda place: len(self.free[place])))
        return np.empty(numbers + numbers // 4)

    def give_back(self, space: Array) -> None:
        """For the next; the smallest go where there are more than two threads would use."""
        if len(space) > MOST_KEPT:
            return
        with self.lock:
            self.free.append(space)
            self.free.sort(key=len, reverse=True)
            del self.free[PIECES:]


workspace = Workspace()
