"""From a record to readings: one number per item, side, mode and instrument, with its unit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from statistics import fmean

from sidewise.protocol import Protocol
from sidewise.record import Finding, Record
from sidewise.record.values import LEVELS, AngleValue, ForceValue, LengthValue, LevelValue

UNITS = {"angle": "deg", "force": "N", "level": "level", "length": "cm", "score": "points"}
WORDS = {"deg": "degrees", "N": "newtons", "level": "levels", "cm": "cm", "points": "points"}


@dataclass(frozen=True, slots=True)
class Measurement:
    """What one side read: the mean of its repeats, how it was taken and by whom."""

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

    @property
    def unit(self) -> str:
        """The unit of `number`."""
        return UNITS[self.quantity]

    @property
    def shown(self) -> str:
        """The number as people write it: a level by its name, others to a tenth at most."""
        if self.quantity == "level":
            return LEVELS[round(self.number)]
        return f"{self.number:.1f}".removesuffix(".0")


def measurements(record: Record, protocol: Protocol) -> tuple[Measurement, ...]:
    """Every measured number in a record, in the protocol's order, repeats averaged.

    Findings in conflict and those not examined are left out: nothing is concluded from them.
    """
    found: list[Measurement] = []
    for (item, side, _), findings in record.settled.items():
        if side in ("left", "right") and item in protocol.by_id:
            found.extend(_of_one_place(protocol.item(item).label, findings, record))
    return tuple(sorted(found, key=lambda m: (protocol.order[m.item], m.mode or "", m.side)))


def counted(number: float, unit: str) -> str:
    """A rounded number with its unit, singular where it is one."""
    rounded = f"{number:.0f}"
    return f"{rounded} {unit.removesuffix('s') if rounded == '1' else unit}"


def written_day(day: date) -> str:
    """A date as people write it: 2 March 2026."""
    return f"{day.day} {day:%B %Y}"


def level_number(level: str) -> float:
    """The rung of a spinal level on the ladder from thigh (0) upwards; a ladder, not degrees."""
    return float(LEVELS.index(level))


def _of_one_place(label: str, findings: Iterable[Finding], record: Record) -> Iterator[Measurement]:
    groups: dict[tuple[str, str | None], list[Finding]] = {}
    for finding in findings:
        quantity = _quantity(finding)
        if quantity:
            groups.setdefault((quantity, _instrument(finding)), []).append(finding)
    for (quantity, instrument), group in groups.items():
        yield _averaged(label, quantity, instrument, group, record)


def _averaged(
    label: str, quantity: str, instrument: str | None, group: list[Finding], record: Record
) -> Measurement:
    first = group[0]
    # An item may be graded and measured: its movement and its force share one label.
    label = f"{label}, force" if quantity == "force" else label
    # The reading's own uncertainty does not shrink with repeats: the same points, the same camera.
    sds = [sd for f in group if (sd := getattr(f.value, "sd", None))]
    return Measurement(
        first.item, label, first.side, first.mode, quantity, fmean(_number(f) for f in group),
        instrument, first.examiner or record.context.examiner, max(sds, default=None), len(group),
        any(getattr(f.value, "limited_by_pain", False) for f in group),
    )  # fmt: skip


def _quantity(finding: Finding) -> str | None:
    match finding.value:
        case AngleValue():
            return "angle"
        case ForceValue():
            return "force"
        case LevelValue():
            return "level"
        case LengthValue():
            return "length"
        case _:
            return None


def _number(finding: Finding) -> float:
    match finding.value:
        case AngleValue(degrees=degrees):
            return float(degrees)
        case ForceValue(newtons=newtons):
            return newtons
        case LevelValue(level=level):
            return level_number(level)
        case LengthValue(cm=cm):
            return cm
        case value:
            raise AssertionError(f"not a measured value: {value!r}")


def _instrument(finding: Finding) -> str | None:
    # A level is felt with the thumb on the spine: the only way there is.
    return "palpation" if isinstance(finding.value, LevelValue) else finding.instrument
