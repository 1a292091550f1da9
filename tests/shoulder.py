"""The region that comes with the program, opened and checked once for all tests."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from sidewise.evidence.conditions import conditions_of
from sidewise.knowledge.reading import read_yaml
from sidewise.knowledge.region import Region
from sidewise.measure.norms.tables import tables_of
from sidewise.protocol import protocol_of
from sidewise.reason.judging.flags import flag_book_of
from sidewise.regions import regions

SHOULDER = regions()["shoulder"]
FOLDER = SHOULDER.folder
PROTOCOL = protocol_of(SHOULDER)
BOOK = flag_book_of(SHOULDER)
TABLES = tables_of(SHOULDER)
CONDITIONS = conditions_of(SHOULDER)
STAGES = PROTOCOL.stages_by_id
REGIONS = {"shoulder": SHOULDER}
WORDS = PROTOCOL.vocabulary


def with_parts(region: Region, **parts: Any) -> Region:
    """The region with some of its parts replaced, nothing of it worked out yet."""
    return replace(region, parts={**region.parts, **parts})


__all__ = [
    "BOOK", "CONDITIONS", "FOLDER", "PROTOCOL", "REGIONS", "SHOULDER", "STAGES", "TABLES",
    "WORDS",
    "read_yaml", "with_parts",
]  # fmt: skip
