"""Reading a table of findings by several examiners on the same patients.

Columns: patient (or record), item, side, examiner, value; optionally mode, status, kind and
reference (yes for the examination that the others are held against). What was not examined, could
not be or was withheld is missing: it is never read as normal.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from sidewise.assess.columns import BLANKS, NO, YES
from sidewise.assess.opening import RawTable, open_table
from sidewise.assess.row_checks import Faults
from sidewise.errors import UserError

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Kind = Literal["sign", "grade", "measurement"]

REQUIRED = ("item", "examiner", "value")
NOT_SEEN = frozenset({"not examined", "not_examined", "unable", "withheld"}) | BLANKS
SIDES = ("left", "right", "midline")
KINDS = ("sign", "grade", "measurement")
PRESENT = ("present", "positive", "yes", "abnormal", "1", "true")
ABSENT = ("absent", "negative", "no", "normal", "0", "false")
# More different whole numbers than this and an item is measured, not graded.
MOST_GRADES = 8

_GRADE = re.compile(r"(\d)([+-])")
_NUMBER = re.compile(r"[+-]?\d+([.,]\d+)?")


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
    values: Floats
    reference: Floats


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
    kind = _kind(seen)
    words: tuple[str, ...] = ()
    if kind == "sign":
        words = ordered_words({value.lower() for value in seen["value"]})
        number = seen["value"].str.lower().map({w: float(i) for i, w in enumerate(words)})
    else:
        number = seen["value"].map(as_number)
        wrong = seen["value"][number.isna()]
        faults.cells(wrong, f"a number, as {label} is a {kind}", "")
    return _placed(label, kind, words, rows, seen.assign(number=number.astype(float)))


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


def _kind(seen: pd.DataFrame) -> Kind:
    said = [kind for kind in seen["kind"].unique() if kind]
    if said:
        return _named(said[0])
    values = seen["value"].unique()
    numbers = [as_number(value) for value in values]
    if any(np.isnan(numbers)):
        return "sign"
    if set(numbers) <= {0.0, 1.0}:
        return "sign"
    graded = all(0 <= n <= 6 for n in numbers) and len(numbers) <= MOST_GRADES
    whole = all(n == int(n) or _GRADE.fullmatch(v) for n, v in zip(numbers, values, strict=True))
    return "grade" if graded and whole else "measurement"


def _named(word: str) -> Kind:
    if word == "measurement":
        return "measurement"
    return "grade" if word == "grade" else "sign"


def as_number(text: str) -> float:
    """A number with point or comma; a grade such as 4- or 4+ a third below or above. NaN: none."""
    grade = _GRADE.fullmatch(text.strip())
    if grade:
        return float(grade.group(1)) + (1 / 3 if grade.group(2) == "+" else -1 / 3)
    if _NUMBER.fullmatch(text.strip()):
        return float(text.strip().replace(",", "."))
    return float("nan")


def ordered_words(words: set[str]) -> tuple[str, ...]:
    """Absent before present; other words alphabetically between."""
    first = [w for w in ABSENT if w in words]
    last = [w for w in PRESENT if w in words]
    return (*first, *sorted(words - set(ABSENT) - set(PRESENT)), *last)
