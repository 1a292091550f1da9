"""The figure as a page: touch a place, grade it, or mark what is there."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_GET

from sidewise.protocol import Item
from sidewise.web.examinations.bedside import EntryPage, bedside_page
from sidewise.web.examinations.figure import Drawing, load_figure, markers, spot_named, view_named
from sidewise.web.examinations.rows import Cell, cell_of
from sidewise.web.examinations.state import Current, current
from sidewise.web.examinations.widgets import attribute_json
from sidewise.web.pages import show, values
from sidewise.web.patients.access import allowed_examination


@dataclass(frozen=True, slots=True)
class Where:
    """The place that was touched, by an item of it and a side."""

    item: Item
    side: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FigurePage(EntryPage):
    """What the page of the figure is given."""

    drawing: Drawing
    """The view with what is marked on it."""
    views: tuple[str, ...]
    """The views by name."""
    tools: tuple[Item, ...]
    """What can be marked freely."""
    mark: Item | None
    """What a touch marks now."""
    address: str
    """The address of this page, for a script that fetches it again."""
    spot: Any = None
    """The place that was touched."""
    where: Where | None = None
    """Its first item and its side."""
    entries: tuple[tuple[Item, tuple[Cell, ...]], ...] = ()
    """The items of the place, each with its cells."""
    spot_marks: tuple[tuple[Item, str], ...] = ()
    """What else can be marked there, and what that would record."""


@require_GET
def show_figure(request: HttpRequest, pk: UUID) -> HttpResponse:
    """One view of the figure; with `spot` and `side`, the entry of that place beside it."""
    examination, may_write = allowed_examination(request.user, pk)
    now = current(examination)
    data = load_figure(now.record.region)
    view = view_named(data, request.GET.get("view", ""))
    if view is None:
        raise Http404
    tools = markers(now.protocol)
    mark = next((item for item in tools if item.id == request.GET.get("mark")), None)
    context = FigurePage(
        **values(bedside_page(request, examination, now, may_write, "figure")),
        drawing=Drawing(now, view),
        views=tuple(v.name for v in data.views),
        tools=tuple(tools),
        mark=mark,
        address=request.get_full_path(),
    )
    context = _with_spot(context, request, now)
    template = "figure_part" if request.htmx else "figure"
    return show(request, f"examinations/{template}.html", context)


def _with_spot(page: FigurePage, request: HttpRequest, now: Current) -> FigurePage:
    spot = spot_named(load_figure(now.record.region), request.GET.get("spot", ""))
    side = request.GET.get("side", "")
    if spot is None or side not in ("left", "right", "midline"):
        return page
    items = [now.protocol.item(name) for name in spot.items]
    items = [item for item in items if item.paired == (side != "midline")]
    if not items:
        return page
    entries = tuple(
        (item, tuple(cell_of(now, item, side, mode) for mode in item.modes or (None,)))
        for item in items
    )
    structure = _structure(now, items[0])
    tools = () if side == "midline" else page.tools
    marks = tuple((tool, _mark(tool, side, structure)) for tool in tools)
    where = Where(items[0], side)
    return replace(page, spot=spot, where=where, entries=entries, spot_marks=marks)


def _structure(now: Current, item: Any) -> str:
    labels = {structure.id: structure.label for structure in now.protocol.structures}
    return labels.get(item.structures[0], item.label) if item.structures else item.label


def _mark(tool: Any, side: str, structure: str) -> str:
    value = {"kind": "place", "what": _what(tool), "structure": structure}
    return attribute_json([{"item": tool.id, "side": side, "value": value}])


def _what(tool: Any) -> str:
    return str(tool.label).partition(",")[0]
