"""How a result shows itself to somebody who works in Python: in a line, as a frame, in a notebook.

A result gives its view: a headline, its tables, and what must be read beside them.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from types import ModuleType
from typing import TYPE_CHECKING, Any

from sidewise.errors import UserError
from sidewise.ground.extras import require_extra

if TYPE_CHECKING:
    import pandas as pd

SHOWN_ROWS = 20
JOIN = "; "
TableRow = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Table:
    """Columns in order, and the rows: plain numbers, texts, dates and None."""

    columns: tuple[str, ...]
    rows: Callable[[], Sequence[TableRow]]


@dataclass(frozen=True, slots=True)
class View:
    """What is shown of a result.

    headline: one line; what must not be missed comes first in it. tables: by name; the first is
    meant where none is named. alerts, cautions: what stands above and below every table.
    """

    headline: str
    tables: Mapping[str, Table]
    alerts: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


class Shown:
    """A result with a view."""

    __slots__ = ()

    @abstractmethod
    def view(self) -> View:
        """What is shown of it."""

    def to_frame(self, table: str = "") -> pd.DataFrame:
        """One of its tables as a data frame; the first where none is named.

        Alerts and cautions travel in the frame's `attrs`. UserError for a table it does not have,
        with those it has, and where pandas is not installed.
        """
        view = self.view()
        name = table or next(iter(view.tables))
        if name not in view.tables:
            raise UserError("table", table, f"one of {', '.join(view.tables)}")
        chosen = view.tables[name]
        frame: pd.DataFrame = _pandas().DataFrame(chosen.rows(), columns=list(chosen.columns))
        frame.attrs = {"alerts": list(view.alerts), "cautions": list(view.cautions)}
        return frame

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {self.view().headline}>"

    def _repr_html_(self) -> str:
        view = self.view()
        return "".join(
            [
                f"<p><b>{escape(view.headline)}</b></p>",
                _list(view.alerts),
                html_table(next(iter(view.tables.values()))),
                _list(view.cautions),
            ]
        )


def field_table(columns: Sequence[str], objects: Sequence[object]) -> Table:
    """A table of attributes; several texts in one field are joined."""

    def rows() -> list[TableRow]:
        return [{name: _cell(getattr(one, name)) for name in columns} for one in objects]

    return Table(tuple(columns), rows)


def _cell(value: Any) -> Any:
    return JOIN.join(map(str, value)) if isinstance(value, tuple) else value


def _pandas() -> ModuleType:
    require_extra("batch", "to_frame")
    import pandas

    return pandas


def html_table(table: Table) -> str:
    """The first rows as HTML; every word escaped, and how many rows are not shown."""
    rows = table.rows()
    head = "".join(f'<th scope="col">{escape(column)}</th>' for column in table.columns)
    body = "".join(_html_row([row.get(column) for column in table.columns])
                   for row in rows[:SHOWN_ROWS])  # fmt: skip
    more = len(rows) - SHOWN_ROWS
    rest = f"<p>{more} more rows: to_frame()</p>" if more > 0 else ""
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{rest}"


def _html_row(cells: Sequence[Any]) -> str:
    return f"<tr>{''.join(f'<td>{escape(cell_text(cell))}</td>' for cell in cells)}</tr>"


def cell_text(cell: Any) -> str:
    """A cell in words; nothing for a gap, so that no gap reads as a number."""
    if cell is None or cell != cell:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    return f"{cell:.3g}" if isinstance(cell, float) else str(cell)


def _list(lines: Sequence[str]) -> str:
    return f"<ul>{''.join(f'<li>{escape(line)}</li>' for line in lines)}</ul>" if lines else ""
