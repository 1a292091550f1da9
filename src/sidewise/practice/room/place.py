"""The room itself: a region, the case that waits in it, and what can be done there."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from sidewise.errors import UserError
from sidewise.knowledge.region import Region
from sidewise.practice.case_file import CaseFile
from sidewise.practice.chances import ChanceGroup
from sidewise.practice.ways import patient_ways
from sidewise.protocol import Item, Protocol, protocol_of
from sidewise.reason.judging.flags import flag_book_of
from sidewise.record import Context, Record

SEEN, FELT = "seen", "felt"
"""How a stage says that a look of it is taken (`Stage.done`)."""
MOVED = ("angle", "level", "arc", "reduced_by_eye")


@dataclass(frozen=True)
class Room:
    """A case to be examined. The case has no truth in it."""

    region: Region
    case: CaseFile

    @cached_property
    def protocol(self) -> Protocol:
        """What can be examined."""
        return protocol_of(self.region)

    @property
    def groups(self) -> tuple[ChanceGroup, ...]:
        """What chances are stated of."""
        return patient_ways(self.region).groups

    @property
    def hidden(self) -> Record:
        """Everything there is to find."""
        return self.case.record

    @property
    def opening(self) -> str:
        """What the patient says first."""
        return self.case.opening

    @cached_property
    def context(self) -> Context:
        """What is known before anything was asked: who comes, and which side hurts."""
        known = self.hidden.context
        return known.model_copy(
            update={"onset": None, "mechanism": None, "history": {}, "vitals": {}}
        )

    @property
    def to_see_to_first(self) -> tuple[str, ...]:
        """Items without which nobody is touched."""
        return patient_ways(self.region).before_touching


def open_room(region: Region, case: CaseFile) -> Room:
    """The room of a case; UserError where the case is of another region."""
    if case.record.region != region.id:
        raise UserError("case", case.record.region, f"a case of {region.id}")
    return Room(region, case)


def verb_of(protocol: Protocol, item: Item) -> str:
    """The verb an item is done with: look, feel, move, test or see to."""
    stage = protocol.stage_of(item)
    if stage.sets_up:
        return "see to"
    if stage.done == SEEN:
        return "look"
    if stage.done == FELT:
        return "feel"
    return "move" if any(item.kind(kind) for kind in MOVED) else "test"


def places_of(item: Item) -> tuple[str, ...]:
    """The places of an item that is looked for place by place; empty where it has one place."""
    sign = item.kind("sign")
    return tuple(getattr(sign, "places", ()) or ()) if sign else ()


def modes_done(item: Item, mode: str | None) -> tuple[str | None, ...]:
    """The modes that one step does, in the order in which they are done."""
    if mode is not None:
        return (mode,)
    wanted = item.needed_modes or item.modes
    order = ("active", "passive", "resisted")
    return tuple(one for one in order if one in wanted) or (None,)


def flag_choices(region: Region) -> tuple[tuple[str, str], ...]:
    """Id and label of every flag, for the list at the end."""
    return tuple((rule.id, rule.label) for rule in flag_book_of(region).flags)
