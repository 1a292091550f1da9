"""Records into a folder of tables with their dictionary; whole, or not at all."""

from __future__ import annotations

import csv
import json
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sidewise import __version__
from sidewise.errors import UserError
from sidewise.exchange.tables.columns import EMPTY, Column, context_columns, finding_columns
from sidewise.exchange.tables.deidentification import Deidentifier
from sidewise.exchange.tables.dictionary import CODEBOOK, codebook_rows, csvw_metadata
from sidewise.exchange.tables.record_source import WIDE, Door, Entry
from sidewise.exchange.tables.small_groups import FEWEST, GroupCounts, SmallGroup
from sidewise.exchange.tables.wide import PLACE, wide_cells
from sidewise.exchange.tables.writers import FORMS, Row, cell_words, opened_tables
from sidewise.kinds.common.vocabulary import Vocabulary
from sidewise.protocol import protocol_of
from sidewise.protocol.loader import vocabulary_of_all
from sidewise.reason.batch.records import SetAside
from sidewise.reason.batch.source import METADATA
from sidewise.record import Record
from sidewise.record.table import context_row, finding_row

SHAPES = ("long", "wide")
ABOUT = "about.txt"
ASIDE = "set_aside.csv"
ASIDE_COLUMNS = ("record", "source", "row", "reason")
SHIFTED = (
    "De-identified: codes are numbers drawn for this export; dates are moved, all of a patient by "
    "the same number of days; the hour is left out; age 90 stands for 90 or older."
)
TEXT_LEFT = "Free text is left out; where a text must stand it says 'left out'."
TEXT_KEPT = (
    "FREE TEXT IS KEPT, AS WAS ASKED: a name or a place may stand in it. Read it before it leaves."
)
NOT_ANONYMOUS = (
    "What is left can still tell who somebody is, together with what else is known. Whether it may "
    "leave, and to whom, is for your data protection officer to say."
)
NAMED = "Not de-identified: these are patients' records."
NOT_IN_TABLES = (
    "Tables do not hold earlier revisions, statements in dispute or what was carried from another "
    "visit; the examinations as JSON do."
)
Progress = Callable[[int], None]
"""Called with how many records are done."""


@dataclass(frozen=True, slots=True)
class ExportWish:
    """How records are to be exported: `form` of FORMS, `shape` of SHAPES.

    free_text: of a de-identified export only.
    """

    form: str = "csv"
    shape: str = "long"
    deidentified: bool = False
    free_text: bool = False

    def __post_init__(self) -> None:
        if self.form not in FORMS:
            raise UserError("--as", self.form, " or ".join(FORMS))
        if self.shape not in SHAPES:
            raise UserError("--shape", self.shape, " or ".join(SHAPES))
        if self.free_text and not self.deidentified:
            raise UserError("--free-text", "without --de-identified", "the two together",
                            "An export that is not de-identified has all texts.")  # fmt: skip

    @property
    def remarks(self) -> tuple[str, ...]:
        """What must be said wherever the tables go."""
        if not self.deidentified:
            return (NAMED, NOT_IN_TABLES)
        return (SHIFTED, TEXT_KEPT if self.free_text else TEXT_LEFT, NOT_ANONYMOUS, NOT_IN_TABLES)


@dataclass(frozen=True, slots=True)
class ExportSummary:
    """What was written.

    disputed: records with statements in dispute, which tables do not hold. exposed: patients who
    are in a small group. Both of these are counted in a de-identified export.
    """

    records: int
    findings: int
    patients: int
    disputed: int
    set_aside: tuple[SetAside, ...]
    small_groups: tuple[SmallGroup, ...]
    exposed: int
    files: tuple[str, ...]


def export_tables(
    entries: Iterable[Entry],
    folder: Path,
    door: Door,
    wish: ExportWish,
    *,
    deidentifier: Deidentifier | None = None,
    progress: Progress = lambda _done: None,
) -> ExportSummary:
    """Write the records into the folder, which must not be there or be empty.

    deidentifier: where its chance comes from, in tests. UserError where the folder cannot be
    written; then nothing is left in it. Holds a stretch of records at a time.
    """
    _refuse_full(folder)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name}"))
    except OSError as error:
        raise UserError(str(folder), error.strerror or str(error), "a place to write to") from None
    try:
        run = _Export(work, door, wish, deidentifier or Deidentifier(wish.free_text), progress)
        run.write(entries)
        summary = run.finish()
        if folder.exists():
            folder.rmdir()
        work.chmod(0o755)
        work.rename(folder)
        return summary
    except OSError as error:
        raise UserError(str(folder), error.strerror or str(error), "a place to write to") from None
    finally:
        shutil.rmtree(work, ignore_errors=True)


def _refuse_full(folder: Path) -> None:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UserError(str(folder), "something that is there", "a new or an empty folder",
                        "Name another one; nothing is written over.")  # fmt: skip


