"""Teaching: marks of a practical examination, and examiners' findings beside each other."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sidewise.errors import UserError
from sidewise.ground.extras import require_extra

if TYPE_CHECKING:
    import pandas as pd

    from sidewise.teaching.hands.hands import Hands
    from sidewise.teaching.sitting.options import SittingOptions
    from sidewise.teaching.sitting.sitting import Sitting
    from sidewise.teaching.tables.findings_table import Findings
    from sidewise.teaching.tables.marks_table import Marks


def read_marks(source: str | Path | pd.DataFrame, *, sitting: str | None = None) -> Marks:
    """Marks from CSV, XLSX, Parquet or a data frame, checked whole.

    sitting: one of several in the file. UserErrors with every mistake, by row and column.
    """
    require_extra("marks", "marks")
    from sidewise.teaching.tables.marks_table import marks_from_frame
    from sidewise.teaching.tables.marks_table import read_marks as read

    if isinstance(source, str | Path):
        return read(source, sitting=sitting)
    if sitting is not None:
        raise UserError("sitting", sitting, "a data frame of one sitting", "Filter its rows.")
    return marks_from_frame(source)


def analyse_marks(marks: Marks | str | Path, **options: Any) -> Sitting:
    """One sitting analysed: stations, reliability, severity, pass marks, students near the mark.

    options: those of `SittingOptions`, such as method="borderline group", add_sem=1, draws=0.
    UserError for one it does not have. `to_frame()` gives the stations; also "students",
    "pass_marks". Supports a board's judgement and does not replace it.
    """
    from sidewise.teaching.sitting.sitting import analyse_sitting

    table = read_marks(marks) if isinstance(marks, str | Path) else marks
    return analyse_sitting(table, _options(options))


def _options(given: dict[str, Any]) -> SittingOptions:
    from sidewise.teaching.sitting.options import SittingOptions

    known = SittingOptions.__dataclass_fields__
    for name in given:
        if name not in known:
            raise UserError(name, given[name], f"one of the options {', '.join(known)}")
    return replace(SittingOptions(), **given)


def read_findings(path: str | Path) -> Findings:
    """Findings of several examiners from CSV, XLSX or Parquet; UserErrors with every mistake."""
    require_extra("marks", "findings")
    from sidewise.teaching.tables.findings_table import read_findings as read

    return read(path)


def agree(findings: Findings | str | Path) -> Hands:
    """Whether examiners find the same as the reference and as each other, item by item.

    `to_frame()` gives the items; also "examiners". Sides that may have been exchanged are named,
    never corrected.
    """
    from sidewise.teaching.hands.hands import agreement_of_hands

    table = read_findings(findings) if isinstance(findings, str | Path) else findings
    return agreement_of_hands(table)
