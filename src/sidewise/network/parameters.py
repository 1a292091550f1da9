"""How strongly: arrays whose leading axis is the parameter draw, checked against a structure.

A reading is a noisy-OR of the levels of its parents without the leak in the links:

    P(absent | levels) = (1 - leak) * product over parents (1 - q[level]),    q[0] = 0

This is the convention of Diez (1993, UAI, 99-105); in the other one (Henrion 1987) each weight
already contains the leak.

Through the core of a family a link may be below 0: there the finding is less frequent with the
condition than without. Of n such parents each may go down to 1 - (1 - leak)^(-1/n), so that
no product of them exceeds one. Outside a core it may not: the probability that no other parent
causes the finding would exceed one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array, IndexArray
from sidewise.network.structure import Structure

LEAST_SPARED = 1e-9  # of 1 - leak, where a leak is one
ROUNDED = 1e-6
MOST_RHO = 0.75  # rho_s + rho_m: beyond it 15 nodes no longer resolve a family


@dataclass(frozen=True, eq=False)
class Parameters:
    """How strongly. Every array leads with the draw axis (D, or 1 where all draws agree).

    prior       (D, V, Lmax)  level probabilities, 0 beyond a variable's last level
    link        (D, link_count)  q in [0, 1]; in a family's core down to `lowest_link`
    leak        (D, R)
    rho_structure, rho_mechanism  (D, F)  their sum at most 0.75; None: findings independent
    concordance (D, pairs)  0: sides independent, 1: as alike as the two margins allow
    complaint_link (D, complaint_link_count), complaint_leak (D, complaints)
    """

    prior: Array
    link: Array
    leak: Array
    rho_structure: Array | None = None
    rho_mechanism: Array | None = None
    concordance: Array | None = None
    complaint_link: Array | None = None
    complaint_leak: Array | None = None

    def arrays(self) -> Iterator[tuple[str, Array]]:
        """Name and value of each array that is given."""
        for name in self.__dataclass_fields__:
            value = getattr(self, name)
            if value is not None:
                yield name, value

    @cached_property
    def draws(self) -> int:
        """Number of draws: the longest leading axis."""
        return max(len(value) for _, value in self.arrays())

    def mean(self) -> Parameters:
        """One set of parameters: the mean of the draws."""
        return Parameters(**{n: v.mean(axis=0, keepdims=True) for n, v in self.arrays()})

    def take(self, draws: IndexArray | slice) -> Parameters:
        """Some of the draws, in the order asked."""
        return Parameters(**{n: v if len(v) == 1 else v[draws] for n, v in self.arrays()})


def lowest_link(leak: Array, count: IndexArray) -> Array:
    """How low links may be beside leaks (..., n) with so many parents (n,) in the core; 0 of none.

    Rounded up by a millionth, so that the sums stay above zero.
    """
    power = -1.0 / np.maximum(count, 1)
    spared = np.maximum(1.0 - leak, LEAST_SPARED)
    return np.asarray(np.where(count > 0, np.minimum(1.0 - spared**power + ROUNDED, 0.0), 0.0))


def lowest_links(structure: Structure, leak: Array) -> Array:
    """(D, link_count) how low each link of a structure may be beside leaks (D, R)."""
    core = structure.core_links
    return lowest_link(leak[:, core.reading], core.sharing)


def check_parameters(structure: Structure, parameters: Parameters) -> None:
    """UserError unless every array has the shape the structure asks for, and values from 0 to 1.

    Links may be below 0 as far as `lowest_links`.
    """
    _check_shapes(structure, parameters)
    _check_values(structure, parameters)


def _widths(structure: Structure) -> dict[str, tuple[int, ...]]:
    families, pairs = len(structure.families), len(structure.pairs)
    return {
        "prior": (len(structure.variables), max(structure.levels)),
        "link": (structure.link_count,),
        "leak": (len(structure.readings),),
        "rho_structure": (families,),
        "rho_mechanism": (families,),
        "concordance": (pairs,),
        "complaint_link": (structure.complaint_link_count,),
        "complaint_leak": (len(structure.complaints),),
    }


def _check_shapes(structure: Structure, parameters: Parameters) -> None:
    widths, draws = _widths(structure), parameters.draws
    for name, value in parameters.arrays():
        if value.shape[1:] != widths[name] or len(value) not in (1, draws):
            raise UserError(f"parameters.{name}", value.shape, f"({draws} or 1, *{widths[name]})")
    if structure.complaints and (
        parameters.complaint_link is None or parameters.complaint_leak is None
    ):
        raise UserError("parameters.complaint_link", None, "links and leak of each complaint")
    if (parameters.rho_structure is None) != (parameters.rho_mechanism is None):
        raise UserError("parameters.rho_mechanism", None, "both rho arrays or neither")


def _check_values(structure: Structure, parameters: Parameters) -> None:
    for name, value in parameters.arrays():
        # A comparison with NaN is False, so NaN fails here too.
        if value.size == 0 or (value.min() >= 0.0 and value.max() <= 1.0):
            continue
        least: Array | float = 0.0
        if name == "link":
            least = lowest_links(structure, parameters.leak) - ROUNDED / 2
        inside = (value >= least) & (value <= 1)
        if not inside.all():
            bad = value[~np.broadcast_to(inside, value.shape)].flat[0]
            raise UserError(f"parameters.{name}", float(bad), "numbers from 0 to 1")
    total = parameters.prior.sum(axis=-1)
    if not np.allclose(total, 1.0, atol=1e-9):
        worst = int(np.abs(total - 1.0).max(axis=0).argmax())
        place = f"prior of {structure.variables[worst].name}"
        raise UserError(place, float(total[:, worst].max()), "levels that sum to 1")
    levels = np.asarray(structure.levels)
    beyond = np.arange(parameters.prior.shape[-1]) >= levels[:, None]
    if parameters.prior[:, beyond].any():
        raise UserError("parameters.prior", "weight beyond the last level", "zero there")
    _check_rho(parameters)


def _check_rho(parameters: Parameters) -> None:
    if parameters.rho_structure is None or parameters.rho_mechanism is None:
        return
    total = parameters.rho_structure + parameters.rho_mechanism
    if total.size and total.max() > MOST_RHO + 1e-12:
        raise UserError("rho_structure + rho_mechanism", float(total.max()), f"at most {MOST_RHO}")
