"""The input of a batch: found, checked as a whole, and dealt into chunks on disk.

Two forms. *Tables*: `contexts` (one row per record) and `findings` (one row per finding), both CSV
or both Parquet, in the columns of `sidewise.record.table`, in any order. *Documents*: a folder of
examinations as JSON, one file each.

A record's chunk follows from its id alone (CRC-32 modulo the number of chunks), so that its context
and its findings meet wherever they stand in the tables, and never more than a stretch of the input
is in memory. Dealing writes the input once more, beside the output; it is removed at the end.
"""

from __future__ import annotations

import csv
import hashlib
import json
import re
import zlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from sidewise.errors import UserError, UserErrors
from sidewise.ground.tables import FORMULA
from sidewise.kinds.common.vocabulary import Vocabulary
from sidewise.record.model import Context
from sidewise.record.reading import LIMIT_BYTES
from sidewise.record.table import AT_THE_BEDSIDE, CARE, CONCLUSION, TOLD, table_columns

Table = Any  # pyarrow ships no types
TABLES = ("contexts", "findings")
METADATA = "csv-metadata.json"
"""The name under which a program looks for the metadata of the tables beside it (CSVW, 5.3)."""
KINDS = (".parquet", ".csv")
STRETCH_ROWS = 100_000
STRETCH_BYTES = 16_000_000
GROUPS = ("history", "vitals", "scales", "known")
NOT_COLUMNS = (*GROUPS, *AT_THE_BEDSIDE)
CONTEXT_COLUMNS = (
    "record", "region", *(n for n in Context.model_fields if n not in NOT_COLUMNS),
    CARE, *CONCLUSION, *TOLD,
)  # fmt: skip
NEEDED = {
    "contexts": ("record", "region", "patient", "examined_at", "examiner"),
    "findings": ("record", "item", "side", "status"),
}


@dataclass(frozen=True)
class Source:
    """A usable input. `form` is "tables" or "documents"; `files` are read in this order."""

    form: str
    files: dict[str, tuple[Path, ...]]

    def fingerprint(self) -> Fingerprint:
        """SHA-256 of names and contents, and how many records there may be at most."""
        digest, records = hashlib.sha256(), 0
        for name, paths in self.files.items():
            for path in paths:
                digest.update(f"{name}/{path.name}\0".encode())
                lines = _digest_file(path, digest)
                if self.form == "documents":
                    records += 1
                elif name == "contexts":
                    records += _parquet_rows(path) if path.suffix == ".parquet" else lines
        return Fingerprint(digest.hexdigest(), records)


@dataclass(frozen=True, slots=True)
class Fingerprint:
    """What identifies an input, and an upper bound of its records."""

    digest: str
    records: int


def find_source(place: Path, words: Vocabulary) -> Source:
    """The input in a folder (or beside a findings table); UserError where it cannot be used.

    words: those of every region whose records may be among them.
    """
    if not place.exists():
        raise UserError(str(place), "nothing there", "a folder of tables or examinations")
    folder = place if place.is_dir() else place.parent
    tables = {name: _table_files(folder, name) for name in TABLES}
    documents = tuple(sorted(p for p in folder.glob("*.json") if p.name != METADATA))
    if any(tables.values()):
        return _tables(folder, tables, documents, words)
    if not documents:
        raise UserError(
            str(place), "no table and no examination", "contexts and findings, or *.json",
            "Put contexts.parquet and findings.parquet (or .csv) in it, or one JSON per record.",
        )  # fmt: skip
    return Source("documents", {"documents": documents})


def _tables(
    folder: Path,
    tables: dict[str, tuple[Path, ...]],
    documents: tuple[Path, ...],
    words: Vocabulary,
) -> Source:
    if documents:
        raise UserError(str(folder), "tables and JSON files", "one or the other",
                        "Move the examinations to a folder of their own.")  # fmt: skip
    for name, files in tables.items():
        if not files:
            raise UserError(str(folder), f"no {name} table", "contexts and findings",
                            f"Add {name}.parquet or {name}.csv.")  # fmt: skip
    _check_columns(tables, words)
    return Source("tables", tables)


def _table_files(folder: Path, name: str) -> tuple[Path, ...]:
    """One file, or a folder of Parquet parts."""
    found = [folder / f"{name}{kind}" for kind in KINDS if (folder / f"{name}{kind}").exists()]
    if len(found) > 1:
        raise UserError(str(folder), " and ".join(p.name for p in found), "one of the two")
    if found and found[0].is_dir():
        return tuple(sorted(found[0].glob("*.parquet")))
    return tuple(found)


