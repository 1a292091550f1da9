"""The mirror: a stage of the examination, one row of it, and the rest of it as normal."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.safestring import SafeString
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET, require_POST

from sidewise.protocol import Item, Stage
from sidewise.protocol.model import StageGuide
from sidewise.web.examinations.bedside import BedsidePage, EntryPage, bedside_page, rows_shown
from sidewise.web.examinations.figure import Place, place_of
from sidewise.web.examinations.pieces import structure_labels
from sidewise.web.examinations.rows import (
    RestLine,
    Row,
    rest_findings,
    rest_lines,
    rest_of,
    row_of,
    slug,
    stage_groups,
    stage_of,
)
from sidewise.web.examinations.state import Current, current
from sidewise.web.examinations.typed import LONGEST
from sidewise.web.examinations.widgets import INSTRUMENTS
from sidewise.web.pages import show, values
from sidewise.web.patients.access import allowed_examination

COULD_NOT = (
    "too painful",
    "too stiff to reach the position",
    "could not relax",
    "plaster or sling",
)


@require_GET
def open_stage(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Go to the first stage that is not complete."""
    examination, _ = allowed_examination(request.user, pk)
    done = current(examination).completeness.done
    stage = next((s for s in Stage if done[s][0] < done[s][1]), Stage.CLOSE)
    return redirect("stage", pk=pk, stage=slug(stage))


@dataclass(frozen=True, slots=True)
class GroupShown:
    """A group of a stage on the page."""

    label: str
    """Its name."""
    rows: SafeString
    """Its rows as they stand on the page."""
    more: tuple[Item, ...]
    """The optional items not opened yet, by name."""


@dataclass(frozen=True, slots=True)
class StageShown:
    """A stage on the page."""

    stage: Stage
    """The stage."""
    slug: str
    """The stage as it stands in an address."""
    guide: StageGuide | None
    """Where patient and examiner are."""
    groups: tuple[GroupShown, ...]
    """Its groups, in the protocol's order."""
    following: Stage | None
    """The stage after it."""
    rest: int
    """How many places "normal, the rest" would record."""


@dataclass(frozen=True, slots=True)
class StagePage(BedsidePage):
    """What the page of a stage is given."""

    stage: StageShown
    """The stage."""
    instruments: tuple[str, ...]
    """What an angle can be read with."""
    longest: int
    """Characters of one typed line."""
    text: str
    """The typed line begun: none on this page."""


@require_GET
@gzip_page
def show_stage(request: HttpRequest, pk: UUID, stage: str) -> HttpResponse:
    """A stage; with `part`, only its section, for the page it is added to."""
    examination, may_write = allowed_examination(request.user, pk)
    found, now = _known_stage(stage), current(examination)
    page = bedside_page(request, examination, now, may_write, stage)
    opened = frozenset(request.GET.getlist("open"))
    shown = _shown(request, page, found, opened)
    context = StagePage(**values(page), stage=shown, instruments=INSTRUMENTS,
                        longest=LONGEST, text="")  # fmt: skip
    part = request.htmx and "part" in request.GET
    return show(request, f"examinations/{'stage_section' if part else 'stage'}.html", context)


def _shown(
    request: HttpRequest, page: BedsidePage, stage: Stage, opened: frozenset[str]
) -> StageShown:
    now = page.bed.now
    stages = list(Stage)
    after = stages.index(stage) + 1
    groups = stage_groups(now, stage, opened)
    return StageShown(
        stage,
        slug(stage),
        next((guide for guide in now.protocol.guides if guide.stage == stage), None),
        tuple(
            GroupShown(g.label, rows_shown(request, page, g.rows, opened), g.more) for g in groups
        ),
        stages[after] if after < len(stages) else None,
        len(rest_of(now, stage)),
    )


