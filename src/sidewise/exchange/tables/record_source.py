"""Records wherever they stand: examinations as JSON, tables, a workbook; one at a time.

What cannot be read comes out as the reasons for it, each with its file and row, never in silence.
"""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from random import SystemRandom
from typing import Any

from sidewise.errors import UserError, UserErrors
from sidewise.exchange.tables.wide import finding_rows, is_wide_column
from sidewise.exchange.tables.writers import NO_XML, WORKBOOK
from sidewise.ground.extras import require_extra
from sidewise.ground.tables import plain_cell
from sidewise.kinds.common.vocabulary import Vocabulary
from sidewise.knowledge.region import Region
from sidewise.protocol.loader import vocabulary_of_all
from sidewise.reason.batch.records import SetAside, read_chunk, record_from_rows
from sidewise.reason.batch.source import deal_into_chunks, dealt_chunk, find_source
from sidewise.record import Record, read_record

Door = Mapping[str, Region]
Entry = Record | tuple[SetAside, ...]
PER_CHUNK = 500
MIXED = 1_000
"""Records that are shuffled at a time."""
WIDE = "wide"
SHEETS = ("contexts", "findings", WIDE)
UNPACKED_BYTES = 500_000_000
"""A workbook is a packed file; more than this inside is no table of examinations."""


