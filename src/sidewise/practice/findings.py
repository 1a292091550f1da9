"""From what was drawn to whole findings of the whole protocol, both sides, as they would be found.

Of the readings of one look the network draws each by itself, and some pairs cannot both be so
(weak, but neither painful nor weak). The first of a look, which is the one that is weighed, is
always kept; a later one gives way where no value says both.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sidewise.evidence.conditions import families_of
from sidewise.kinds import KINDS
from sidewise.knowledge.region import Region
from sidewise.practice.following import following_findings
from sidewise.practice.movements import Moving, level_findings, losses, movement_findings
from sidewise.practice.patient_truth import Drawn
from sidewise.practice.possible_values import ItemValues, PossibleValue, possible_values
from sidewise.practice.ways import PatientWays
from sidewise.protocol import Item, protocol_of
from sidewise.reason.judging.judge import NORMAL_BY_EYE, Judge, State
from sidewise.reason.judging.variants import variants_of
from sidewise.record import Finding, Record

MILD_VARIANT = 0.25
"""How often a listed mild tenderness is there on both sides of anybody (our judgement)."""


@dataclass(frozen=True)
class Examined:
    """Findings of every item, and what each reading comes to when they are judged.

    judged: by the network's name, readings that can be judged. unable: those that cannot.
    """

    findings: tuple[Finding, ...]
    judged: Mapping[str, bool]
    unable: tuple[str, ...]


def whole_findings(
    region: Region, ways: PatientWays, drawn: Drawn, blank: Record, rng: np.random.Generator
) -> Examined:
    """Whole findings of a drawn patient. blank: the record with its context, and no findings."""
    protocol = protocol_of(region)
    loss = losses(ways, drawn, rng)
    moving = Moving(region, protocol, ways, drawn.person, loss, blank, float(rng.standard_normal()))
    maker = _Maker(region, ways, drawn, moving, rng)
    made = [finding for item in protocol.items for finding in maker.of_item(item)]
    found = list(following_findings(region, ways, drawn.person.complaint, made))
    record = blank.model_copy(update={"findings": tuple(found)})
    kept = tuple(_out_of_reach(record, region, found))
    return _judged(region, drawn, blank.model_copy(update={"findings": kept}))


@dataclass(frozen=True)
class _Maker:
    region: Region
    ways: PatientWays
    drawn: Drawn
    moving: Moving
    rng: np.random.Generator

    def of_item(self, item: Item) -> Iterator[Finding]:
        wanted = self._wanted(item)
        if item.id in self.ways.movements and item.kind("angle"):
            yield from movement_findings(self.moving, item, wanted, self.rng)
            values = {k: v for k, v in self._values(item).items() if any(one.says for one in v)}
            if not values:
                return
        elif item.kind("level"):
            yield from level_findings(self.moving, item, wanted, self.rng)
            return
        else:
            values = self._values(item)
        mild = self._mild(item)
        for side in ("right", "left") if item.paired else ("midline",):
            yield from self._of_side(item, side, values, wanted, mild)

    def _values(self, item: Item) -> ItemValues:
        return possible_values(self.region)[item.id]

    def _wanted(self, item: Item) -> dict[str, bool]:
        """What was drawn of an item, both sides; first readings of a look before later ones."""
        group = families_of(self.region).witness_group
        readings = sorted(
            self.moving.protocol.readings_by_item.get(item.id, ()),
            key=lambda one: group.get(one.id, (one.id,)).index(one.id),
        )
        sides = (".left", ".right") if item.paired else ("",)
        names = [f"{one.id}{side}" for one in readings for side in sides]
        return {name: self.drawn.readings[name] for name in names if name in self.drawn.readings}

    def _mild(self, item: Item) -> bool:
        mild = any(
            item.id in variant.items
            and variant.criterion is not None
            and variant.criterion.test == "tenderness"
            for variant in variants_of(self.region)
            if variant.applies and not self.moving.protocol.readings_by_item.get(item.id)
        )
        return mild and bool(self.rng.random() < MILD_VARIANT)

    def _of_side(
        self, item: Item, side: str, values: ItemValues, wanted: Mapping[str, bool], mild: bool
    ) -> Iterator[Finding]:
        own = {name.partition(".")[0]: there for name, there in wanted.items()
               if name.partition(".")[2] in ("", side)}  # fmt: skip
        speaking = {kind: some for kind, some in values.items() if any(one.says for one in some)}
        if not speaking:
            yield from self._plain(item, side, mild)
            return
        weak: bool | None = None
        for kind, some in speaking.items():
            allowed = self._allowed(item, side, kind, some, weak)
            value = self._chosen(allowed, own).value
            if kind == "mrc":
                weak = getattr(value, "grade", "5") != "5"
            yield Finding.model_validate({"item": item.id, "side": side, "value": value})

    def _allowed(
        self, item: Item, side: str, kind: str, some: Sequence[PossibleValue], weak: bool | None
    ) -> Sequence[PossibleValue]:
        """What does not contradict what else was found there."""
        if kind == "reflex" and not self._serves(item, side):
            return [one for one in some if getattr(one.value, "reflex", "") != "absent"]
        if kind == "result" and weak is not None:
            stated = [one for one in some if bool(one.value.stated("weakness")) == weak]  # type: ignore[attr-defined]
            return stated or some
        return some

    def _serves(self, item: Item, side: str) -> bool:
        roots, root = self.ways.roots, self.drawn.roots.get(side)
        return roots is not None and any(
            root in roots.readings.get(one.id, ())
            for one in self.moving.protocol.readings_by_item.get(item.id, ())
        )

    def _chosen(self, some: Sequence[PossibleValue], own: Mapping[str, bool]) -> PossibleValue:
        left = list(some)
        for reading, there in own.items():
            left = [one for one in left if one.says.get(reading) == there] or left
        normal = [one for one in left if one.normal]
        pool = normal if normal and not any(own.values()) else left
        return pool[int(self.rng.integers(len(pool)))]

    def _anything_there(self) -> bool:
        """On either side: what is compared is made on both sides or on none."""
        return any(self.drawn.levels.values())

    def _plain(self, item: Item, side: str, mild: bool) -> Iterator[Finding]:
        """An item that speaks to no reading: normal, or mildly tender on both sides.

        What conditions would change, and nothing says how, is left unexamined: full power in an
        arm with a torn tendon would tell against the story.
        """
        if item.id in self.ways.follow_the_conditions and self._anything_there():
            return
        for limits in item.offered:
            normal = KINDS[limits.kind].bedside.normal(limits)
            if normal is None:
                continue
            if mild and limits.kind == "tenderness":
                normal = {"grade": 1}
            for mode in item.modes or (None,):
                value = {"kind": limits.kind, **normal}
                data = {"item": item.id, "side": side, "mode": mode, "value": value}
                yield Finding.model_validate(data)
            return


def _out_of_reach(record: Record, region: Region, found: Sequence[Finding]) -> Iterator[Finding]:
    """The findings, those whose position the joint cannot reach as unable, with the reason."""
    protocol = protocol_of(region)
    judge, told = Judge(protocol, record), set()
    for finding in found:
        why = _why_not(judge, finding)
        if why is None:
            yield finding
        elif finding.place not in told:
            told.add(finding.place)
            data = {"item": finding.item, "side": finding.side, "mode": finding.mode}
            yield Finding.model_validate({**data, "status": "unable", "reason": why})


def _why_not(judge: Judge, finding: Finding) -> str | None:
    item = judge.protocol.item(finding.item)
    if item.kind("angle") or item.kind("level"):
        return None
    for reading in judge.protocol.readings_by_item.get(item.id, ()):
        for need in reading.interpretable_when:
            there = judge.criterion(need.criterion, need.item, finding.side)
            if there.state is State.NOT_MET and there.because != NORMAL_BY_EYE:
                return need.because
    return None


def _judged(region: Region, drawn: Drawn, record: Record) -> Examined:
    protocol = protocol_of(region)
    judge = Judge(protocol, record)
    found, unable = {}, []
    for name in drawn.readings:
        reading, _, side = name.partition(".")
        one = protocol.readings_by_id[reading]
        verdict = judge.reading(one, side or "midline")
        if verdict.state in (State.MET, State.NOT_MET):
            found[name] = verdict.state is State.MET
        else:
            unable.append(name)
    return Examined(record.findings, found, tuple(unable))
