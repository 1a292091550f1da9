"""The figure as a page: touch a place, grade it, or mark what is there."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from sidewise.web.examinations.bedside import bedside_context
from sidewise.web.examinations.figure import Drawing, load_figure, markers, spot_named, view_named
from sidewise.web.examinations.rows import cell_of
from sidewise.web.examinations.state import Current, current
from sidewise.web.examinations.views.stage import ENTRY
from sidewise.web.examinations.widgets import attribute_json
from sidewise.web.patients.access import allowed_examination


@require_GET
def show_figure(request: HttpRequest, pk: UUID) -> HttpResponse:
    """One view of the figure; with `spot` and `side`, the entry of that place beside it."""
    examination, may_write = allowed_examination(request.user, pk)
    now = current(examination)
    data = load_figure(now.record.region)
    view = view_named(data, request.GET.get("view", ""))
    if view is None:
        raise Http404
    context = bedside_context(request, examination, now, may_write, "figure")
    tools = markers(now.protocol)
    mark = next((item for item in tools if item.id == request.GET.get("mark")), None)
    context |= {"drawing": Drawing(now, view), "views": [v.name for v in data.views]}
    context |= {"tools": tools, "mark": mark, **ENTRY, **_spot(request, now)}
    context["address"] = request.get_full_path()
    template = "figure_part" if request.htmx else "figure"
    return render(request, f"examinations/{template}.html", context)


def _spot(request: HttpRequest, now: Current) -> dict[str, Any]:
    spot = spot_named(load_figure(now.record.region), request.GET.get("spot", ""))
    side = request.GET.get("side", "")
    if spot is None or side not in ("left", "right", "midline"):
        return {}
    items = [now.protocol.item(name) for name in spot.items]
    items = [item for item in items if item.paired == (side != "midline")]
    if not items:
        return {}
    where = {"item": items[0], "side": side}
    entries = [
        (item, [cell_of(now, item, side, mode) for mode in item.modes or (None,)]) for item in items
    ]
    structure = _structure(now, items[0])
    marks = [] if side == "midline" else [
        (tool, _mark(tool, side, structure)) for tool in markers(now.protocol)
    ]  # fmt: skip
    return {"spot": spot, "where": where, "entries": entries, "spot_marks": marks}


def _structure(now: Current, item: Any) -> str:
    labels = {structure.id: structure.label for structure in now.protocol.structures}
    return labels.get(item.structures[0], item.label) if item.structures else item.label


def _mark(tool: Any, side: str, structure: str) -> str:
    value = {"kind": "place", "what": _what(tool), "structure": structure}
    return attribute_json([{"item": tool.id, "side": side, "value": value}])


def _what(tool: Any) -> str:
    return str(tool.label).partition(",")[0]