def _check_columns(tables: dict[str, tuple[Path, ...]], words: Vocabulary) -> None:
    errors: list[UserError] = []
    for name, files in tables.items():
        for path in files:
            found = _column_names(path)
            for column in NEEDED[name]:
                if column not in found:
                    errors.append(UserError(path.name, f"no column {column}", "that column"))
            known = partial(_known_column, name, words)
            errors += [_unknown_column(path, column) for column in found if not known(column)]
            errors += [
                UserError(f"{path.name}: columns", f"{column} twice", "each column once")
                for column in sorted(c for c, n in Counter(found).items() if n > 1)
            ]
    if errors:
        raise UserErrors(errors)


def _unknown_column(path: Path, column: str) -> UserError:
    do = "History, vital signs, scales and known facts are written history.x, vitals.x and so on."
    return UserError(f"{path.name}: columns", column, "only columns of the long table", do)


def _known_column(table: str, words: Vocabulary, column: str) -> bool:
    if table == "findings":
        return column in table_columns(words)
    group, _, rest = column.partition(".")
    return column in CONTEXT_COLUMNS or (group in GROUPS and bool(rest))


def _column_names(path: Path) -> list[str]:
    if path.suffix == ".parquet":
        import pyarrow as pa
        import pyarrow.parquet as pq

        try:
            return list(pq.read_schema(path).names)
        except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
            raise UserError(path.name, str(error), "a Parquet file") from None
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            return next(csv.reader(file), [])
    except UnicodeDecodeError as error:
        raise UserError(path.name, f"byte {error.start} that is not UTF-8", "UTF-8") from None


def _digest_file(path: Path, digest: Any) -> int:
    """Feeds the file to the digest; returns its line breaks."""
    lines = 0
    with path.open("rb") as file:
        while block := file.read(1 << 20):
            digest.update(block)
            lines += block.count(b"\n")
    return lines


def _parquet_rows(path: Path) -> int:
    import pyarrow.parquet as pq

    return int(pq.read_metadata(path).num_rows)


def deal_into_chunks(source: Source, folder: Path, chunks: int) -> None:
    """Write every row of the input to the file of its chunk; bounded memory."""
    folder.mkdir(parents=True, exist_ok=True)
    for left_over in folder.glob("*.arrows"):
        left_over.unlink()
    for name, paths in source.files.items():
        for stretch in _stretches(name, paths):
            _deal_stretch(stretch, name, folder, chunks)


def _deal_stretch(stretch: Table, name: str, folder: Path, chunks: int) -> None:
    import pyarrow as pa

    stretch = _with_record(without_empty_columns(stretch))
    ids = stretch.column("record").cast(pa.string()).combine_chunks().dictionary_encode()
    names = np.array([chunk_of(name or "", chunks) for name in [*ids.dictionary.to_pylist(), ""]])
    codes = ids.indices.fill_null(len(names) - 1).to_numpy(zero_copy_only=False)
    where = names[codes] if len(codes) else np.empty(0, dtype=np.int64)
    order = np.argsort(where, kind="stable")
    ordered, places = stretch.take(pa.array(order)), where[order]
    for chunk in np.unique(places):
        low, high = np.searchsorted(places, [chunk, chunk + 1])
        _append(ordered.slice(low, high - low), folder / f"{name}-{chunk:05d}.arrows")


def _with_record(table: Table) -> Table:
    """The record column, even where no row has an id."""
    import pyarrow as pa

    if "record" in table.column_names:
        return table
    return table.append_column("record", pa.nulls(table.num_rows, pa.string()))


def chunk_of(record: str, chunks: int) -> int:
    """The chunk of a record id: the same on every machine and in every run."""
    return zlib.crc32(record.encode()) % chunks


def _append(table: Table, path: Path) -> None:
    import pyarrow as pa

    some = without_empty_columns(table)
    with path.open("ab") as file, pa.ipc.new_stream(file, some.schema) as writer:
        writer.write_table(some)


def without_empty_columns(table: Table) -> Table:
    """Without the columns that are empty throughout: of forty a finding fills six or seven."""
    return table.select([n for n in table.column_names if table[n].null_count < table.num_rows])


def _stretches(name: str, paths: tuple[Path, ...]) -> Iterator[Table]:
    if name == "documents":
        yield from _document_stretches(paths)
        return
    first = 1
    for path in paths:
        for table in _table_stretches(path):
            yield _numbered(table, first)
            first += table.num_rows


