"""The factors that join variables: what each is, without its numbers.

A factor names its variables in the order of its own axes (`scope`). `plain/tables.py` makes its
table with numpy, `compiled/lowering.py` says to the compiled code what to make it of; a new kind
of factor needs both.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from sidewise.ground.arrays import Array
from sidewise.network.families import Nodes
from sidewise.network.joint_tables import family_quadrature
from sidewise.network.model import Network

Scope = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Given:
    """A table that the network keeps: side pairs, and the nodes of families."""

    scope: Scope
    find: Callable[[Network], Array]


@dataclass(frozen=True, slots=True)
class ComplaintSwitch:
    """The signed weights (1, -(1 - leak)) of a complaint's switch."""

    scope: Scope
    complaint: int


@dataclass(frozen=True, slots=True)
class Hurts:
    """1 with a complaint's switch off; with it on, 1 - c of one condition."""

    scope: Scope
    arc: int
    levels: int
    column: int  # first of its complaint links


@dataclass(frozen=True, slots=True)
class LoneSwitch:
    """present + (absent - present) * (1 - leak) * product of kept, as a sum of two products."""

    scope: Scope
    reading: int
    column: int


@dataclass(frozen=True, slots=True)
class Spares:
    """1 with a finding's switch off; with it on, 1 - q of one parent."""

    scope: Scope
    reading: int


@dataclass(frozen=True, slots=True)
class Lone:
    """A finding of no family, over its parents: likelihood of what was observed."""

    scope: Scope
    reading: int
    column: int


@dataclass(frozen=True, slots=True)
class Member:
    """One reading of a family: its column of the evidence, its mechanism's node, its core."""

    family: str
    mechanisms: int
    reading: int
    column: int
    node: int
    core: Scope

    def nodes(self, network: Network) -> Nodes:
        """The quadrature of the member's family."""
        return family_quadrature(network, self.family, self.mechanisms)


@dataclass(frozen=True, slots=True)
class MemberAlone:
    """A member where causes beside the core fold into weights, or there are none."""

    scope: Scope
    member: Member


@dataclass(frozen=True, slots=True)
class MemberSwitched:
    """A member with a signed switch, which meets each parent beside the core alone."""

    scope: Scope
    member: Member


@dataclass(frozen=True, slots=True)
class MemberOrOther:
    """A member, unless the helper variable (0 no, 1 yes) says that a parent beside causes it.

    So neither the node meets those parents, nor they the core; all terms are positive.
    """

    scope: Scope
    member: Member


@dataclass(frozen=True, slots=True)
class OtherCauses:
    """Probability that no parent beside the core causes a member (helper 0), or one does (1)."""

    scope: Scope
    reading: int


@dataclass(frozen=True, slots=True)
class Gathered:
    """Members absent or silent in every row, of one mechanism and one core, in one table."""

    scope: Scope
    members: tuple[Member, ...]


Factor = (
    Given
    | ComplaintSwitch
    | Hurts
    | LoneSwitch
    | Spares
    | Lone
    | MemberAlone
    | MemberSwitched
    | MemberOrOther
    | OtherCauses
    | Gathered
)
