"""One row a record: every finding in columns of its own, named so that they can be read back.

    external_rotation_at_side.left.passive.degrees
    neer.right.result
    spot.midline.2.what          the second of several at one place
    grip.left.r2.newtons         the second reading

`status` of a place stands in a column of its own: an empty cell is "not recorded", never normal.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, get_args

from sidewise.errors import UserError
from sidewise.kinds.common.vocabulary import Vocabulary
from sidewise.protocol.criteria import Mode
from sidewise.record.model import Finding, Side
from sidewise.record.table import finding_row, table_columns

SIDES: tuple[str, ...] = get_args(Side)
MODES: tuple[str, ...] = get_args(Mode)
PLACE = ("record", "item", "side", "mode", "repeat")
SEPARATOR = "."
UNSAID = ("together", False)
"""What is said only of the findings of which it is true."""
REPEAT = re.compile(r"r([1-9]\d?)")
NUMBER = re.compile(r"[1-9]\d{0,3}")


def wide_cells(findings: Iterable[Finding], words: Vocabulary) -> dict[str, Any]:
    """The findings of one record by the name of their column."""
    cells: dict[str, Any] = {}
    times: dict[str, int] = {}
    for finding in findings:
        place = _place_name(finding)
        times[place] = times.get(place, 0) + 1
        head = place if times[place] == 1 else f"{place}{SEPARATOR}{times[place]}"
        for name, content in finding_row("", finding, words).items():
            if content is not None and name not in PLACE and (name, content) != UNSAID:
                cells[f"{head}{SEPARATOR}{name}"] = content
    return cells


def _place_name(finding: Finding) -> str:
    parts = [finding.item, finding.side]
    if finding.mode:
        parts.append(finding.mode)
    if finding.repeat != 1:
        parts.append(f"r{finding.repeat}")
    return SEPARATOR.join(parts)


def is_wide_column(name: str) -> bool:
    """Whether a column is one of a finding's."""
    parts = name.split(SEPARATOR)
    return len(parts) > 2 and parts[1] in SIDES


def finding_rows(
    record: str, row: Mapping[str, Any], words: Vocabulary
) -> Iterator[dict[str, Any]]:
    """The rows of the long table for one wide row; UserError for a column that is none."""
    heads: dict[str, dict[str, Any]] = {}
    known = set(table_columns(words)) - set(PLACE)
    for name, content in row.items():
        if not is_wide_column(name):
            continue
        head, _, field = name.rpartition(SEPARATOR)
        if field not in known:
            raise UserError(name, field, "a column of the long table at its end",
                            "See codebook.csv of an export.")  # fmt: skip
        heads.setdefault(head, {})[field] = content
    for head, cells in heads.items():
        yield {"record": record, **_place_of(head), **cells}


def _place_of(head: str) -> dict[str, Any]:
    item, side, *rest = head.split(SEPARATOR)
    place: dict[str, Any] = {"item": item, "side": side}
    if rest and rest[0] in MODES:
        place["mode"] = rest.pop(0)
    if rest and (repeat := REPEAT.fullmatch(rest[0])):
        rest.pop(0)
        place["repeat"] = int(repeat[1])
    if rest and NUMBER.fullmatch(rest[0]):
        rest.pop(0)
    if rest:
        expected = "item.side, then the mode, r2 for a second reading, 2 for a second finding"
        do = "See codebook.csv of an export."
        raise UserError(head, SEPARATOR.join(rest), expected, do)
    return place
