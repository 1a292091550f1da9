"""From the rows of one chunk to records, and a list of the unusable ones with reasons.

A record with one bad row is set aside whole: weighed without it, a flag might go unseen.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from pydantic import ValidationError

from sidewise.errors import UserError, UserErrors
from sidewise.ground.validation import user_errors
from sidewise.kinds.common.vocabulary import Vocabulary
from sidewise.knowledge.region import Region, chosen_region
from sidewise.protocol import protocol_of
from sidewise.protocol.loader import vocabulary_of_all
from sidewise.record import Finding, Record, check_record, parse_record
from sidewise.record.reading import LIMIT_BYTES
from sidewise.record.table import (
    care_from_row,
    conclusion_from_row,
    context_from_row,
    finding_from_row,
)

Table = Any  # pyarrow ships no types
Row = Mapping[str, Any]
FINDING_PLACE = re.compile(r"findings\[(\d+)\]\.?")


@dataclass(frozen=True, slots=True)
class SetAside:
    """One reason why a record, or a row without a record, was not weighed.

    source: the table, or the file's name. row: number in the table, from 1; None for a file.
    """

    record: str
    source: str
    row: int | None
    reason: str


@dataclass(frozen=True)
class ReadChunk:
    """Records that can be weighed, what cannot, and how many records that is."""

    records: tuple[Record, ...]
    aside: tuple[SetAside, ...]
    set_aside: int


def read_chunk(tables: Mapping[str, Table], regions: Mapping[str, Region]) -> ReadChunk:
    """The records of one chunk."""
    found: list[Record] = []
    aside: list[SetAside] = []
    bad = 0
    for entry in _entries(tables, regions):
        if isinstance(entry, Record):
            found.append(entry)
        else:
            aside += entry
            bad += 1
    return ReadChunk(tuple(found), tuple(aside), bad)


Entry = Record | list[SetAside]


def _entries(tables: Mapping[str, Table], regions: Mapping[str, Region]) -> Iterator[Entry]:
    if "documents" in tables:
        yield from _from_documents(tables["documents"].to_pylist(), regions)
        return
    contexts = _rows(tables.get("contexts"))
    findings: dict[str, list[Row]] = {}
    for row in _rows(tables.get("findings")):
        findings.setdefault(_id(row), []).append(row)
    times = Counter(_id(row) for row in contexts)
    for row in contexts:
        yield record_from_rows(row, findings.pop(_id(row), []), times[_id(row)], regions)
        # Of a record given twice the findings are named with its first context.
    for record, rows in findings.items():
        if record not in times:
            expected = UserError("record", record or None, "a record that has a context")
            yield [_aside(row, "findings", expected) for row in rows]


def _id(row: Row) -> str:
    return str(row.get("record", ""))


def _rows(table: Table | None) -> list[Row]:
    """Rows as mappings of the cells that are filled; made by column, which keeps them small."""
    if table is None:
        return []
    filled = [name for name in table.column_names if table[name].null_count < table.num_rows]
    columns = [table[name].to_pylist() for name in filled]
    return [
        {name: cell for name, cell in zip(filled, cells, strict=True) if not _empty(cell)}
        for cells in zip(*columns, strict=True)
    ]


def _empty(cell: Any) -> bool:
    return cell is None or cell == "" or cell != cell


def _aside(row: Row, source: str, error: UserError) -> SetAside:
    return SetAside(_id(row), source, row["row"], _one_line(error))


def _one_line(error: UserError) -> str:
    return error.message.replace("\n", " ")


def record_from_rows(
    context_row: Row, finding_rows: Sequence[Row], times: int, regions: Mapping[str, Region]
) -> Entry:
    """The record of one row of context and its rows of findings, or why it cannot be made.

    times: how often the record's number stands among the contexts. Each row says its number, `row`.
    """
    aside: list[SetAside] = []
    if times > 1:
        error = UserError("record", _id(context_row), "one context for each record")
        aside += [_aside(row, "findings", error) for row in finding_rows]
        return [*aside, _aside(context_row, "contexts", error)]
    words = vocabulary_of_all(regions)
    findings: list[Finding] = []
    good: list[Row] = []
    for row in finding_rows:
        try:
            findings.append(_finding(row, words))
            good.append(row)
        except UserError as error:
            aside.append(_aside(row, "findings", error))
    try:
        record = _record(context_row, tuple(findings), regions)
    except UserError as error:
        return [*aside, *_all_asides(error, context_row, good)]
    return aside or record


def _all_asides(error: UserError, context_row: Row, finding_rows: list[Row]) -> Iterator[SetAside]:
    """One line for each error, at the row it speaks of."""
    for one in error.errors if isinstance(error, UserErrors) else [error]:
        place = FINDING_PLACE.match(one.where)
        if place is None:
            yield _aside(context_row, "contexts", one)
        else:
            where = one.where[place.end() :]
            moved_error = UserError(where, one.got, one.expected, one.do)
            yield _aside(finding_rows[int(place[1])], "findings", moved_error)


def _finding(row: Row, words: Vocabulary) -> Finding:
    cells = tuple((k, v) for k, v in row.items() if k not in ("record", "row"))
    return _known_finding(cells, words)


@lru_cache(maxsize=50_000)
def _known_finding(cells: tuple[tuple[str, Any], ...], words: Vocabulary) -> Finding:
    """Registers repeat the same few cells; each is checked once."""
    try:
        return finding_from_row(dict(cells), words)
    except (ValueError, TypeError) as error:
        # A word where a cell must hold a number.
        raise UserError("row", str(error), "cells that fit the kind of value") from None


def _record(
    context_row: Row, findings: tuple[Finding, ...], regions: Mapping[str, Region]
) -> Record:
    region = chosen_region(regions, str(context_row.get("region", "")))
    context = context_from_row({k: v for k, v in context_row.items() if k != "row"})
    care = care_from_row(context_row)
    try:
        record = Record(
            id=_id(context_row),
            region=region.id,
            context=context,
            findings=findings,
            care=care,
            conclusion=conclusion_from_row(context_row),
        )
    except ValidationError as error:
        raise user_errors(error, written=lambda _place: "record")[0] from None
    check_record(record, protocol_of(region))
    return record


def _from_documents(rows: list[Row], regions: Mapping[str, Region]) -> Iterator[Entry]:
    read = [(row, _document(row, regions)) for row in rows]
    times = Counter(entry.id for _, entry in read if isinstance(entry, Record))
    for row, entry in read:
        if isinstance(entry, Record) and times[entry.id] > 1:
            error = UserError("id", entry.id, "a record in one file only")
            yield [SetAside(entry.id, row["file"], None, _one_line(error))]
        else:
            yield entry


def _document(row: Row, regions: Mapping[str, Region]) -> Entry:
    try:
        if len(row["content"]) > LIMIT_BYTES:
            raise UserError("", f"over {LIMIT_BYTES // 1_000_000} MB", "one examination")
        return parse_record(row["content"], regions)
    except UserError as error:
        errors = error.errors if isinstance(error, UserErrors) else [error]
        return [SetAside(row["record"], row["file"], None, _one_line(one)) for one in errors]