@dataclass(frozen=True)
class RecordSource:
    """The records of some places. total: about how many there are, at most; None where unknown."""

    places: tuple[Path, ...]
    total: int | None

    def entries(self, door: Door) -> Iterator[Entry]:
        """Every record once, or why it cannot be had."""
        yield from self._once_each(self.places, door)

    def mixed_entries(self, door: Door) -> Iterator[Entry]:
        """The same in another order, so that the order tells nobody whose a record is."""
        chance = SystemRandom()
        places = chance.sample(self.places, len(self.places))
        held: list[Entry] = []
        for entry in self._once_each(places, door):
            held.append(entry)
            if len(held) >= MIXED:
                chance.shuffle(held)
                yield from held[MIXED // 2 :]
                del held[MIXED // 2 :]
        chance.shuffle(held)
        yield from held

    def _once_each(self, places: Sequence[Path], door: Door) -> Iterator[Entry]:
        seen: set[str] = set()
        for place in places:
            for entry in _entries(place, door):
                if not isinstance(entry, Record):
                    yield entry
                elif entry.id in seen:
                    error = UserError("record", entry.id, "each record once")
                    yield (SetAside(entry.id, place.name, None, error.message),)
                else:
                    seen.add(entry.id)
                    yield entry


def record_source(places: Iterable[Path]) -> RecordSource:
    """The source made of files and folders; UserError where one is not there or is empty."""
    found: list[Path] = []
    for place in places:
        if not place.exists():
            raise UserError(str(place), "nothing there", "an examination, a table or a folder")
        found += _files_of(place)
    tables = any(path.suffix != ".json" for path in found)
    return RecordSource(tuple(found), None if tables else len(found))


def _files_of(place: Path) -> list[Path]:
    """Examinations one by one; tables whole, by the folder or file that holds them."""
    if place.is_file():
        # One of two tables stands for both, which find each other by their folder.
        return [place.parent if place.stem in ("contexts", "findings") else place]
    if _is_tables(place):
        return [place]
    files = sorted(place.glob("*.json"))
    if not files:
        raise UserError(str(place), "no examination and no table", "*.json, or tables",
                        "Put one JSON a record in it, or contexts and findings.")  # fmt: skip
    return files


def _is_tables(folder: Path) -> bool:
    names = {path.stem for path in folder.iterdir() if path.suffix in (".csv", ".parquet", ".xlsx")}
    return bool(names & {*SHEETS, Path(WORKBOOK).stem})


def _entries(place: Path, door: Door) -> Iterator[Entry]:
    if place.is_dir():
        yield from _of_folder(place, door)
    elif place.suffix == ".xlsx":
        yield from _of_workbook(place, door)
    elif place.suffix in (".csv", ".parquet"):
        yield from _of_wide(place, _wide_rows(place), door)
    else:
        yield _document(place, door)


def _document(path: Path, door: Door) -> Entry:
    try:
        return read_record(path, door)
    except UserError as error:
        errors = error.errors if isinstance(error, UserErrors) else [error]
        return tuple(SetAside("", path.name, None, one.message) for one in errors)


def _of_folder(folder: Path, door: Door) -> Iterator[Entry]:
    if (folder / WORKBOOK).exists():
        yield from _of_workbook(folder / WORKBOOK, door)
        return
    for suffix in (".csv", ".parquet"):
        if (wide := folder / f"{WIDE}{suffix}").exists():
            yield from _of_wide(wide, _wide_rows(wide), door)
            return
    yield from _of_long(folder, door)


def _of_long(folder: Path, door: Door) -> Iterator[Entry]:
    require_extra("tables", str(folder))
    source = find_source(folder, vocabulary_of_all(door))
    with tempfile.TemporaryDirectory() as work:
        chunks = 1 + source.fingerprint().records // PER_CHUNK
        deal_into_chunks(source, Path(work), chunks)
        for chunk in range(chunks):
            read = read_chunk(dealt_chunk(Path(work), chunk), door)
            yield from read.records
            if read.aside:
                yield read.aside


def _of_wide(path: Path, rows: Iterator[dict[str, Any]], door: Door) -> Iterator[Entry]:
    words = vocabulary_of_all(door)
    for number, row in enumerate(rows, start=1):
        cells = {k: v for k, v in row.items() if v is not None and v != ""}
        if not cells:
            continue
        yield _wide_record(path.name, number, cells, words, door)


def _wide_record(
    name: str, number: int, cells: dict[str, Any], words: Vocabulary, door: Door
) -> Entry:
    record = str(cells.get("record", ""))
    context = {k: v for k, v in cells.items() if not is_wide_column(k)}
    try:
        if not record:
            raise UserError("record", None, "the number of the record")
        found = [{**one, "row": number} for one in finding_rows(record, cells, words)]
    except UserError as error:
        return (SetAside(record, name, number, error.message),)
    entry = record_from_rows({**context, "row": number}, found, 1, door)
    if isinstance(entry, Record):
        return entry
    return tuple(replace(one, source=name) for one in entry)


def _wide_rows(path: Path) -> Iterator[dict[str, Any]]:
    if path.suffix == ".parquet":
        yield from _parquet_rows(path)
        return
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.reader(file)
            names = next(reader, [])
            for cells in reader:
                if len(cells) != len(names):
                    raise UserError(f"{path.name}, line {reader.line_num}", f"{len(cells)} cells",
                                    f"{len(names)}, as the heading has")  # fmt: skip
                yield dict(zip(names, map(plain_cell, cells), strict=True))
    except UnicodeDecodeError as error:
        raise UserError(path.name, f"byte {error.start} that is not UTF-8", "UTF-8") from None
    except csv.Error as error:
        raise UserError(path.name, str(error), "a table as CSV") from None


def _parquet_rows(path: Path) -> Iterator[dict[str, Any]]:
    require_extra("tables", path.name)
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        with pq.ParquetFile(path) as file:
            for batch in file.iter_batches(PER_CHUNK):
                yield from batch.to_pylist()
    except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
        raise UserError(path.name, str(error), "a whole Parquet file") from None


def _of_workbook(path: Path, door: Door) -> Iterator[Entry]:
    """A workbook by way of CSV beside it, so that sheets and files have one reader."""
    require_extra("tables", path.name)
    with tempfile.TemporaryDirectory() as work:
        names = _sheets_as_csv(path, Path(work))
        if WIDE in names:
            yield from _of_wide(path, _wide_rows(Path(work) / f"{WIDE}.csv"), door)
        else:
            yield from _of_long(Path(work), door)


def _sheets_as_csv(path: Path, folder: Path) -> list[str]:
    from openpyxl import load_workbook

    _check_packed(path)
    try:
        book = load_workbook(path, read_only=True, data_only=False)
        names = [name for name in book.sheetnames if name in SHEETS]
        for name in names:
            _sheet_as_csv(book[name], folder / f"{name}.csv")
        book.close()
    except UserError:
        raise
    except Exception as error:
        # A damaged workbook fails in the archive, the XML or the reader's own types: no list of
        # errors is complete.
        raise UserError(path.name, str(error), "a workbook (xlsx)") from error
    if not names:
        raise UserError(path.name, "no such sheet", f"a sheet named {' or '.join(SHEETS)}")
    return names


def _check_packed(path: Path) -> None:
    """UserError for what unpacks to more than a table can be, before anything is unpacked."""
    from zipfile import BadZipFile, ZipFile

    try:
        with ZipFile(path) as packed:
            size = sum(entry.file_size for entry in packed.infolist())
    except (BadZipFile, OSError) as error:
        raise UserError(path.name, str(error), "a workbook (xlsx)") from None
    if size > UNPACKED_BYTES:
        raise UserError(path.name, f"{size // 1_000_000:,} MB when unpacked",
                        f"at most {UNPACKED_BYTES // 1_000_000} MB",
                        "Send it as CSV or Parquet, which are read piece by piece.")  # fmt: skip


def _sheet_as_csv(sheet: Any, path: Path) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        width = None
        for row in sheet.iter_rows(values_only=True):
            cells = [_sheet_cell(content) for content in row]
            width = width or len([cell for cell in cells if cell])
            writer.writerow((cells + [""] * width)[:width])


def _sheet_cell(content: Any) -> str:
    if content is None:
        return ""
    if isinstance(content, bool):
        return "true" if content else "false"
    if isinstance(content, float) and content.is_integer():
        return str(int(content))
    return NO_XML.sub("", str(content)) if not isinstance(content, str) else _unescaped(content)


def _unescaped(text: str) -> str:
    from openpyxl.utils.escape import unescape

    return str(unescape(text))
