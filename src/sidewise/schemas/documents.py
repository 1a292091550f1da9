"""What `check`, `sources` and `verify` conclude, as documents for other programs."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from sidewise.errors import UserError

if TYPE_CHECKING:
    # A check of a record needs no figures, and does not wait for their libraries.
    from sidewise.evidence.studies.display import ReadingEvidence
    from sidewise.ground.provenance import Provenance
    from sidewise.knowledge.region import Region
    from sidewise.note.completeness import Completeness

CHECK_FORMAT = "sidewise-check/1"
SOURCES_FORMAT = "sidewise-sources/1"
VERIFICATION_FORMAT = "sidewise-verification/1"


@dataclass(frozen=True, slots=True)
class PlaceWithoutEntry:
    """A place that this kind of visit needs and that has no entry; why, if it is called for."""

    item: str
    side: str
    mode: str | None
    because: str


@dataclass(frozen=True, slots=True)
class RaisedFlag:
    """A flag that is raised."""

    flag: str
    label: str
    urgency: str


@dataclass(frozen=True, slots=True)
class CheckedFile:
    """One file that can be used: whether it is complete, and what is open or raised.

    lines: the same as it is printed. Of a table of marks there are only these.
    """

    file: str
    what: Literal["examination", "marks"]
    complete: bool
    raised: tuple[RaisedFlag, ...]
    open: tuple[PlaceWithoutEntry, ...]
    not_asked: tuple[str, ...]
    conflicts: int
    injected_against: tuple[str, ...]
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Checked:
    """Every file of one call."""

    complete: bool
    files: tuple[CheckedFile, ...]


@dataclass(frozen=True, slots=True)
class Figure:
    """What a statement rests on."""

    of: str
    mark: str
    source: str
    note: str


@dataclass(frozen=True, slots=True)
class StudyFigure:
    """One published row that speaks to a reading; a figure it does not give is null."""

    reading: str
    source: str
    mark: str
    condition: str
    sensitivity: float | None
    specificity: float | None
    setting: str
    use: str


@dataclass(frozen=True, slots=True)
class LinkFigure:
    """How often a level of a condition causes a reading (0 to 1), with its 95% interval."""

    reading: str
    condition: str
    level: int
    mean: float
    low: float
    high: float
    mark: str
    tells_little: bool


@dataclass(frozen=True, slots=True)
class SourcesDocument:
    """What stands behind an item or a reading."""

    region: str
    name: str
    label: str
    figures: tuple[Figure, ...]
    readings: tuple[str, ...]
    studies: tuple[StudyFigure, ...]
    links: tuple[LinkFigure, ...]


@dataclass(frozen=True, slots=True)
class StoreProblem:
    """Something that is off, in four parts."""

    where: str
    got: str
    expected: str
    do: str


@dataclass(frozen=True, slots=True)
class Verified:
    """What was read of a data folder, and everything that is off."""

    whole: bool
    audit_lines: int
    last_seal: str
    anchors: int
    bound: int
    records: int
    problems: tuple[StoreProblem, ...]


def document(format_name: str, found: Any) -> dict[str, Any]:
    """A result as a document that names its format."""
    return {"format": format_name, **dataclasses.asdict(found)}


def checked_examination(
    name: str, state: Completeness, against: tuple[str, ...], lines: tuple[str, ...]
) -> CheckedFile:
    """One examination; `against` names flags against which something was injected."""
    return CheckedFile(
        file=name,
        what="examination",
        complete=state.complete and not against,
        raised=tuple(RaisedFlag(one.flag, one.label, one.urgency) for one in state.raised),
        open=tuple(PlaceWithoutEntry(m.item.id, m.side, m.mode, m.because) for m in state.missing),
        not_asked=state.not_asked,
        conflicts=state.conflicts,
        injected_against=against,
        lines=lines,
    )


def checked_marks(name: str, complete: bool, lines: tuple[str, ...]) -> CheckedFile:
    """One table of marks."""
    return CheckedFile(name, "marks", complete, (), (), (), 0, (), lines)


def store_problem(error: UserError) -> StoreProblem:
    """An error for people as data."""
    return StoreProblem(error.where, str(error.got), str(error.expected), error.do)


def sources_of(name: str, region: Region) -> SourcesDocument:
    """What stands behind an item or a reading; UserError with the nearest names."""
    from sidewise.evidence.studies.display import evidence_for
    from sidewise.protocol import protocol_of
    from sidewise.protocol.model import nearest_names

    protocol = protocol_of(region)
    item, reading = protocol.by_id.get(name), protocol.readings_by_id.get(name)
    if item is not None:
        readings, label, basis = protocol.readings_by_item.get(name, ()), item.label, item.basis
    elif reading is not None:
        readings, label, basis = (reading,), reading.label, reading.basis
    else:
        known = {**protocol.by_id, **protocol.readings_by_id}
        raise UserError("sources --json", name or None, "an item or a reading",
                        nearest_names(name, known))  # fmt: skip
    shown = [evidence_for(region, one.id) for one in readings] if region.has_weighing else []
    return SourcesDocument(
        region.id, name, label, tuple(_figure(name, one) for one in basis),
        tuple(one.id for one in readings),
        tuple(study for one in shown for study in _studies(one)),
        tuple(link for one in shown for link in _links(one)),
    )  # fmt: skip


def _figure(of: str, basis: Provenance) -> Figure:
    return Figure(of, basis.mark, basis.source, basis.note or "")


def _studies(shown: ReadingEvidence) -> list[StudyFigure]:
    return [
        StudyFigure(
            shown.reading, study.row.source, study.row.mark, study.row.condition_printed,
            study.row.sensitivity.value if study.row.sensitivity else None,
            study.row.specificity.value if study.row.specificity else None,
            study.row.setting, study.row.use,
        )
        for study in shown.studies
    ]  # fmt: skip


def _links(shown: ReadingEvidence) -> list[LinkFigure]:
    return [
        LinkFigure(
            shown.reading, link["condition"], link["level"], link["mean"], link["low"],
            link["high"], link["mark"], link["tells_little"],
        )
        for link in shown.fit["links"]
    ]  # fmt: skip
