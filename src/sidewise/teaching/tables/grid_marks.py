"""Marks from a grid of cells that is kept: read as the file itself would be."""

from __future__ import annotations

from dataclasses import replace

from sidewise.teaching.tables.columns import REQUIRED
from sidewise.teaching.tables.heading_words import MAXIMUM_WORDS, TOTAL_WORDS, plain_words
from sidewise.teaching.tables.sheet_columns import changed_layout
from sidewise.teaching.tables.sheet_grid import Grid
from sidewise.teaching.tables.sheet_layout import SheetLayout, proposed_layout
from sidewise.teaching.tables.sheet_reader import sheet_cells
from sidewise.teaching.tables.sheet_upload import has_own_headings
from sidewise.teaching.tables.table_files import (
    MissingHeadings,
    NoLayout,
    RawTable,
    check_headings,
    checked_table,
    heading_key,
)

NAME_WORDS = frozenset({
    "name", "names", "surname", "first name", "last name", "full name", "given name",
    "family name", "nachname", "vorname", "nom", "prenom", "nombre", "apellido", "apellidos",
    "nome", "cognome", "naam", "voornaam", "achternaam", "email", "e mail", "date of birth", "dob",
})  # fmt: skip
"""Headings of what names a person (common practice, no source)."""


def grid_table(grid: Grid, columns: str | None) -> RawTable:
    """Text cells with our headings: as they stand, else by the layout that `columns` confirms.

    Without `columns` a sheet in another layout is a `SheetQuestion`.
    """
    if columns is None and has_own_headings(grid):
        return _own_table(grid)
    try:
        return sheet_cells(grid, columns)
    except NoLayout:
        _say_what_is_needed(grid, columns)
        raise


def _say_what_is_needed(grid: Grid, columns: str | None) -> None:
    """MissingHeadings where nobody has said what the columns are: most sheets are meant as ours."""
    if columns is None:
        keys = [heading_key(cell) for cell in grid.rows[0] if cell]
        check_headings(grid.name, keys, REQUIRED)


def _own_table(grid: Grid) -> RawTable:
    import pandas as pd

    keep = [k for k, cell in enumerate(grid.rows[0]) if cell]
    headings = pd.Index([grid.rows[0][k] for k in keep])
    frame = pd.DataFrame(
        [[row[k] for k in keep] for row in grid.rows[1:]], columns=headings, dtype=str
    )
    frame.index = pd.RangeIndex(2, len(frame) + 2)
    return checked_table(RawTable(grid.name, frame, grid.warnings), REQUIRED)


def grid_layout(grid: Grid, columns: str | None) -> SheetLayout | None:
    """What the columns are taken for; None where the sheet has our own headings."""
    if columns is None and has_own_headings(grid):
        return None
    try:
        layout = proposed_layout(grid)
    except NoLayout:
        _say_what_is_needed(grid, columns)
        raise
    return layout if columns is None else changed_layout(layout, columns, grid.name)


def without_names(grid: Grid) -> Grid:
    """The grid with columns of people's names emptied: students are known by codes here."""
    try:
        layout = grid_layout(grid, None)
    except (NoLayout, MissingHeadings):
        return grid
    headings, first = (grid.rows[0], 1) if layout is None else (layout.headings, layout.first)
    named = {k for k, heading in enumerate(headings) if plain_words(heading) in NAME_WORDS}
    if not named:
        return grid
    rows = tuple(
        row if i < first else tuple("" if k in named else cell for k, cell in enumerate(row))
        for i, row in enumerate(grid.rows)
    )
    said = (
        f"Names are not kept ({', '.join(headings[k] for k in sorted(named))}): codes are enough."
    )
    return replace(grid, rows=rows, warnings=(*grid.warnings, said))


def students_by_row(grid: Grid, columns: str | None) -> dict[int, str]:
    """Whose row each is (counted from 1): rows that name no student (headings, titles, totals) are
    absent."""
    layout = grid_layout(grid, columns)
    if layout is None:
        first, left = 1, frozenset[int]()
        place = [heading_key(cell) for cell in grid.rows[0]].index("student")
    else:
        first, left, place = layout.first, frozenset(layout.left), layout.columns["student"]
    rows = enumerate(grid.rows[first:], first + 1)
    return {
        number: row[place] for number, row in rows
        if row[place] and (number not in left or not _is_total(row[place]))
    }  # fmt: skip


def _is_total(text: str) -> bool:
    # A row of a student that is left out is still that student's.
    return plain_words(text) in TOTAL_WORDS | MAXIMUM_WORDS
