"""From a record to readings: one number per item, side, mode and instrument, with its unit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from statistics import fmean

from sidewise.kinds import KINDS, kind_of
from sidewise.protocol import Item, Protocol
from sidewise.record import Finding, Record

MEASURES = tuple(kind.measure for kind in KINDS.values() if kind.measure)
UNITS = {measure.quantity: measure.unit for measure in MEASURES} | {"score": "points"}
WORDS = {measure.unit: measure.words for measure in MEASURES} | {"points": "points"}


@dataclass(frozen=True, slots=True)
class Measurement:
    """The reading of one side: mean of its repeats, mode, instrument and examiner."""

    item: str
    label: str
    side: str
    mode: str | None
    quantity: str
    number: float
    instrument: str | None
    examiner: str
    own_sd: float | None = None
    repeats: int = 1
    limited_by_pain: bool = False
    ladder: tuple[str, ...] = ()

    @property
    def unit(self) -> str:
        """The unit of `number`."""
        return UNITS[self.quantity]

    @property
    def shown(self) -> str:
        """The number as people write it: a level by its name, others to a tenth at most."""
        if self.ladder:
            return self.ladder[round(self.number)]
        return f"{self.number:.1f}".removesuffix(".0")


def measurements(record: Record, protocol: Protocol) -> tuple[Measurement, ...]:
    """Every measured number in a record, in the protocol's order, repeats averaged.

    Findings in conflict and those not examined are left out: nothing is concluded from them.
    """
    found: list[Measurement] = []
    for (item, side, _), findings in record.settled.items():
        if side in ("left", "right") and item in protocol.by_id:
            found.extend(_of_one_place(protocol.item(item), findings, record))
    return tuple(sorted(found, key=lambda m: (protocol.order[m.item], m.mode or "", m.side)))


def number_with_unit(number: float, unit: str) -> str:
    """A rounded number with its unit, singular where it is one."""
    rounded = f"{number:.0f}"
    return f"{rounded} {unit.removesuffix('s') if rounded == '1' else unit}"


def written_day(day: date) -> str:
    """A date as people write it: 2 March 2026."""
    return f"{day.day} {day:%B %Y}"


def _of_one_place(item: Item, findings: Iterable[Finding], record: Record) -> Iterator[Measurement]:
    groups: dict[tuple[str, str | None], list[Finding]] = {}
    for finding in findings:
        measure = kind_of(finding.value).measure if finding.value else None
        if measure and finding.value and measure.of(finding.value):
            way = measure.way or finding.instrument
            groups.setdefault((finding.value.kind, way), []).append(finding)
    for (kind, instrument), group in groups.items():
        yield _averaged(item, kind, instrument, group, record)


def _averaged(
    item: Item, kind: str, instrument: str | None, group: list[Finding], record: Record
) -> Measurement:
    first, limits, measure = group[0], item.kind(kind), KINDS[kind].measure
    assert measure is not None, "only what is measured comes here"
    # The reading's own uncertainty does not shrink with repeats: the same points, the same camera.
    sds = [sd for f in group if (sd := getattr(f.value, "sd", None))]
    return Measurement(
        first.item, f"{item.label}{measure.suffix}", first.side, first.mode, measure.quantity,
        fmean(measure.number(f.value, limits) for f in group),
        instrument, first.examiner or record.context.examiner, max(sds, default=None), len(group),
        any(getattr(f.value, "limited_by_pain", False) for f in group),
        getattr(limits, "ladder", ()),
    )  # fmt: skip
