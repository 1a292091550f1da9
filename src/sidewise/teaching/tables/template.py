"""An empty table of marks to be filled in: our headings, and three rows that show how."""

from __future__ import annotations

import io
from pathlib import Path

from sidewise.errors import UserError

HEADINGS = ("student", "station", "examiner", "mark", "maximum", "global_rating", "circuit",
            "session", "critical_error", "comment")  # fmt: skip
ROWS = (
    ("1", "look", "E1", "14", "20", "pass", "A", "1", "", ""),
    ("1", "move", "E2", "11", "20", "borderline", "A", "1", "", ""),
    ("2", "look", "E1", "", "20", "", "A", "1", "", "absent: leave the mark empty, never 0"),
)


def write_template(path: Path) -> None:
    """Write the template as CSV or XLSX, by the ending of `path`."""
    content = template_bytes(path.suffix.lower().removeprefix("."))
    try:
        path.write_bytes(content)
    except OSError as error:
        raise UserError(
            str(path), error.strerror or "no such place", "a place that can be written", ""
        ) from error


def template_bytes(kind: str) -> bytes:
    """The template as it is to be kept, csv or xlsx."""
    if kind == "xlsx":
        return _workbook()
    if kind != "csv":
        raise UserError("template", f".{kind}", "a name that ends in .csv or .xlsx", "")
    rows = (HEADINGS, *ROWS)
    return ("\n".join(",".join(_quoted(c) for c in row) for row in rows) + "\n").encode()


def _quoted(cell: str) -> str:
    return f'"{cell}"' if "," in cell else cell


def _workbook() -> bytes:
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.create_sheet("marks", 0)
    for row in (HEADINGS, *ROWS):
        sheet.append(row)
    packed = io.BytesIO()
    book.save(packed)
    return packed.getvalue()
