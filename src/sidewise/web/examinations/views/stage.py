"""The mirror: a stage of the examination, one row of it, and the rest of it as normal."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.utils.safestring import SafeString
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET, require_POST

from sidewise.ground.language import mark_text
from sidewise.protocol import Item, Stage
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.anatomy.poses import PoseShown
from sidewise.web.examinations.access import allowed_examination
from sidewise.web.examinations.bedside import (
    BedsidePage,
    EntryPage,
    bedside_page,
    rows_shown,
)
from sidewise.web.examinations.figure import (
    FeltPlace,
    PosedItem,
    felt_place,
    last_pose,
    posed_item,
)
from sidewise.web.examinations.pieces import structure_labels
from sidewise.web.examinations.rows import (
    Row,
    row_of,
    slug,
    stage_groups,
    stage_of,
)
from sidewise.web.examinations.state import Current, current
from sidewise.web.examinations.together import SharedTouch, of_group, of_stage
from sidewise.web.examinations.typed_line import LONGEST
from sidewise.web.examinations.usual import choose_now
from sidewise.web.examinations.widgets import INSTRUMENTS
from sidewise.web.pages import show, values

COULD_NOT = (
    mark_text("too painful"),
    mark_text("too stiff to reach the position"),
    mark_text("could not relax"),
    mark_text("plaster or sling"),
)
"""Recorded in English, whatever the page says."""


@require_GET
def open_stage(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Go to the first stage that is not complete."""
    examination, _ = allowed_examination(request.user, pk)
    now = current(examination)
    done = now.completeness.done
    stages = now.protocol.stages
    stage = next((s for s in stages if done[s.id][0] < done[s.id][1]), stages[-1])
    return redirect("stage", pk=pk, stage=stage.slug)


@dataclass(frozen=True, slots=True)
class GroupShown:
    """A group of a stage on the page."""

    together: SharedTouch
    """Its name, and what one touch may record of it."""
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
    groups: tuple[GroupShown, ...]
    """Its groups with a row, in the protocol's order."""
    further: tuple[GroupShown, ...]
    """Its groups of which nothing is called for yet."""
    following: Stage | None
    """The stage after it."""
    together: SharedTouch
    """What is still open and may be recorded by one touch."""


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
    pose: PoseShown | None
    """The movement measured last, on a stage that reads angles."""


@require_GET
@gzip_page
def show_stage(request: SignedInRequest, pk: UUID, stage: str) -> HttpResponse:
    """A stage; with `part`, only its section, for the page it is added to."""
    examination, may_write = allowed_examination(request.user, pk)
    now = current(examination)
    found = _known_stage(now, stage)
    page = bedside_page(request, examination, now, may_write, stage)
    opened = frozenset(request.GET.getlist("open"))
    shown = _shown(request, page, found, opened)
    context = StagePage(**values(page), stage=shown, instruments=INSTRUMENTS,
                        longest=LONGEST, text="",
                        pose=last_pose(now) if found.reads_angles else None)  # fmt: skip
    part = request.htmx and "part" in request.GET
    return show(request, f"examinations/{'stage_section' if part else 'stage'}.html", context)


def _shown(
    request: SignedInRequest, page: BedsidePage, stage: Stage, opened: frozenset[str]
) -> StageShown:
    now = page.bed.now
    stages = now.protocol.stages
    after = stages.index(stage) + 1
    groups = tuple(
        GroupShown(of_group(now, stage, g.label), rows_shown(request, page, g.rows, opened), g.more)
        for g in stage_groups(now, stage, opened)
    )
    return StageShown(
        stage,
        stage.slug,
        tuple(group for group in groups if group.rows),
        tuple(group for group in groups if not group.rows),
        stages[after] if after < len(stages) else None,
        of_stage(now, stage),
    )


