"""What a step of the room costs: the item's own time, the change of posture, and its soreness.

The same figures as on the page and in a plan (`reason.weighing.step_worth`); an item's time and
soreness are of both sides and all needed modes, and a part of it costs its part.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from sidewise.practice.room.attempt import Attempt, Examine
from sidewise.practice.room.chart import revealed_record
from sidewise.practice.room.place import Room, modes_done, places_of
from sidewise.protocol import Item
from sidewise.reason.weighing.step_worth import examination_step, patient_seconds, stance_of

QUESTION_SECONDS = 6
"""A question and its answer; as on the page (our judgement)."""
VITAL_SECONDS = 20
"""A vital sign (our judgement)."""


class StepCost(NamedTuple):
    """Seconds of the patient's time, and degrees of soreness."""

    seconds: int
    soreness: float


def step_cost(room: Room, attempt: Attempt, step: Examine) -> StepCost:
    """What a step would cost now; UserError for an unknown item."""
    item = room.protocol.item(step.item)
    part = part_done(item, step)
    here = stance_of(revealed_record(room, attempt), room.protocol)
    one = examination_step(room.protocol, item, step.side, 0.0)
    seconds = patient_seconds(one, here, part)
    sides = 0.5 if item.paired and step.side != "both" else 1.0
    return StepCost(math.ceil(seconds), item.soreness * sides)


def part_done(item: Item, step: Examine) -> float:
    """Which part of an item's whole time a step takes: of its sides, modes and places."""
    whole = item.needed_modes or item.modes or (None,)
    modes = min(1.0, len(modes_done(item, step.mode)) / len(whole))
    places = places_of(item)
    sides = 0.5 if item.paired and step.side != "both" else 1.0
    return sides * modes * (1 / len(places) if places and step.place else 1.0)
