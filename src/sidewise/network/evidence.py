"""What was found: for each reading seen, how likely the observation is if present, if absent.

A plain "present" is the pair (0, 1), "absent" is (1, 0); an equivocal result, or an angle within
error of its threshold, is any pair of likelihoods (if absent, if present). A reading that was not
examined is simply not among them: it is never read as absent.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array, BoolArray
from sidewise.network.structure import Structure

Observation = bool | tuple[float, float]


@dataclass(frozen=True, eq=False)
class Evidence:
    """Rows of observations of the same readings.

    readings: numbers of the readings seen, ascending.
    absent, present: (rows, readings) likelihood of what was observed, were the finding truly
    absent or present. A pair (1, 1) in one row says nothing in that row.
    alone: numbers of readings that join no family here: of their family no row has seen two.
    """

    readings: tuple[int, ...]
    absent: Array
    present: Array
    alone: frozenset[int] = frozenset()

    @property
    def rows(self) -> int:
        """Number of rows (what-ifs, or records)."""
        return len(self.absent)

    @cached_property
    def says(self) -> BoolArray:
        """(readings, rows) whether a reading says anything in a row."""
        return np.ascontiguousarray((self.absent != self.present).T)

    @cached_property
    def always(self) -> list[bool]:
        """Whether each reading says something in every row."""
        return [bool(whole) for whole in np.asarray(self.says.all(axis=1))]

    @cached_property
    def plainly_absent(self) -> list[bool]:
        """Whether each reading, where it says anything, was found absent for certain."""
        certain = (self.present == 0.0) & (self.absent == 1.0)
        return [bool(whole) for whole in np.asarray((certain | ~self.says.T).all(axis=0))]

    def without(self, reading: int) -> Evidence:
        """The same evidence, one reading not examined."""
        keep = [i for i, r in enumerate(self.readings) if r != reading]
        readings = tuple(self.readings[i] for i in keep)
        return Evidence(readings, self.absent[:, keep], self.present[:, keep], self.alone)

    def adding(self, reading: int, observation: Observation) -> Evidence:
        """The same evidence with one more reading."""
        absent, present = _pair(observation, str(reading))
        at = int(np.searchsorted(self.readings, reading))
        readings = (*self.readings[:at], reading, *self.readings[at:])
        return Evidence(
            readings,
            np.insert(self.absent, at, absent, axis=1),
            np.insert(self.present, at, present, axis=1),
            self.alone,
        )


def observed(structure: Structure, findings: Mapping[str, Observation]) -> Evidence:
    """One row of evidence from findings by the name of the reading; order does not matter.

    Values: True present, False absent, or (likelihood if absent, likelihood if present).
    """
    unknown = [name for name in findings if name not in structure.reading_index]
    if unknown:
        raise UserError("findings", unknown[0], "the name of a reading of this network")
    numbered = sorted((structure.reading_index[n], n) for n in findings)
    pairs = [_pair(findings[name], name) for _, name in numbered]
    table = np.asarray(pairs, dtype=float).reshape(-1, 2)
    return Evidence(tuple(number for number, _ in numbered), table[:, :1].T, table[:, 1:].T)


def observed_rows(readings: Sequence[int], present: Array) -> Evidence:
    """Many records that saw the same readings: `present` is (rows, readings) of 0 and 1."""
    order = np.argsort(readings)
    values = np.asarray(present, dtype=float)[:, order]
    return Evidence(tuple(int(readings[i]) for i in order), 1.0 - values, values)


def _pair(observation: Observation, name: str) -> tuple[float, float]:
    if isinstance(observation, bool | np.bool_):
        return (0.0, 1.0) if observation else (1.0, 0.0)
    absent, present = (float(x) for x in observation)
    # NaN fails here too.
    if not (0 <= absent <= 1e6 and 0 <= present <= 1e6 and absent + present > 0):
        got = (absent, present)
        raise UserError(f"finding {name}", got, "two likelihoods, not negative and not both zero")
    return absent, present
