"""The drawings of an atlas as SVG sheets of named parts: a page lays parts of them on each other,
and a browser fetches each sheet once, whoever's arm is drawn.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from hashlib import sha256
from html import escape
from pathlib import Path

from sidewise.figure.atlas import Atlas, Half, Trunk, file_part
from sidewise.figure.choose import Choice
from sidewise.figure.compose import crosses, sheet_name
from sidewise.figure.paint import STROKE, attributes

Row = tuple[str, ...]
"""Name, area, and perhaps inner lines."""


def sheet_names(atlas: Atlas) -> dict[str, Callable[[], str]]:
    """Every sheet by its name, with what writes it."""
    postures = [
        Choice(movement.partition(",")[0], at, at, hitching=movement.endswith("hitching"))
        for movement, ats in atlas.movements.items()
        for at in ats
    ]
    found: dict[str, Callable[[], str]] = {}
    for view in atlas.views:
        found[f"trunk-{view}"] = partial(_trunk_sheet, atlas, view)
        for choice in postures:
            found[sheet_name(view, choice)] = partial(_half_sheet, atlas, view, choice)
    for name in atlas.close_ups:
        found[file_part(name)] = partial(_close_up_sheet, atlas, name)
    return found


def fingerprint(atlas: Atlas) -> str:
    """Sixteen letters that change with the drawings or with how they are written."""
    digest = sha256()
    own = (Path(__file__), Path(__file__).with_name("paint.py"))
    for file in (*sorted(atlas.folder.glob("*.json")), *own):
        digest.update(file.read_bytes())
    return digest.hexdigest()[:16]


def part_id(part: str, name: str) -> str:
    """The id of one named bone, muscle or nerve area within a part."""
    return f"{part}-{file_part(name)}"


def _half_sheet(atlas: Atlas, view: str, choice: Choice) -> str:
    return _document(_half(atlas.half(view, choice)))


def _trunk_sheet(atlas: Atlas, view: str) -> str:
    return _document(_trunk(atlas.trunk(view)))


def _close_up_sheet(atlas: Atlas, name: str) -> str:
    close = atlas.close_up(name)
    return _document((*_half(close.half), *_trunk(close.trunk)))


def _document(groups: Iterator[str] | tuple[str, ...]) -> str:
    return f'<svg xmlns="http://www.w3.org/2000/svg">{"".join(groups)}</svg>'


def _half(half: Half) -> Iterator[str]:
    yield _group("skin", "skin", (("", half.fill),))
    yield _group("nerves", "nerve", half.nerves)
    yield _group("under", "bone", half.under)
    yield _group("over", "bone", half.over)
    yield _group("deep", "deep", half.deep)
    yield _group("superficial", "superficial", half.superficial)
    yield _group("landmarks", "landmark", crosses(half))
    yield _group("folds", "crease", (("", half.crease),))
    # An outline is drawn whole, broken or dotted: whoever lays it says how.
    yield f'<path id="rim" fill="none" {STROKE} d="{escape(half.outline)}"/>'


def _trunk(trunk: Trunk) -> Iterator[str]:
    yield _group("trunk", "bone trunk", trunk.half)
    yield _group("midline", "bone trunk", trunk.middle)


def _group(part: str, kind: str, rows: tuple[Row, ...]) -> str:
    written = "".join(_row(part, kind, row) for row in rows if row[1])
    return f'<g id="{part}">{written}</g>'


def _row(part: str, kind: str, row: Row) -> str:
    name, area, *lines = row
    drawn = f'<path {attributes(kind)} {STROKE} d="{escape(area)}"/>'
    if lines and lines[0]:
        drawn += f'<path {attributes(f"{kind} lines")} {STROKE} d="{escape(lines[0])}"/>'
    return f'<g id="{escape(part_id(part, name))}">{drawn}</g>' if name else drawn
