"""Angles and levels of both sides: from norms and conditions, within what was drawn.

A healthy range for the age and sex, alike on both sides but for what healthy sides differ; the
conditions take their share; the arm goes actively no further than passively; examiner and
instrument add their error. Of such pairs the first is taken that gives back what was drawn; what
pulls against it gives way from the last reading of a look to the first.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from sidewise.kinds import KINDS
from sidewise.knowledge.region import Region
from sidewise.measure import tables_of
from sidewise.practice.patient_truth import Drawn, SimulatedPerson
from sidewise.practice.ways import ConditionPicture, Movement, PatientWays
from sidewise.protocol import Item, Protocol
from sidewise.reason.judging.judge import Judge, State
from sidewise.record import Finding, Record

SIDES = ("left", "right")
BETWEEN_SIDES = 0.25
"""Share of the spread between people that is between the sides of one (our judgement)."""
ERROR_SD = 3.0
"""Degrees of one reading with a goniometer by one examiner (our judgement; tables say 2 to 8)."""
TRIES = 600
"""Pairs tried before the last reading of a look gives way."""
WIDE, WIDEST = 25, 175
"""From the one try on ranges ever further from what is healthy, from the other any that the joint
can have: readings that pull against each other are met by the least strange pair."""
STEP = 5.0


@dataclass(frozen=True, slots=True)
class Loss:
    """Of one side: the share of range kept, degrees of weakness, and what stops the arm."""

    keep: float
    weak: float
    end_feel: str | None
    hurts: bool


def losses(ways: PatientWays, drawn: Drawn, rng: np.random.Generator) -> dict[str, Loss]:
    """What the conditions of each side, and of the whole person, do to its movement."""
    found = {}
    for side in SIDES:
        there = [
            ways.conditions[name]
            for variable, level in drawn.levels.items()
            if level
            and (name := variable.partition(".")[0]) in ways.conditions
            and variable.partition(".")[2] in ("", side)
        ]
        keep = min((rng.uniform(*one.keep) for one in there), default=1.0)
        weak = max((rng.uniform(*one.weak) for one in there), default=0.0)
        found[side] = Loss(keep, weak, _end_feel(there), side in drawn.person.complaint)
    return found


def _end_feel(there: Sequence[ConditionPicture]) -> str | None:
    tight = sorted((one for one in there if one.end_feel), key=lambda one: one.keep[0])
    return tight[0].end_feel if tight else None


UNLIMITED = Loss(1.0, 0.0, None, False)


@dataclass(frozen=True)
class Moving:
    """What is needed to make the movements of one patient."""

    region: Region
    protocol: Protocol
    ways: PatientWays
    person: SimulatedPerson
    loss: Mapping[str, Loss]
    blank: Record
    build: float
    """How supple the person is, in standard deviations, in every movement alike."""


def healthy_range(moving: Moving, item: str) -> Movement:
    """Mean and SD of the active range at this age and sex, from the narrowest table with both."""
    fallback = moving.ways.movements[item]
    age, sex = moving.person.age, moving.person.sex
    rows = [
        row
        for row in tables_of(moving.region).usable_of("norms", item)
        if row.text("mode") == "active" and row.text("unit") == "deg"
        and row.text("sex") in (sex, "both") and row.number("mean") and row.number("sd")
        and (row.number("age_low") or 0) <= age < (row.number("age_high") or 120) + 1
    ]  # fmt: skip
    if not rows:
        return fallback
    row = min(rows, key=lambda r: (r.number("age_high") or 120) - (r.number("age_low") or 0))
    return fallback.model_copy(update={"mean": row.needed("mean"), "sd": row.needed("sd")})


def movement_findings(
    moving: Moving, item: Item, wanted: Mapping[str, bool], rng: np.random.Generator
) -> tuple[Finding, ...]:
    """Angles of both sides and every mode that give back what is wanted, by the network's names.

    wanted: in the order in which readings give way, the last first.
    """
    known = healthy_range(moving, item.id)
    limits = item.kind("angle")
    assert limits is not None, "a movement is read in degrees"
    low, high = getattr(limits, "low", 0.0), getattr(limits, "high", 180.0)
    still = dict(wanted)
    while True:
        for number in range(TRIES):
            found = tuple(_angles(moving, item, known, (low, high), number, wanted, rng))
            if gives_back(moving, found, item, still):
                return found
        assert still, "with nothing wanted the first pair is taken"
        still.popitem()


def _angles(
    moving: Moving,
    item: Item,
    known: Movement,
    ends: tuple[float, float],
    number: int,
    wanted: Mapping[str, bool],
    rng: np.random.Generator,
) -> Iterator[Finding]:
    low, high = ends
    own = known.sd * (1 - BETWEEN_SIDES) ** 0.5 * moving.build
    for side in SIDES if item.paired else ("midline",):
        loss = moving.loss.get(side, UNLIMITED)
        apart = known.sd * BETWEEN_SIDES**0.5 * rng.standard_normal()
        healthy = known.mean + own + apart
        keep = 1 - (1 - loss.keep) * known.loss
        weak = loss.weak * known.loss
        stop = healthy * keep
        if number >= WIDE:
            far = min(1.0, (number - WIDE + 1) / (WIDEST - WIDE))
            stop += far * (rng.uniform(low, high) - stop) if rng.random() < 0.6 else 0.0
            weak = rng.choice([0.0, rng.uniform(0, 90 * far)])
            keep = stop / healthy
        passive = _read(stop + known.passive_more * min(1.0, keep) + _error(rng), low, high)
        active = _read(min(stop - weak + _error(rng), passive), low, high)
        # An arm that is locked below the horizontal is not lifted by its own muscles either.
        active = min(active, passive)
        for mode in item.modes or (None,):
            degrees = passive if mode == "passive" else active
            manner = _manner(loss, mode, keep)
            for one in moving.protocol.readings_by_item.get(item.id, ()):
                test = one.criterion
                if test.test == "movement_pain" and test.mode == mode:
                    manner["pain"] = wanted.get(f"{one.id}.{side}", manner["pain"])
            yield _finding(item, side, mode, degrees, manner)


def _manner(loss: Loss, mode: str | None, keep: float) -> dict[str, Any]:
    """Pain and end feel of one movement."""
    found: dict[str, Any] = {"pain": loss.hurts and keep < 0.97}
    if mode == "passive":
        found["end_feel"] = loss.end_feel if loss.end_feel and keep < 0.9 else "firm"
    return found


def _error(rng: np.random.Generator) -> float:
    return float(ERROR_SD * rng.standard_normal())


def _read(degrees: float, low: float, high: float) -> float:
    """What is read off: whole steps of five degrees, within what the joint can do at all."""
    return float(min(max(STEP * round(degrees / STEP), low, 0.0), high))


def _finding(
    item: Item, side: str, mode: str | None, degrees: float, manner: dict[str, Any]
) -> Finding:
    value = KINDS["angle"].value.model_validate(
        {"kind": "angle", "degrees": degrees, "instrument": "goniometer", **manner}
    )
    return Finding.model_validate({"item": item.id, "side": side, "mode": mode, "value": value})


def gives_back(
    moving: Moving, findings: Sequence[Finding], item: Item, wanted: Mapping[str, bool]
) -> bool:
    """Whether the findings, judged, say what is wanted of this item's readings."""
    judge = Judge(moving.protocol, moving.blank.model_copy(update={"findings": tuple(findings)}))
    by_id = moving.protocol.readings_by_id
    for name, there in wanted.items():
        reading, _, side = name.partition(".")
        verdict = judge.criterion(by_id[reading].criterion, item.id, side or "midline")
        # What cannot be judged, for want of a healthy other side, is contradicted by nothing.
        if verdict.state in (State.MET, State.NOT_MET) and (verdict.state is State.MET) != there:
            return False
    return True


def level_findings(
    moving: Moving, item: Item, wanted: Mapping[str, bool], rng: np.random.Generator
) -> tuple[Finding, ...]:
    """The level behind the back that each thumb reaches, in every mode."""
    limits: Any = item.kind("level")
    top, rungs = len(limits.ladder) - 1, moving.ways.level
    still = dict(wanted)
    while True:
        for number in range(TRIES):
            reach = rungs.mean_rung + rungs.sd * moving.build
            found = []
            for side in SIDES:
                keep = moving.loss[side].keep if number < WIDE else rng.uniform(0.0, 1.1)
                rung = round((reach + 0.7 * rng.standard_normal()) * keep)
                passive = min(max(rung, 0), top)
                for mode in item.modes or (None,):
                    level = limits.ladder[passive]
                    value = {"kind": "level", "level": level, "pain": moving.loss[side].hurts}
                    data = {"item": item.id, "side": side, "mode": mode, "value": value}
                    found.append(Finding.model_validate(data))
            if gives_back(moving, found, item, still):
                return tuple(found)
        assert still, "with nothing wanted the first pair is taken"
        still.popitem()