class _Export:
    """One export: counts as it writes."""

    def __init__(
        self, work: Path, door: Door, wish: ExportWish, hide: Deidentifier, progress: Progress
    ) -> None:
        self.work, self.door, self.wish, self.hide, self.progress = work, door, wish, hide, progress
        self.words: Vocabulary = vocabulary_of_all(door)
        self.groups = GroupCounts()
        self.patients: set[str] = set()
        self.records = self.findings = self.disputed = 0
        self.aside: list[SetAside] = []
        self.tables: dict[str, tuple[Column, ...]] = {}

    def write(self, entries: Iterable[Entry]) -> None:
        """Write every record."""
        (self._long if self.wish.shape == "long" else self._wide)(self._counted(entries))

    def _counted(self, entries: Iterable[Entry]) -> Iterator[Record]:
        for entry in entries:
            if isinstance(entry, Record):
                yield self._taken(entry)
                self.progress(self.records)
            else:
                self.aside += entry

    def _taken(self, record: Record) -> Record:
        self.records += 1
        self.findings += len(record.findings)
        self.disputed += bool(record.context.disputed)
        if not self.wish.deidentified:
            self.patients.add(record.context.patient)
            return record
        hidden = self.hide.deidentified(record, protocol_of(self.door[record.region]))
        self.patients.add(hidden.context.patient)
        self.groups.add(hidden)
        return hidden

    def _long(self, records: Iterable[Record]) -> None:
        columns = {"contexts": context_columns(self.door), "findings": finding_columns(self.words)}
        self.tables = columns
        with opened_tables(self.work, self.wish.form, columns | self._codebook_sheet()) as tables:
            for record in records:
                tables["contexts"].write(context_row(record))
                for finding in record.findings:
                    tables["findings"].write(finding_row(record.id, finding, self.words))
            self._fill_codebook(tables)

    def _wide(self, records: Iterable[Record]) -> None:
        """By way of a file: which columns there are is known when the last record was seen."""
        spool = self.work / ".rows"
        used: dict[str, None] = {}
        with spool.open("w", encoding="utf-8") as file:
            for record in records:
                cells = wide_cells(record.findings, self.words)
                used.update(dict.fromkeys(cells))
                row = {**context_row(record), **cells}
                file.write(json.dumps({k: v for k, v in row.items() if v is not None}) + "\n")
        self.tables = {WIDE: (*context_columns(self.door), *self._wide_columns(used))}
        with (
            opened_tables(
                self.work, self.wish.form, self.tables | self._codebook_sheet()
            ) as tables,
            spool.open(encoding="utf-8") as lines,
        ):
            for line in lines:
                tables[WIDE].write(json.loads(line))
            self._fill_codebook(tables)
        spool.unlink()

    def _wide_columns(self, used: Iterable[str]) -> list[Column]:
        known = {one.name: one for one in finding_columns(self.words)}
        items = [item for region in self.door.values() for item in protocol_of(region).items]
        order = {item.id: place for place, item in enumerate(items)}
        labels = {item.id: item.label for item in items}
        fields = {name: place for place, name in enumerate(n for n in known if n not in PLACE)}
        ordered = sorted(used, key=lambda name: _wide_order(name, order, fields))
        return [_wide_column(name, known, labels) for name in ordered]

    def _codebook_sheet(self) -> dict[str, tuple[Column, ...]]:
        """A workbook carries its codebook inside as well."""
        if self.wish.form != "xlsx":
            return {}
        return {"codebook": tuple(Column(name, "text", "") for name in CODEBOOK)}

    def _fill_codebook(self, tables: Mapping[str, Any]) -> None:
        if "codebook" in tables:
            for row in codebook_rows(self.tables):
                tables["codebook"].write(row)

    def finish(self) -> ExportSummary:
        """The dictionary, what was set aside and what must be said, beside the tables."""
        _write_rows(self.work / "codebook.csv", CODEBOOK, codebook_rows(self.tables))
        if self.wish.form == "csv":
            text = csvw_metadata(self.tables, self.wish.remarks)
            (self.work / METADATA).write_text(text + "\n", encoding="utf-8")
        # Why a record was set aside quotes it: that does not go where the others are numbers.
        if self.aside and not self.wish.deidentified:
            rows = ({name: getattr(one, name) for name in ASIDE_COLUMNS} for one in self.aside)
            _write_rows(self.work / ASIDE, ASIDE_COLUMNS, rows)
        (self.work / ABOUT).write_text(self._about(), encoding="utf-8")
        files = tuple(sorted(path.name for path in self.work.iterdir()))
        return ExportSummary(
            self.records, self.findings, len(self.patients), self.disputed, tuple(self.aside),
            self.groups.small(), self.groups.exposed(), files,
        )  # fmt: skip

    def _about(self) -> str:
        made = datetime.now(UTC).date().isoformat()
        lines = [
            f"Examinations exported by sidewise {__version__} on {made}.",
            f"{self.records:,} records, {self.findings:,} findings, "
            f"{len(self.patients):,} patients.",
            EMPTY,
            *self.wish.remarks,
            "codebook.csv says what each column is.",
        ]
        if many := self.groups.exposed():
            lines.append(
                f"{many} patients are alike with fewer than {FEWEST} others in age by tens, sex, "
                "hand, sides and setting: they could be told from the rest."
            )
        return "\n".join(lines) + "\n"


def _wide_order(name: str, order: Mapping[str, int], fields: Mapping[str, int]) -> Any:
    head, _, field = name.rpartition(".")
    item, side, *rest = head.split(".")
    return order.get(item, len(order)), item, side, rest, fields.get(field, len(fields))


def _wide_column(name: str, known: Mapping[str, Column], labels: Mapping[str, str]) -> Column:
    head, _, field = name.rpartition(".")
    item, *place = head.split(".")
    one = known[field]
    about = f"{labels.get(item, item)}, {', '.join(place)}. {one.about}"
    return Column(name, one.type, about, one.unit, one.values)


def _write_rows(path: Path, names: tuple[str, ...], rows: Iterable[Row]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(names)
        for row in rows:
            writer.writerow([cell_words(row.get(name)) for name in names])