@require_GET
def show_row(request: HttpRequest, pk: UUID, item: str) -> HttpResponse:
    """One row, unfolded."""
    examination, may_write = allowed_examination(request.user, pk)
    now = current(examination)
    known = known_item(now, item)
    if not request.htmx:
        address = redirect("stage", pk=pk, stage=slug(known.stage))
        address["Location"] += f"?open={known.id}#row-{known.id}"
        return address
    page = bedside_page(request, examination, now, may_write, slug(known.stage))
    return HttpResponse(rows_shown(request, page, (known,), frozenset({known.id})))


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemPage(EntryPage):
    """What the panel of an item, and its page, are given."""

    row: Row
    """The item across the mirror."""
    full: bool = True
    """Everything that can be entered, not only what a row has room for."""
    how_only: bool = False
    """Only how it is done."""
    could_not: tuple[str, ...] = COULD_NOT
    """The usual reasons why something could not be examined."""
    place: Place | None = None
    """Where it is on the figure."""
    structures: tuple[str, ...] = ()
    """What it examines."""
    all_structures: tuple[str, ...] = ()
    """Where something can be, for an item that takes a place."""
    error: str = ""
    """Why a form was refused."""


@require_GET
def show_item(request: HttpRequest, pk: UUID, item: str) -> HttpResponse:
    """Everything that can be entered for one item, and how to do it."""
    examination, may_write = allowed_examination(request.user, pk)
    now = current(examination)
    known = known_item(now, item)
    page = bedside_page(request, examination, now, may_write, slug(known.stage))
    context = item_page(page, row_of(now, known, opened=True), how_only="how" in request.GET)
    template = "item_panel" if request.htmx else "item"
    return show(request, f"examinations/{template}.html", context)


def item_page(page: BedsidePage, row: Row, *, how_only: bool = False, error: str = "") -> ItemPage:
    """What the page of an item is given, as it stands or with why a form was refused."""
    protocol, item = page.bed.now.protocol, row.item
    return ItemPage(
        **values(page),
        row=row,
        how_only=how_only,
        place=place_of(page.record.region, item),
        structures=tuple(s.label for s in protocol.structures if s.id in item.structures),
        all_structures=structure_labels(protocol),
        error=error,
    )


@dataclass(frozen=True, slots=True)
class RestPage(BedsidePage):
    """What the list of "normal, the rest of this stage" is given."""

    stage: Stage
    """The stage."""
    stage_slug: str
    """The stage as it stands in an address."""
    lines: tuple[RestLine, ...]
    """The items by name."""
    findings: str
    """What is recorded if a person confirms."""


@require_GET
def show_rest(request: HttpRequest, pk: UUID, stage: str) -> HttpResponse:
    """What "normal, the rest of this stage" would record, by name, to be confirmed."""
    examination, may_write = allowed_examination(request.user, pk, write=True)
    found, now = _known_stage(stage), current(examination)
    rest = rest_of(now, found)
    page = bedside_page(request, examination, now, may_write, stage)
    context = RestPage(**values(page), stage=found, stage_slug=stage, lines=rest_lines(rest),
                       findings=rest_findings(rest))  # fmt: skip
    template = "rest_panel" if request.htmx else "rest"
    return show(request, f"examinations/{template}.html", context)


@require_POST
def choose_instrument(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Remember what angles are read with, for this sitting; a choice of the reader, no finding."""
    allowed_examination(request.user, pk)
    chosen = request.POST.get("instrument", "")
    if chosen in INSTRUMENTS:
        request.session["instrument"] = chosen
    if request.htmx:
        return HttpResponse(status=204)
    return redirect("stage", pk=pk, stage=slug(Stage.MOVE))


def known_item(now: Current, name: str) -> Item:
    """The item an address names; 404 if there is none."""
    if name not in now.protocol.by_id:
        raise Http404
    return now.protocol.by_id[name]


def _known_stage(text: str) -> Stage:
    found = stage_of(text)
    if found is None:
        raise Http404
    return found
