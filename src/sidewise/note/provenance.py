"""How each figure of a region is known: shares by file, and what is recalled and matters most."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sidewise.evidence.fit.fitted import fitted_of
from sidewise.evidence.studies.rows import AccuracyRow, accuracy_rows_of
from sidewise.ground.provenance import Mark
from sidewise.knowledge.manifest import PARTS
from sidewise.knowledge.region import Region

MOST_RECALLED = 20
"""How many figures recalled from memory are listed by name."""
ORDER = (Mark.READ, Mark.COMPUTED, Mark.MEMORY, Mark.COMMON_PRACTICE, Mark.OUR_JUDGEMENT)


@dataclass(frozen=True)
class FileProvenance:
    """One file (or set of files) of a region, and how many of its marks are of each kind."""

    file: str
    what: str
    marks: Counter[str]

    @property
    def total(self) -> int:
        """All marks of the file."""
        return sum(self.marks.values())


@dataclass(frozen=True)
class RecalledFigure:
    """A figure of a fitted study that is recalled from memory and not read.

    share: of the patients of its reading's studies, those that this row brings; the larger it is,
    the more of the fit rests on it.
    """

    row: AccuracyRow
    which: tuple[str, ...]
    share: float


def provenance_of_files(region: Region) -> tuple[FileProvenance, ...]:
    """Every file with marks, in the order in which the parts of a region are listed."""
    found = []
    for part in PARTS:
        if region.has(part.name):
            marks = Counter(_marks(region.part(part.name)))
            if marks:
                found.append(FileProvenance(part.file, part.what, marks))
    return tuple(found)


def _marks(data: Any) -> Iterator[str]:
    if isinstance(data, dict):
        for name, value in data.items():
            if (name == "mark" or str(name).endswith("_mark")) and isinstance(value, str):
                if value:
                    yield value
            else:
                yield from _marks(value)
    elif isinstance(data, list | tuple):
        for entry in data:
            yield from _marks(entry)


def recalled_figures(region: Region) -> tuple[RecalledFigure, ...]:
    """Fitted figures recalled from memory, those that matter most first."""
    if not region.has_weighing:
        return ()
    rows = accuracy_rows_of(region).fitted
    patients: Counter[str] = Counter()
    for row in rows:
        patients[row.reading] += _size(row)
    found = [
        RecalledFigure(row, which, _size(row) / patients[row.reading])
        for row in rows
        if (which := _recalled(row))
    ]
    return tuple(sorted(found, key=lambda one: (-one.share * _size(one.row), one.row.id)))


def _size(row: AccuracyRow) -> int:
    sick = row.diseased or 0 if row.sensitivity is not None else 0
    return sick + (row.others or 0 if row.specificity is not None else 0)


def _recalled(row: AccuracyRow) -> tuple[str, ...]:
    figures = (("sensitivity", row.sensitivity), ("specificity", row.specificity))
    return tuple(name for name, f in figures if f is not None and f.mark == Mark.MEMORY)


def provenance_lines(region: Region) -> Iterator[str]:
    """Recalled figures first, then the share of each kind of mark by file, as lines of text."""
    recalled = recalled_figures(region)
    if recalled:
        yield f"Recalled from memory and fitted, to be verified: {len(recalled)} rows. First those"
        yield "that bring most of the patients of their finding:"
    for one in recalled[:MOST_RECALLED]:
        yield (
            f"  {one.row.id} {one.row.reading}: {one.row.source}, {' and '.join(one.which)}; "
            f"{one.share:.0%} of the patients of this finding"
        )
    yield ""
    head = "".join(f"{mark:>17}" for mark in ORDER)
    yield f"{'marks by file':28}{'all':>6}{head}"
    for file in provenance_of_files(region):
        shares = "".join(f"{file.marks[mark] / file.total:>17.0%}" for mark in ORDER)
        yield f"{file.file:28}{file.total:>6}{shares}"


def fit_version(region: Region) -> str:
    """The beginning of the hash of what was learned from the studies; "" where nothing was."""
    return fitted_of(region).fingerprint[:12] if region.has_weighing else ""


def provenance_text(region: Region) -> str:
    """The same as one text."""
    return "\n".join(provenance_lines(region))
