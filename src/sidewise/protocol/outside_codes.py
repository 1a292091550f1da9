"""Codes of other systems for items of a region: its own table, and a user's map beside it.

The table holds LOINC codes only, each marked with how it is known; SNOMED CT is never shipped, and
a user's own map may carry it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sidewise.errors import UserError, UserErrors
from sidewise.ground.provenance import MARKS, ONE_MARK
from sidewise.ground.tables import FIRST_LINE, read_table
from sidewise.knowledge.region import Region
from sidewise.protocol.loader import protocol_of
from sidewise.protocol.model import Protocol

TABLE = "codes.csv"
NEEDED = ("item", "side", "system", "code")


@dataclass(frozen=True, slots=True)
class OutsideCode:
    """A code of another system for one item, side and mode."""

    item: str
    side: str
    mode: str | None
    system: str
    code: str

    @property
    def coding(self) -> dict[str, str]:
        """As FHIR writes it; without the name, which is its owner's to change."""
        return {"system": self.system, "code": self.code}


def outside_codes_of(region: Region) -> tuple[OutsideCode, ...]:
    """The codes of the region's own table; none where it has no such part."""
    return region.view(_region_codes)


def _region_codes(region: Region) -> tuple[OutsideCode, ...]:
    rows: Any = region.part("codes") if region.has("codes") else ()
    faults = [
        UserError(f"{TABLE}, line {number}.mark", row.get("mark"), ONE_MARK)
        for number, row in enumerate(rows, FIRST_LINE)
        if row.get("mark") not in MARKS
    ]
    if faults:
        raise UserErrors(faults)
    return _checked_codes(rows, TABLE, protocol_of(region))


def read_outside_codes(path: Path, region: Region) -> tuple[OutsideCode, ...]:
    """A user's own map as CSV (item, side, mode, system, code); its licence is the user's matter.

    UserErrors with every line that cannot be used.
    """
    return _checked_codes(read_table(path), path.name, protocol_of(region))


def _checked_codes(rows: Any, name: str, protocol: Protocol) -> tuple[OutsideCode, ...]:
    faults: list[UserError] = []
    for number, row in enumerate(rows, FIRST_LINE):
        place = f"{name}, line {number}"
        faults += [
            UserError(f"{place}.{column}", row.get(column), "a value")
            for column in NEEDED
            if not row.get(column)
        ]
        if row.get("item") and row["item"] not in protocol.by_id:
            faults.append(UserError(f"{place}.item", row["item"], "an item of the protocol"))
        if row.get("side") and row["side"] not in ("left", "right", "midline"):
            faults.append(UserError(f"{place}.side", row["side"], "left, right or midline"))
    if faults:
        raise UserErrors(faults)
    return tuple(_outside_code(row) for row in rows)


def _outside_code(row: Mapping[str, str]) -> OutsideCode:
    return OutsideCode(
        row["item"], row["side"], row.get("mode") or None, row["system"], row["code"]
    )
