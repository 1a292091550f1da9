"""The anatomy page, and the sheets that every drawing of the body is laid together from."""

from __future__ import annotations

from dataclasses import dataclass, field

from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET

from sidewise.errors import UserError
from sidewise.figure import Atlas
from sidewise.figure.compose import SEEN_FROM
from sidewise.knowledge.region import Region
from sidewise.protocol import Item
from sidewise.protocol.figure import atlas_of
from sidewise.regions import regions
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.anatomy.explanation import (
    BODY_VIEWS,
    LAYERS,
    AskedPosture,
    NamedStructure,
    asked_of,
    plate_of,
    posed_items,
    structures_of,
)
from sidewise.web.anatomy.plates import PlateShown, plate_shown, sheet_text
from sidewise.web.audit.watch import shows_no_record
from sidewise.web.pages import show

A_YEAR = 31_536_000


@dataclass(frozen=True, slots=True)
class LayerShown:
    """A layer that can be peeled off."""

    id: str
    label: str
    shown: bool
    structures: tuple[NamedStructure, ...]


@dataclass(frozen=True, slots=True)
class AnatomyPage:
    """What the page of the anatomy is given."""

    region: Region
    """The region."""
    asked: AskedPosture
    """The posture, the view, and the item they belong to."""
    plate: PlateShown
    """The plate with every layer."""
    layers: tuple[LayerShown, ...]
    """The layers from the skin inwards, each with its structures."""
    views: tuple[str, ...]
    """The views of the whole body."""
    close_ups: tuple[str, ...]
    """The plates close by, the arm hanging."""
    items: tuple[Item, ...]
    """Items with a posture to be shown."""
    movements: tuple[str, ...]
    """The movements of the atlas."""
    levels: tuple[str, ...]
    """The levels of the movement that has them."""
    credits: tuple[str, ...]
    """Whose shapes these are."""
    kept: str
    """The posture as it stands in an address, for another view of it."""
    error: str = ""
    """Why something asked for cannot be shown."""
    at: str = field(default="")
    """The number or level asked for."""


@require_GET
def first_anatomy(request: SignedInRequest) -> HttpResponse:
    """Go to the first region that has drawings."""
    for name in regions():
        region = _region(name)
        if region and atlas_of(region):
            return redirect("anatomy-of", region.id)
    raise Http404


@require_GET
@gzip_page
def show_anatomy(request: SignedInRequest, region_id: str) -> HttpResponse:
    """The plate of a posture, its layers and every structure by name."""
    known, atlas = _with_atlas(region_id)
    fields, error = request.GET.dict(), ""
    try:
        asked = asked_of(known, atlas, fields)
    except UserError as refused:
        asked, error = asked_of(known, atlas, {}), refused.message
    chosen = set(request.GET.getlist("layer")) or {"bones"}
    structures = structures_of(known, atlas)
    kept = ("item", "movement", "at", "hitching")
    context = AnatomyPage(
        region=known,
        asked=asked,
        plate=plate_shown(known, plate_of(atlas, asked), named=True),
        layers=tuple(
            LayerShown(name, label, name in chosen, _of_layer(structures, name))
            for name, label in LAYERS
        ),
        views=BODY_VIEWS,
        close_ups=tuple(view for view in SEEN_FROM if view not in BODY_VIEWS),
        items=posed_items(known),
        movements=tuple(m for m in atlas.movements if "," not in m and m != "rest"),
        levels=_levels(atlas),
        credits=atlas.credits,
        kept=_kept(request, kept),
        error=error,
        at=fields.get("at", ""),
    )
    return show(request, "anatomy/anatomy.html", context, status=422 if error else 200)


def _kept(request: SignedInRequest, names: tuple[str, ...]) -> str:
    query = request.GET.copy()
    for name in set(query) - set(names):
        del query[name]
    return query.urlencode()


def _levels(atlas: Atlas) -> tuple[str, ...]:
    return tuple(at for ats in atlas.movements.values() for at in ats if isinstance(at, str))


def _of_layer(structures: tuple[NamedStructure, ...], layer: str) -> tuple[NamedStructure, ...]:
    return tuple(one for one in structures if one.layer == layer)


@require_GET
@shows_no_record
@gzip_page
def show_sheet(request: SignedInRequest, region_id: str, digest: str, name: str) -> HttpResponse:
    """One sheet of drawings; the browser keeps it for good, since its address has its digest."""
    known = _region(region_id)
    text = sheet_text(known, digest, name) if known else None
    if text is None:
        raise Http404
    answer = HttpResponse(text, content_type="image/svg+xml")
    answer["Cache-Control"] = f"private, max-age={A_YEAR}, immutable"
    return answer


def _region(name: str) -> Region | None:
    try:
        return regions().chosen(name, "region")
    except UserError:
        return None


def _with_atlas(name: str) -> tuple[Region, Atlas]:
    region = _region(name)
    atlas = atlas_of(region) if region else None
    if region is None or atlas is None:
        raise Http404
    return region, atlas
