"""The figure as a page: press a place, grade it, or draw what is there; and what was measured."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID

from django.http import Http404, HttpResponse
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET

from sidewise.protocol import Item
from sidewise.protocol.figure import items_at, place_label
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.anatomy.poses import PoseShown
from sidewise.web.examinations.access import allowed_examination
from sidewise.web.examinations.bedside import BedsidePage, EntryPage, bedside_page
from sidewise.web.examinations.figure import (
    Drawing,
    known_view,
    last_pose,
    markers,
    poses_shown,
    spot_named,
)
from sidewise.web.examinations.rows import Cell, cell_of
from sidewise.web.examinations.state import Current, current
from sidewise.web.examinations.widgets import attribute_json
from sidewise.web.pages import show, values


@dataclass(frozen=True, slots=True)
class TouchedPlace:
    """The place that was pressed, by its name and a side."""

    label: str
    side: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FigurePage(EntryPage):
    """What the page of the figure is given."""

    drawing: Drawing
    """The view with what is found on it, and the list of its places."""
    tools: tuple[Item, ...]
    """What can be drawn with the finger."""
    mark: Item | None
    """What the finger draws now."""
    what: str
    """What that is called in the record."""
    address: str
    """The address of this page, for a script that fetches it again."""
    spot: Any = None
    """The place that was pressed."""
    where: TouchedPlace | None = None
    """Its name and its side."""
    entries: tuple[tuple[Item, tuple[Cell, ...]], ...] = ()
    """The items of the place, each with its cells."""
    spot_marks: tuple[tuple[Item, str], ...] = ()
    """What else can be marked there, and what that would record."""


@require_GET
@gzip_page
def show_figure(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """One view of the figure; with `spot` and `side`, the entry of that place beside it."""
    examination, may_write = allowed_examination(request.user, pk)
    now = current(examination)
    data = now.figure
    if not data.places:
        raise Http404
    tools = markers(now.protocol)
    mark = next((item for item in tools if item.id == request.GET.get("mark")), None)
    spot = spot_named(data, request.GET.get("spot", ""))
    side = request.GET.get("side", "")
    view = known_view(now, request.GET.get("view", ""))
    context = FigurePage(
        **values(bedside_page(request, examination, now, may_write, "figure")),
        drawing=Drawing(now, view, spot, side, mark),
        tools=tools,
        mark=mark,
        what=_what(mark) if mark else "",
        address=request.get_full_path(),
    )
    context = _with_spot(context, now)
    template = "figure_part" if request.htmx else "figure"
    return show(request, f"examinations/{template}.html", context)


def _with_spot(page: FigurePage, now: Current) -> FigurePage:
    spot, side = page.drawing.spot, page.drawing.side
    if spot is None or side not in ("left", "right", "midline"):
        return page
    items = items_at(spot, side, now.protocol)
    if not items:
        return page
    entries = tuple(
        (item, tuple(cell_of(now, item, side, mode) for mode in item.modes or (None,)))
        for item in items
    )
    label = place_label(spot, now.region)
    tools = () if side == "midline" else page.tools
    marks = tuple((tool, _mark(tool, side, label)) for tool in tools)
    where = TouchedPlace(label, side)
    return replace(page, spot=spot, where=where, entries=entries, spot_marks=marks)


def _mark(tool: Item, side: str, place: str) -> str:
    value = {"kind": "place", "what": _what(tool), "structure": place}
    return attribute_json([{"item": tool.id, "side": side, "value": value}])


def _what(tool: Item) -> str:
    return tool.label.partition(",")[0]


@dataclass(frozen=True, slots=True)
class MovementPage(BedsidePage):
    """What the page of the measured movements is given."""

    poses: tuple[PoseShown, ...]
    """Every movement that has a number, drawn as it was measured."""


@dataclass(frozen=True, slots=True)
class LastPosePiece(BedsidePage):
    """What the picture of the movement measured last is given."""

    pose: PoseShown | None
    """The movement, or None where none has a number."""


@require_GET
@gzip_page
def show_movement(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """What was measured, drawn: every movement as a page, the latest for a stage that asks."""
    examination, may_write = allowed_examination(request.user, pk)
    now = current(examination)
    if not now.has_atlas:
        raise Http404
    page = bedside_page(request, examination, now, may_write, "figure")
    if request.htmx:
        piece = LastPosePiece(**values(page), pose=last_pose(now))
        return show(request, "examinations/last_pose.html", piece)
    context = MovementPage(**values(page), poses=poses_shown(now))
    return show(request, "examinations/movement.html", context)
