"""What calls for an item that is not part of every examination, and why.

Only a rule that comes to yes calls. What is not known calls for nothing: the normal examination
stays short until an answer, a finding or the age gives a reason for more. It clears nothing either;
a flag that turns on such an item is still not excluded, and says so by itself.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from graphlib import CycleError, TopologicalSorter
from typing import Any

from pydantic import Field

from sidewise.errors import UserError, UserErrors
from sidewise.ground.frozen import Frozen
from sidewise.ground.validation import validate_model
from sidewise.knowledge.region import Region
from sidewise.protocol import Item, Protocol, protocol_of
from sidewise.protocol.visits import VisitKind
from sidewise.reason.judging.judge import Judge
from sidewise.reason.judging.rules import Is, Rule, below_zero, leaves, made_one, unresolved
from sidewise.reason.judging.ruling import Ruling

BOTH = ("left", "right")
"""A reason on either side calls for both: without the other side there is no comparison."""


class CalledForRule(Frozen):
    """What calls for an item, and the reason in plain words."""

    item: str
    rule: Rule
    because: str = Field(min_length=10)


def called_for_rules(region: Region) -> tuple[CalledForRule, ...]:
    """The rules of a region's items, in the protocol's order; of equal parts one object.

    UserErrors where a rule is none, names what the protocol does not have, turns on a threshold
    below zero, or where items wait for one another.
    """
    return region.view(_rules)


def _rules(region: Region) -> tuple[CalledForRule, ...]:
    return read_rules(protocol_of(region))


def read_rules(protocol: Protocol) -> tuple[CalledForRule, ...]:
    """The same from a protocol by itself."""
    rules: list[CalledForRule] = []
    faults: list[UserError] = []
    for item in protocol.items:
        if item.needed_when is None:
            continue
        try:
            found = validate_model(CalledForRule, _data(item), _where(item.id))
        except UserErrors as errors:
            faults += errors.errors
        else:
            rules.append(found)
            faults += _faults(found, protocol)
    if faults := faults or list(_circular(rules)):
        raise UserErrors(faults)
    known: dict[Any, Any] = {reading.criterion: reading.criterion for reading in protocol.readings}
    return tuple(one.model_copy(update={"rule": made_one(one.rule, known)}) for one in rules)


def _data(item: Item) -> dict[str, Any]:
    return {"item": item.id, **(item.needed_when.model_dump() if item.needed_when else {})}


def _where(name: str) -> str:
    return f"protocol: {name}: needed_when"


def _faults(called: CalledForRule, protocol: Protocol) -> Iterator[UserError]:
    for problem in unresolved(called.rule, protocol):
        yield UserError(_where(called.item), problem, "words the protocol can answer",
                        "Correct the word, or add it to the protocol.")  # fmt: skip
    for cutoff in below_zero(called.rule):
        yield UserError(f"{_where(called.item)}: {cutoff.what}", cutoff.value, "nought or more",
                        "Say it the other way round: at_most for at_least.")  # fmt: skip


def _circular(rules: list[CalledForRule]) -> Iterator[UserError]:
    """Items that wait for one another, or for themselves: nothing would ever open them."""
    called = {one.item for one in rules}
    reads = {
        one.item: {leaf.item for leaf in leaves(one.rule) if isinstance(leaf, Is)} & called
        for one in rules
    }
    try:
        TopologicalSorter(reads).prepare()
    except CycleError as error:
        round_trip = list(reversed(error.args[1]))
        yield UserError(_where(round_trip[0]), " waits for ".join(round_trip),
                        "a rule that does not come back to its own item",
                        "Let one of them rest on a question or on an item that is always "
                        "examined.")  # fmt: skip


def called_for(judge: Judge, region: Region) -> Mapping[str, str]:
    """The items that the judge's record calls for, each with why, in the protocol's order.

    Only a rule that comes to yes calls. Unknown does not: what nobody asked or examined is no
    reason for more, and no reason against it.
    """
    ruling = Ruling(judge)
    return {one.item: one.because for one in called_for_rules(region) if calls(one.rule, ruling)}


def calls(rule: Rule, ruling: Ruling) -> bool:
    """Whether a rule comes to yes on the record, on either side."""
    return ruling.outcome(rule, BOTH).value == "yes"


def places(item: Item) -> Iterator[tuple[str, str | None]]:
    """Every side and mode in which an item can be examined, the patient's right first."""
    for side in ("right", "left") if item.paired else ("midline",):
        for mode in item.modes or (None,):
            yield side, mode


def is_wanted(item: Item, mode: str | None, called: Collection[str], kind: VisitKind) -> bool:
    """Whether a complete visit of this kind has the item in this mode: its own, or called for."""
    return (kind.has(item) or item.id in called) and is_needed_mode(item, mode)


def is_needed_mode(item: Item, mode: str | None) -> bool:
    """Whether the item, where it is wanted, is wanted in this mode too."""
    return not item.needed_modes or mode in item.needed_modes
