"""Reading a table of findings by several examiners on the same patients.

Columns: patient (or record), item, side, examiner, value; optionally mode, status, kind and
reference (yes for the examination that the others are held against). What was not examined, could
not be or was withheld is missing: it is never read as normal.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array
from sidewise.teaching.tables.columns import BLANKS, NO, YES
from sidewise.teaching.tables.finding_values import Kind, item_values
from sidewise.teaching.tables.row_checks import Faults
from sidewise.teaching.tables.table_files import RawTable, open_table

if TYPE_CHECKING:
    import pandas as pd


REQUIRED = ("item", "examiner", "value")
NOT_SEEN = frozenset({"not examined", "not_examined", "unable", "withheld"}) | BLANKS
SIDES = ("left", "right", "midline")
KINDS = ("sign", "grade", "measurement")


@dataclass(frozen=True, slots=True)
class ItemFindings:
    """One item's findings as numbers: (units, examiners), NaN where not seen.

    A unit is a patient's side. For signs `words` are the categories whose places are the numbers;
    `reference` has one value per unit (NaN: none). `unit_sides` names patient and side.
    """

    item: str
    kind: Kind
    words: tuple[str, ...]
    units: tuple[tuple[str, str], ...]
    examiners: tuple[str, ...]
    values: Array
    reference: Array


@dataclass(frozen=True, slots=True)
class Findings:
    """A checked table of findings, item by item."""

    name: str
    rows: int
    patients: int
    examiners: tuple[str, ...]
    not_seen: int
    has_reference: bool
    items: tuple[ItemFindings, ...]
    warnings: tuple[str, ...] = ()


def read_findings(path: Path | str) -> Findings:
    """Read CSV, XLSX or Parquet; raise every mistake found, by row."""
    raw = open_table(path, REQUIRED)
    if "patient" not in raw.cells and "record" in raw.cells:
        raw = RawTable(raw.name, raw.cells.rename(columns={"record": "patient"}), raw.warnings)
    if "patient" not in raw.cells:
        got = ", ".join(raw.cells.columns)
        raise UserError(f"{raw.name}: headings", got, "also patient (or record)", "")
    faults = Faults(raw.name)
    cells = _tidied(raw.cells, faults)
    faults.raise_all()
    _duplicates(cells, faults)
    faults.raise_all()
    return _assembled(raw, cells, faults)


def _tidied(cells: pd.DataFrame, faults: Faults) -> pd.DataFrame:
    import pandas as pd

    blank = pd.Series("", cells.index, dtype=str)
    out = pd.DataFrame(index=cells.index)
    for name in ("patient", "item", "side", "examiner", "value", "mode", "status", "kind"):
        out[name] = cells[name].str.strip() if name in cells else blank
    for name in ("patient", "item", "examiner"):
        faults.rows(out.index[out[name] == ""], name, "", f"the {name}", "A row needs one.")
    out["side"] = out["side"].str.lower().replace({"": "midline", "l": "left", "r": "right"})
    faults.cells(out["side"][~out["side"].isin(SIDES)], "left, right or midline", "")
    out["kind"] = out["kind"].str.lower()
    faults.cells(out["kind"][~out["kind"].isin([*KINDS, ""])], f"one of: {', '.join(KINDS)}", "")
    out["reference"] = _reference(cells, faults)
    missing = out["value"].str.lower().isin(NOT_SEEN) | out["status"].str.lower().isin(
        NOT_SEEN - BLANKS
    )
    out["seen"] = ~missing
    out["label"] = out["item"].where(out["mode"] == "", out["item"] + ", " + out["mode"])
    return out


def _reference(cells: pd.DataFrame, faults: Faults) -> Any:
    import pandas as pd

    if "reference" not in cells:
        return pd.Series(False, cells.index)
    word = cells["reference"].str.strip().str.lower()
    faults.cells(cells["reference"][~word.isin(YES | NO)], "yes or no", "")
    return word.isin(YES)


def _duplicates(cells: pd.DataFrame, faults: Faults) -> None:
    key = ["patient", "side", "label"]
    own = cells[cells["reference"]]
    twice = own[own.duplicated(key)]
    do = "Only one examination can be the reference."
    faults.rows(twice.index, "reference", "a second reference finding", "one per side and item", do)
    others = cells[~cells["reference"]]
    again = others[others.duplicated([*key, "examiner"])]
    do = "The same examiner has two findings here: leave one out."
    faults.rows(again.index, "value", "a second finding", "one per patient, side and item", do)


def _assembled(raw: RawTable, cells: pd.DataFrame, faults: Faults) -> Findings:
    others = cells[~cells["reference"]]
    if others.empty:
        raise UserError(raw.name, "reference findings only", "findings of examiners as well", "")
    names = tuple(sorted(others["examiner"].unique()))
    items = []
    for label, rows in cells.groupby("label", sort=False):
        found = _item(str(label), rows, faults)
        if found is not None:
            items.append(found)
    faults.raise_all()
    return Findings(
        raw.name,
        len(cells),
        int(cells["patient"].nunique()),
        names,
        int((~cells["seen"]).sum()),
        bool(cells["reference"].any()),
        tuple(items),
        (*raw.warnings, *faults.warnings),
    )


def _item(label: str, rows: pd.DataFrame, faults: Faults) -> ItemFindings | None:
    seen = rows[rows["seen"]]
    if seen.empty:
        faults.warnings.append(f"{label}: examined by nobody, left out.")
        return None
    said = [kind for kind in seen["kind"].unique() if kind]
    found = item_values(label, seen["value"], said[0] if said else "", faults)
    faults.warnings += found.notes
    return _placed(label, found.kind, found.words, rows, seen.assign(number=found.number))


def _placed(
    label: str, kind: Kind, words: tuple[str, ...], rows: pd.DataFrame, seen: pd.DataFrame
) -> ItemFindings:
    units = sorted(set(zip(rows["patient"], rows["side"], strict=True)))
    examiners = tuple(sorted(rows["examiner"][~rows["reference"]].unique()))
    place = {unit: i for i, unit in enumerate(units)}
    column = {name: i for i, name in enumerate(examiners)}
    values = np.full((len(units), len(examiners)), np.nan)
    reference = np.full(len(units), np.nan)
    for row in seen.itertuples():
        at = place[(str(row.patient), str(row.side))]
        if row.reference:
            reference[at] = row.number
        else:
            values[at, column[str(row.examiner)]] = row.number
    return ItemFindings(label, kind, words, tuple(units), examiners, values, reference)
