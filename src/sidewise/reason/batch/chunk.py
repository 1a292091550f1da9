"""One chunk of a batch: read, weighed, and written out as rows of one table.

One row for each record and condition of a side or of the person. A record for which no figure may
be shown (under 18) has one row without a condition, so that its flags are not lost.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sidewise.knowledge.region import Region
from sidewise.reason.batch.posteriors import WeighedRecord, weigh_records
from sidewise.reason.batch.records import SetAside, read_chunk
from sidewise.reason.interpretation import knowledge_version
from sidewise.reason.weighing.layout import network_layout
from sidewise.reason.weighing.warm_up import use_compiled

Table = Any  # pyarrow ships no types
JOIN = "; "


@dataclass(frozen=True, slots=True)
class BatchOptions:
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
    aside: tuple[SetAside, ...]
    records: int
    set_aside: int
    knowledge: tuple[tuple[str, str], ...]


Door = Callable[[], Mapping[str, Region]]
"""Opens the regions of the machine it is called on; knowledge itself does not travel."""


def weigh_chunk(tables: Mapping[str, Table], asked: BatchOptions, door: Door) -> ChunkAnswer:
    """Everything that follows from one chunk; a pure function, so that any machine may do it."""
    regions = door()
    read = read_chunk(tables, regions)
    if asked.draws:
        # Mean parameters share eliminations and gain too little to load numba for.
        use_compiled()
    weighed = weigh_records(read.records, regions, asked.setting, asked.draws)
    failed = [one for one in weighed if not one.usable]
    aside = [
        SetAside(one.record.id, "record", None, "no figure could be computed for these findings")
        for one in failed
    ]
    good = [one for one in weighed if one.usable]
    names = sorted({record.region for record in read.records})
    return ChunkAnswer(
        rows=_table(good, regions, asked),
        aside=(*read.aside, *aside),
        records=len(good),
        set_aside=read.set_aside + len(failed),
        knowledge=tuple((name, knowledge_version(regions[name])) for name in names),
    )


def output_schema() -> Any:
    """Columns of the output.

    `levels` holds the posterior of each level of the condition above none; `low` and `high` are
    null with mean parameters. Where a raised flag makes the figure meaningless, `withheld_because`
    is the flag's label and all four are null.
    """
    import pyarrow as pa

    words = pa.dictionary(pa.int32(), pa.string())
    numbers = pa.float64()
    return pa.schema(
        [
            ("record", pa.string()), ("region", words), ("setting", words),
            ("condition", words), ("side", words),
            ("prior", numbers), ("posterior", numbers), ("low", numbers), ("high", numbers),
            ("levels", pa.list_(numbers)), ("withheld_because", words), ("figures", words),
            ("flags_raised", words), ("flags_not_excluded", words), ("warnings", words),
        ]
    )  # fmt: skip


def _table(
    weighed: list[WeighedRecord], regions: Mapping[str, Region], asked: BatchOptions
) -> Table:
    import pyarrow as pa

    rows = [row for one in weighed for row in _rows(one, regions[one.record.region], asked)]
    return pa.Table.from_pylist(rows, schema=output_schema())


def _rows(one: WeighedRecord, region: Region, asked: BatchOptions) -> Iterator[dict[str, Any]]:
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
    structure = network_layout(region, one.record.context.complaint).structure
    for number, variable in enumerate(structure.variables):
        condition, _, side = variable.name.partition(".")
        flag = one.judged.withheld.why_condition(condition, side)
        figures = {"withheld_because": flag} if flag else _figures(one, number, variable.levels)
        yield {
            **common,
            "condition": condition,
            "side": side or "person",
            "prior": float(1 - one.prior[number, 0]),
            **figures,
        }


def _figures(one: WeighedRecord, number: int, count: int) -> dict[str, Any]:
    """The figures of one variable with `count` levels."""
    assert one.posterior is not None, "only of a record that was weighed"
    levels = one.posterior[number, :count]
    return {
        "posterior": float(1 - levels[0]),
        "low": None if one.low is None else float(one.low[number]),
        "high": None if one.high is None else float(one.high[number]),
        "levels": levels[1:].tolist(),
    }