@require_GET
def show_row(request: SignedInRequest, pk: UUID, item: str) -> HttpResponse:
    """One row, unfolded."""
    examination, may_write = allowed_examination(request.user, pk)
    now = current(examination)
    known = known_item(now, item)
    if not request.htmx:
        address = redirect("stage", pk=pk, stage=slug(now, known))
        address["Location"] += f"?open={known.id}#row-{known.id}"
        return address
    page = bedside_page(request, examination, now, may_write, slug(now, known))
    return HttpResponse(rows_shown(request, page, (known,), frozenset({known.id})))


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemPage(EntryPage):
    """What the panel of an item, and its page, are given."""

    row: Row
    """The item across the mirror."""
    stage: Stage
    """The stage in which it is examined."""
    full: bool = True
    """Everything that can be entered, not only what a row has room for."""
    how_only: bool = False
    """Only how it is done."""
    could_not: tuple[str, ...] = COULD_NOT
    """The usual reasons why something could not be examined."""
    place: FeltPlace | None = None
    """Where it is on the figure."""
    posed: PosedItem | None = None
    """The posture in which it is examined."""
    structures: tuple[str, ...] = ()
    """What it examines."""
    all_structures: tuple[str, ...] = ()
    """Where something can be, for an item that takes a place."""
    error: str = ""
    """Why a form was refused."""


@require_GET
def show_item(request: SignedInRequest, pk: UUID, item: str) -> HttpResponse:
    """Everything that can be entered for one item, and how to do it."""
    examination, may_write = allowed_examination(request.user, pk)
    now = current(examination)
    known = known_item(now, item)
    page = bedside_page(request, examination, now, may_write, slug(now, known))
    context = item_page(page, row_of(now, known, opened=True), how_only="how" in request.GET)
    template = "item_panel" if request.htmx else "item"
    return show(request, f"examinations/{template}.html", context)


def item_page(page: BedsidePage, row: Row, *, how_only: bool = False, error: str = "") -> ItemPage:
    """What the page of an item is given, as it stands or with why a form was refused."""
    protocol, item = page.bed.now.protocol, row.item
    return ItemPage(
        **values(page),
        row=row,
        stage=protocol.stage_of(item),
        how_only=how_only,
        place=felt_place(page.bed.now, item),
        posed=posed_item(page.bed.now, item),
        structures=tuple(s.label for s in protocol.structures if s.id in item.structures),
        all_structures=structure_labels(protocol),
        error=error,
    )


@dataclass(frozen=True, slots=True)
class RestPage(BedsidePage):
    """What the page of all that is still open in a stage is given."""

    stage: Stage
    """The stage."""
    together: SharedTouch
    """The items by name, and what is recorded if a person confirms."""


@require_GET
def show_rest(request: SignedInRequest, pk: UUID, stage: str) -> HttpResponse:
    """What is still open in a stage and may be recorded together, by name, to be confirmed."""
    examination, may_write = allowed_examination(request.user, pk, write=True)
    now = current(examination)
    found = _known_stage(now, stage)
    page = bedside_page(request, examination, now, may_write, stage)
    context = RestPage(**values(page), stage=found, together=of_stage(now, found))
    return show(request, "examinations/rest.html", context)


@require_POST
def choose_instrument(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Remember what angles of this patient are read with; a choice of the reader, no finding."""
    examination, _ = allowed_examination(request.user, pk)
    chosen = request.POST.get("instrument", "")
    if chosen in INSTRUMENTS:
        choose_now(request.session, examination, chosen)
    if request.htmx:
        return HttpResponse(status=204)
    stages = current(examination).protocol.stages
    stage = next((stage for stage in stages if stage.reads_angles), stages[0])
    return redirect("stage", pk=pk, stage=stage.slug)


def known_item(now: Current, name: str) -> Item:
    """The item an address names; 404 if there is none."""
    if name not in now.protocol.by_id:
        raise Http404
    return now.protocol.by_id[name]


def _known_stage(now: Current, text: str) -> Stage:
    found = stage_of(now, text)
    if found is None:
        raise Http404
    return found
