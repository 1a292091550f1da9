"""What one more step of an examination costs, and what it is worth: one rule for whoever asks.

A step is an item not yet examined. It costs its own time, the time to change posture, and, if it
hurts, half as much again for each degree of soreness. It is worth the bits it can be expected to
tell, per minute of that cost. Who examines keeps to the taught order where little speaks against
it: the next step is the best of those that tell a good part of what the most telling one would, and
steps of one posture come together because a change of posture is counted.

Numbers without a source are our judgement; each says so.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from sidewise.ground.language import mark_text
from sidewise.protocol import Item, Protocol
from sidewise.record import Record

SORENESS_COST = 0.5
"""Each degree of soreness counts like half the step's time again (our judgement)."""
CHANGE_SECONDS = 20.0
"""To sit down or stand up (our judgement)."""
COUCH_SECONDS = 45.0
"""To lie down, or get up from the couch (our judgement)."""
BACK_SECONDS = 15.0
"""To go back to a stage already left: what was explained is explained again (our judgement)."""
FEWEST_BITS = 0.02
"""Less than this is not worth anybody's time (our judgement)."""
BITS_FOR_SORENESS = {0: FEWEST_BITS, 1: FEWEST_BITS, 2: 0.05, 3: 0.10}
"""Never a sore test for little: the fewest bits for each degree of soreness (our judgement)."""
GOOD_PART = 1 / 3
"""A step comes next only if it tells this part of the most telling one (our judgement)."""
MUCH, SOMETHING = 0.15, 0.05
"""Bits from which a step tells much, or something (our judgement)."""

POSTURES = {
    "standing": re.compile(r"\bstand|upright|walking|wall at arm"),
    "sitting": re.compile(r"\bsit|\bseated|upright"),
    "lying": re.compile(r"\blying|\blies|supine|prone|on the back|couch"),
}


@dataclass(frozen=True, slots=True)
class Stance:
    """Where the examination stands: the patient's posture, and the number of the stage."""

    posture: str
    stage: int


@dataclass(frozen=True)
class ExaminationStep:
    """An item that could come next: the postures it can be done in, and the number of its stage.

    postures: empty where any will do.
    """

    item: Item
    side: str
    bits: float
    postures: frozenset[str]
    stage: int


def examination_step(protocol: Protocol, item: Item, side: str, bits: float) -> ExaminationStep:
    """One item as a step that can be expected to tell so many bits."""
    stage = protocol.stage_of(item)
    words = stage.patient if stage.sets_up else item.patient
    postures = frozenset(name for name, word in POSTURES.items() if word.search(words.lower()))
    names = [one.id for one in protocol.stages]
    return ExaminationStep(item, side, bits, postures, names.index(stage.id))


def stance_of(record: Record, protocol: Protocol) -> Stance:
    """Where the examination stands after the last finding; standing at the start before any."""
    done = [f for f in record.findings if f.status != "not examined" and f.item in protocol.by_id]
    if not done:
        return Stance("standing", 0)
    last = examination_step(protocol, protocol.by_id[done[-1].item], "", 0.0)
    return after(last, Stance("standing", 0))


def after(step: ExaminationStep, here: Stance) -> Stance:
    """Where the examination stands once a step is done."""
    if not step.postures or here.posture in step.postures:
        return Stance(here.posture, step.stage)
    return Stance(next(name for name in POSTURES if name in step.postures), step.stage)


def change_of_posture(here: str, there: str) -> float:
    """Seconds for the patient to change posture."""
    if there == here:
        return 0.0
    return COUCH_SECONDS if "lying" in (there, here) else CHANGE_SECONDS


def patient_seconds(step: ExaminationStep, here: Stance, part: float = 1.0) -> float:
    """Seconds of the patient's time: of a part of the item, and of the change of posture."""
    return step.item.seconds * part + change_of_posture(here.posture, after(step, here).posture)


def step_seconds(step: ExaminationStep, here: Stance) -> float:
    """Seconds a step costs from here, soreness and the change of posture counted."""
    sore = SORENESS_COST * step.item.soreness * step.item.seconds
    back = BACK_SECONDS if step.stage < here.stage else 0.0
    return patient_seconds(step, here) + sore + back


def bits_per_minute(step: ExaminationStep, here: Stance) -> float:
    """Bits that a step can be expected to tell, for each minute it costs from here."""
    return 60 * step.bits / step_seconds(step, here)


def is_worth_doing(step: ExaminationStep) -> bool:
    """Whether it tells enough for what it hurts."""
    return step.bits >= BITS_FOR_SORENESS[step.item.soreness]


def in_order(steps: Sequence[ExaminationStep], here: Stance, most: int) -> list[ExaminationStep]:
    """The steps worth doing, up to `most`, in the order in which a clinician would do them.

    steps: in the taught order, which decides between equals.
    """
    left = [step for step in steps if is_worth_doing(step)]
    found: list[ExaminationStep] = []
    while left and len(found) < most:
        enough = GOOD_PART * max(step.bits for step in left)
        able = [step for step in left if step.bits >= enough]
        best = max(able, key=lambda step: bits_per_minute(step, here))
        found.append(best)
        left.remove(best)
        here = after(best, here)
    return found


def tells_words(bits: float) -> str:
    """How much a step would tell, in words."""
    if bits >= MUCH:
        return mark_text("would tell much")
    if bits >= SOMETHING:
        return mark_text("would tell something")
    return mark_text("would tell a little")
