"""Many persons: a register read into records, and what `sidewise batch` wrote read back."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sidewise.errors import UserError
from sidewise.ground.extras import require_extra
from sidewise.ground.result_view import Shown, Table, View, field_table
from sidewise.regions import regions

if TYPE_CHECKING:
    from sidewise.reason.batch.records import SetAside
    from sidewise.record import Record

ASIDE = ("record", "source", "row", "reason")
CONTEXT = (
    "record", "region", "patient", "examined_at", "examiner", "setting", "age", "sex", "complaint",
    "pain_0_10", "findings",
)  # fmt: skip


@dataclass(frozen=True, slots=True, repr=False)
class Register(Shown):
    """The records of a register, in order, and why the others were set aside."""

    name: str
    records: tuple[Record, ...]
    set_aside: tuple[SetAside, ...]

    def __iter__(self) -> Iterator[Record]:
        return iter(self.records)

    def __len__(self) -> int:
        return len(self.records)

    def view(self) -> View:
        """What is shown of it; `to_frame("set_aside")` gives the reasons."""
        aside = len({one.record or (one.source, one.row) for one in self.set_aside})
        said = (f'{aside} set aside; reasons in to_frame("set_aside").',) if aside else ()
        return View(
            headline=f"{self.name}: {len(self.records)} records, {aside} set aside",
            tables={
                "records": Table(CONTEXT, lambda: [_context(record) for record in self.records]),
                "set_aside": field_table(ASIDE, self.set_aside),
            },
            alerts=said,
        )


def _context(record: Record) -> dict[str, Any]:
    from sidewise.record.table import context_row

    row = {**context_row(record), "findings": len(record.findings)}
    return {name: row[name] for name in CONTEXT}


def read_register(folder: str | Path) -> Register:
    """The records of a folder: tables of contexts and findings, or examinations as JSON.

    A record that cannot be read is set aside with its reason, never left out in silence; UserError
    where the folder itself cannot be used. For more records than fit into memory use
    `sidewise batch` and `read_batch`.
    """
    from sidewise.protocol.loader import vocabulary_of_all
    from sidewise.reason.batch.records import read_chunk
    from sidewise.reason.batch.source import deal_into_chunks, dealt_chunk, find_source

    require_extra("batch", "a register")
    door = regions()
    source = find_source(Path(folder), vocabulary_of_all(door))
    with tempfile.TemporaryDirectory() as work:
        deal_into_chunks(source, Path(work), 1)
        read = read_chunk(dealt_chunk(Path(work), 0), door)
    return Register(Path(folder).name, read.records, read.aside)


@dataclass(frozen=True, slots=True, repr=False)
class Batch(Shown):
    """What a finished `sidewise batch` wrote: its `table`, a row for each record and condition."""

    name: str
    table: Any
    records: int
    set_aside: int
    figures: str
    cautions: tuple[str, ...]

    def view(self) -> View:
        """What is shown of it; alerts count the records with a flag, and those set aside."""
        flagged = self.table.filter(self._flagged()).column("record").unique()
        alerts = [f"{len(flagged)} records with a flag raised: column flags_raised."]
        if self.set_aside:
            alerts.append(f"{self.set_aside} records set aside: see set_aside.csv.")
        return View(
            headline=f"{self.name}: {self.records:,} records weighed, {self.set_aside:,} set aside "
            f"({self.figures})",
            tables={"conditions": Table(tuple(self.table.column_names), self.table.to_pylist)},
            alerts=tuple(alerts),
            cautions=self.cautions,
        )

    def _flagged(self) -> Any:
        import pyarrow as pa
        import pyarrow.compute as pc

        return pc.not_equal(self.table.column("flags_raised").cast(pa.string()), "")


def read_batch(folder: str | Path) -> Batch:
    """The output of `sidewise batch` in a folder; UserError where no finished one is there."""
    place = Path(folder)
    counts, asked = (_noted(place / name) for name in ("summary.json", "batch.json"))
    require_extra("batch", "the output of a batch")
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        parts = [pq.read_table(path) for path in sorted(place.glob("part-*.parquet"))]
        table = pa.concat_tables(parts)
        return Batch(place.name, table, counts["records"], counts["set_aside"],
                     counts["figures"], tuple(asked["cautions"]))  # fmt: skip
    except (pa.ArrowException, OSError, KeyError, TypeError) as error:
        raise UserError(str(place), str(error), "what `sidewise batch` wrote, whole") from None


def _noted(path: Path) -> Any:
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        raise UserError(str(path.parent), f"no {path.name} that can be read",
                        "the folder of a finished `sidewise batch`",
                        "An unfinished one goes on when it is run again.") from None  # fmt: skip
