"""One chunk of a batch: read, weighed, and written out as rows of one table.

One row for each record and condition of a side or of the person. A record for which no figure may
be shown (under 18) has one row without a condition, so that its flags are not lost.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sidewise.reason.batch_records import Aside, read_chunk
from sidewise.reason.batch_weigh import Weighed, knowledge_version, weigh_records
from sidewise.reason.compiled import use_compiled
from sidewise.reason.net import layout

Table = Any  # pyarrow ships no types
JOIN = "; "


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked of a batch: setting for all (or None), draws (0: mean parameters)."""

    setting: str | None
    draws: int

    @property
    def figures(self) -> str:
        """What the figures of the output are, in words for its column."""
        return f"{self.draws} draws" if self.draws else "mean parameters"


@dataclass(frozen=True)
class ChunkAnswer:
    """The rows of a chunk, what was set aside, and counts of records."""

    rows: Table
    aside: tuple[Aside, ...]
    records: int
    set_aside: int
    knowledge: tuple[tuple[str, str], ...]


def weigh_chunk(tables: Mapping[str, Table], asked: Asked) -> ChunkAnswer:
    """Everything that follows from one chunk; a pure function, so that any machine may do it."""
    read = read_chunk(tables)
    if asked.draws:
        # Mean parameters share eliminations and gain too little to load numba for.
        use_compiled()
    weighed = weigh_records(read.records, asked.setting, asked.draws)
    failed = [one for one in weighed if not one.usable]
    aside = [
        Aside(one.record.id, "record", None, "no figure could be computed for these findings")
        for one in failed
    ]
    good = [one for one in weighed if one.usable]
    regions = sorted({record.region for record in read.records})
    return ChunkAnswer(
        rows=_table(good, asked),
        aside=(*read.aside, *aside),
        records=len(good),
        set_aside=read.set_aside + len(failed),
        knowledge=tuple((region, knowledge_version(region)) for region in regions),
    )


def schema() -> Any:
    """Columns of the output.

    `levels` holds the posterior of each level of the condition above none; `low` and `high` are
    null with mean parameters.
    """
    import pyarrow as pa

    words = pa.dictionary(pa.int32(), pa.string())
    numbers = pa.float64()
    return pa.schema(
        [
            ("record", pa.string()), ("region", words), ("setting", words),
            ("condition", words), ("side", words),
            ("prior", numbers), ("posterior", numbers), ("low", numbers), ("high", numbers),
            ("levels", pa.list_(numbers)), ("figures", words),
            ("flags_raised", words), ("flags_not_excluded", words), ("warnings", words),
        ]
    )  # fmt: skip


def _table(weighed: list[Weighed], asked: Asked) -> Table:
    import pyarrow as pa

    rows = [row for one in weighed for row in _rows(one, asked)]
    return pa.Table.from_pylist(rows, schema=schema())


def _rows(one: Weighed, asked: Asked) -> Iterator[dict[str, Any]]:
    common = {
        "record": one.record.id,
        "region": one.record.region,
        "setting": one.judged.setting,
        "figures": asked.figures,
        "flags_raised": JOIN.join(one.judged.flags.raised),
        "flags_not_excluded": JOIN.join(one.judged.flags.open),
        "warnings": JOIN.join((*one.judged.warnings, *one.warnings)),
    }
    if one.posterior is None or one.prior is None:
        yield common
        return
    structure = layout(one.record.region, one.record.context.complaint).structure
    for number, variable in enumerate(structure.variables):
        condition, _, side = variable.name.partition(".")
        levels = one.posterior[number, : variable.levels]
        yield {
            **common,
            "condition": condition,
            "side": side or "person",
            "prior": float(1 - one.prior[number, 0]),
            "posterior": float(1 - levels[0]),
            "low": None if one.low is None else float(one.low[number]),
            "high": None if one.high is None else float(one.high[number]),
            "levels": levels[1:].tolist(),
        }
