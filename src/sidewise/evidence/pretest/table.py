"""The table of pre-test figures: base by setting, odds factors, and complaint-free prevalences."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sidewise.errors import UserError, UserErrors
from sidewise.evidence.conditions import Conditions, conditions_of
from sidewise.ground.arrays import Array
from sidewise.ground.settings import SETTINGS
from sidewise.ground.tables import Cells, number_cell, provenance_mark_cell, required_number
from sidewise.knowledge.region import Region

KINDS = ("base", "age", "sex", "modifier", "free")
SEXES = ("", "female", "male")
SHARES = ("base", "free")


@dataclass(frozen=True, slots=True)
class PretestRow:
    """A probability (base, free) or an odds factor (age, sex, modifier) with 95% limits.

    Where it applies: setting, ages (both ends included), sex, and `when` (a modifier's name).
    """

    id: str
    kind: str
    condition: str
    level: int
    setting: str
    age_low: float
    age_high: float
    sex: str
    when: str
    value: float
    low: float
    high: float
    mark: str
    source: str
    address: str
    note: str


@dataclass(frozen=True)
class PretestTable:
    """Every row, in file order."""

    rows: tuple[PretestRow, ...]

    def of_kind(self, kind: str) -> tuple[PretestRow, ...]:
        """The rows of one kind."""
        return tuple(row for row in self.rows if row.kind == kind)

    @property
    def modifiers(self) -> tuple[str, ...]:
        """Names of the modifiers there are factors for."""
        return tuple(dict.fromkeys(row.when for row in self.of_kind("modifier")))

    def base_means(self, conditions: Conditions) -> Mapping[str, Array]:
        """For each setting the base figure of each column, (C,)."""
        found = {setting: np.zeros(len(conditions.columns)) for setting in SETTINGS}
        for row in self.of_kind("base"):
            found[row.setting][conditions.column_index[row.condition, row.level]] = row.value
        return found


def parse_pretest_row(cells: Cells, conditions: Conditions) -> PretestRow:
    """One line, checked; UserError names row and cell."""
    place = f"pretest.csv {cells['row']}"
    row = PretestRow(
        id=cells["row"],
        kind=cells["kind"],
        condition=cells["condition"],
        level=int(required_number(number_cell(cells, "level", place), "level", place)),
        setting=cells["setting"],
        age_low=_or(number_cell(cells, "age_low", place), 0),
        age_high=_or(number_cell(cells, "age_high", place), 200),
        sex=cells["sex"],
        when=cells["when"],
        value=required_number(number_cell(cells, "value", place), "value", place),
        low=required_number(number_cell(cells, "low", place), "low", place),
        high=required_number(number_cell(cells, "high", place), "high", place),
        mark=provenance_mark_cell(cells, "mark", place),
        source=cells["source"],
        address=cells["address"],
        note=cells["note"],
    )
    _check(row, conditions, place)
    return row


def _or(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else value


def _check(row: PretestRow, conditions: Conditions, place: str) -> None:
    if row.kind not in KINDS:
        raise UserError(f"{place}.kind", row.kind, f"one of {', '.join(KINDS)}")
    if (row.condition, row.level) not in conditions.column_index:
        got = f"{row.condition}:{row.level}"
        raise UserError(f"{place}.condition", got, "a condition of the network and a level of it")
    if not row.source:
        raise UserError(f"{place}.source", None, "a source")
    if not 0 < row.low <= row.value <= row.high:
        limits = (row.low, row.value, row.high)
        raise UserError(f"{place}.value", limits, "0 < low <= value <= high")
    if row.kind in SHARES and row.high >= 1:
        raise UserError(f"{place}.high", row.high, "a probability below 1")
    if row.sex not in SEXES:
        raise UserError(f"{place}.sex", row.sex, "female, male or nothing")
    settings = [name for name in row.setting.split(";") if name]
    if set(settings) - set(SETTINGS) or (row.kind == "base") != (len(settings) == 1):
        do = "A base figure is of one setting; a factor without a setting is for all."
        raise UserError(f"{place}.setting", row.setting, f"of {', '.join(SETTINGS)}", do)


def parse_pretest(table: list[Cells], conditions: Conditions) -> PretestTable:
    """Every line; all complaints at once. Each setting must name every column exactly once."""
    rows, errors = [], []
    for cells in table:
        try:
            rows.append(parse_pretest_row(cells, conditions))
        except UserError as error:
            errors.append(error)
    if errors:
        raise UserErrors(errors)
    found = PretestTable(tuple(rows))
    _check_whole(found, conditions)
    return found


def _check_whole(table: PretestTable, conditions: Conditions) -> None:
    named = [(r.setting, r.condition, r.level) for r in table.of_kind("base")]
    wanted = {(s, c, k) for s in SETTINGS for c, k in conditions.columns}
    if len(set(named)) != len(named) or set(named) != wanted:
        odd = sorted(set(named) ^ wanted)[:3] or "a figure twice"
        raise UserError("pretest.csv base", odd, "one figure for each setting, condition and level")
    for setting, base in table.base_means(conditions).items():
        for name, part in conditions.slices.items():
            if base[part].sum() >= 1:
                got = float(base[part].sum())
                raise UserError(f"pretest.csv {setting} {name}", got, "levels that sum to below 1")


def pretest_table_of(region: Region) -> PretestTable:
    """The pre-test table of a region; UserErrors with every row that cannot be used."""
    return region.view(_table)


def _table(region: Region) -> PretestTable:
    return parse_pretest(region.part("pretest"), conditions_of(region))
