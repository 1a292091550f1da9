"""A plate for a page: parts of sheets that the browser keeps, laid on each other."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import reverse

from sidewise.figure import Composed, SheetPart
from sidewise.figure.sheets import fingerprint, part_id, sheet_names
from sidewise.knowledge.region import Region
from sidewise.protocol.figure import atlas_of

TRUNK = ("trunk", "midline")


@dataclass(frozen=True, slots=True)
class Use:
    """One part of a sheet on the page; `structure` where it can be asked what it is."""

    href: str
    transform: str
    classes: str
    structure: str = ""
    side: str = ""
    label: str = ""


@dataclass(frozen=True, slots=True)
class PlateShown:
    """A plate as a template draws it. `label`: the picture in words."""

    plate: Composed
    uses: tuple[Use, ...]
    label: str

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in units, so that the page keeps its room."""
        _, _, width, height = self.plate.frame
        return round(width), round(height)


def plate_shown(region: Region, plate: Composed, *, named: bool = False) -> PlateShown:
    """A plate of a region that has an atlas. `named`: each bone, muscle and nerve by itself."""
    uses = (
        use
        for part, shapes in plate.laid
        for use in (
            _named(region, part, [shape.name for shape in shapes])
            if named and part.layer and part.layer != "landmarks"
            else [_use(region, part, part.id)]
        )
    )
    return PlateShown(plate, tuple(uses), " ".join((plate.title, *_sentences(plate))))


def _sentences(plate: Composed) -> list[str]:
    return [f"{words}." for words in plate.words]


def _named(region: Region, part: SheetPart, names: list[str]) -> list[Use]:
    return [_use(region, part, part_id(part.id, name), name) for name in dict.fromkeys(names)]


def _use(region: Region, part: SheetPart, id: str, structure: str = "") -> Use:
    layer = f" fig-layer-{part.layer}" if part.layer else ""
    return Use(
        f"{sheet_address(region, part.sheet)}#{id}",
        part.transform,
        f"fig-part-{part.kind.replace(' ', '-')}{layer}",
        structure,
        part.side if part.id not in TRUNK else "",
        _label(region, structure),
    )


def _label(region: Region, structure: str) -> str:
    atlas = atlas_of(region)
    if atlas is None or not structure:
        return ""
    muscle = atlas.muscles.get(structure)
    return muscle.label if muscle else {**atlas.bones, **atlas.nerves}[structure]


def sheet_address(region: Region, name: str) -> str:
    """Where a browser fetches a sheet; it changes when the drawing does."""
    base = region.view(_base)
    return f"{base}{name}.svg"


def _base(region: Region) -> str:
    address = reverse("sheet", args=(region.id, region.view(_digest), "x"))
    return address.removesuffix("x.svg")


def _digest(region: Region) -> str:
    atlas = atlas_of(region)
    return fingerprint(atlas) if atlas else ""


def sheet_text(region: Region, digest: str, name: str) -> str | None:
    """The text of a sheet, made once; None where there is none of that name and state."""
    atlas = atlas_of(region)
    if atlas is None or digest != region.view(_digest) or name not in region.view(_sheets):
        return None
    return region.view(_text, name)


def _sheets(region: Region) -> frozenset[str]:
    atlas = atlas_of(region)
    return frozenset(sheet_names(atlas)) if atlas else frozenset()


def _text(region: Region, name: str) -> str:
    atlas = atlas_of(region)
    assert atlas is not None, "asked for only where there is one"
    return sheet_names(atlas)[name]()