def _numbered(table: Table, first: int) -> Table:
    """With the number of each row, counted from 1 after the heading."""
    import pyarrow as pa

    return table.append_column("row", pa.array(np.arange(first, first + table.num_rows)))


def _table_stretches(path: Path) -> Iterator[Table]:
    import pyarrow as pa

    if path.suffix == ".csv":
        yield from _csv_stretches(path)
        return
    import pyarrow.parquet as pq

    try:
        with pq.ParquetFile(path) as file:
            for batch in file.iter_batches(STRETCH_ROWS):
                # Arrow does not look whether text is text before it is asked to.
                batch.validate(full=True)
                yield _plain(pa.Table.from_batches([batch]))
    except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
        # Names and types may be whole where the pages are not.
        raise UserError(path.name, str(error), "a whole Parquet file") from None


def _plain(table: Table) -> Table:
    """Categories as the text they stand for."""
    import pyarrow as pa

    for place, column in enumerate(table.schema):
        if pa.types.is_dictionary(column.type):
            plain = table.column(place).cast(column.type.value_type)
            table = table.set_column(place, column.name, plain)
    return table


def _csv_stretches(path: Path) -> Iterator[Table]:
    """Every cell as text: the record's own types decide what it means."""
    import pyarrow as pa
    from pyarrow import csv as arrow_csv

    text = dict.fromkeys(_column_names(path), pa.string())
    options = arrow_csv.ConvertOptions(
        column_types=text,
        strings_can_be_null=True,
        null_values=[""],
        quoted_strings_can_be_null=True,
    )
    reading = arrow_csv.ReadOptions(block_size=STRETCH_BYTES // 4)
    parsing = arrow_csv.ParseOptions(newlines_in_values=True)
    try:
        with arrow_csv.open_csv(
            path, read_options=reading, parse_options=parsing, convert_options=options
        ) as reader:
            for batch in reader:
                yield _as_written(pa.Table.from_batches([batch]))
    except pa.ArrowInvalid as error:
        # A row with too few or too many cells cannot be told from the rows around it.
        raise UserError(
            path.name, str(error), "a CSV whose rows have the heading's cells"
        ) from None


def _as_written(table: Table) -> Table:
    """Without the quotes that keep a spreadsheet from running a cell (`safe_cell`)."""
    import pyarrow.compute as pc

    set_off = rf"^'('*[{re.escape(FORMULA)}])"
    columns = [pc.replace_substring_regex(column, set_off, r"\1") for column in table.columns]
    return table.from_arrays(columns, schema=table.schema)


def _document_stretches(paths: tuple[Path, ...]) -> Iterator[Table]:
    rows: list[dict[str, Any]] = []
    size = 0
    for path in paths:
        with path.open("rb") as file:
            content = file.read(LIMIT_BYTES + 1)
        rows.append({"record": _id_in(content), "file": path.name, "content": content})
        size += len(content)
        if size > STRETCH_BYTES:
            yield _documents(rows)
            rows, size = [], 0
    if rows:
        yield _documents(rows)


def _documents(rows: list[dict[str, Any]]) -> Table:
    import pyarrow as pa

    columns = [("record", pa.string()), ("file", pa.string()), ("content", pa.binary())]
    return pa.Table.from_pylist(rows, schema=pa.schema(columns))


def _id_in(content: bytes) -> str:
    """The id, if the document gives one; what is wrong with the rest is said when it is read."""
    try:
        found = json.loads(content).get("id", "")
    except (ValueError, AttributeError, RecursionError):
        return ""
    # JSON may hold half of a pair of code units; no table can. The record is set aside later.
    return found.encode("utf-8", "backslashreplace").decode() if isinstance(found, str) else ""


def dealt_chunk(folder: Path, chunk: int) -> dict[str, Table]:
    """The tables of one chunk, whole: "contexts" and "findings", or "documents"."""
    names = (*TABLES, "documents")
    found = {name: _gathered(folder / f"{name}-{chunk:05d}.arrows") for name in names}
    return {name: table for name, table in found.items() if table is not None}


def _gathered(path: Path) -> Table | None:
    import pyarrow as pa

    if not path.exists():
        return None
    parts, size = [], path.stat().st_size
    with pa.OSFile(str(path), "rb") as file:
        while file.tell() < size:
            parts.append(pa.ipc.open_stream(file).read_all())
    return pa.concat_tables(parts, promote_options="permissive")
