"""Sheets of named parts: every part that a plate lays is there; nothing but drawings; small."""

from __future__ import annotations

import gzip
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

from sidewise.figure import LAYERS, Arms, Atlas, compose
from sidewise.figure.compose import SEEN_FROM
from sidewise.figure.sheets import _half, fingerprint, part_id, sheet_names
from tests.figure.conftest import every_choice

SVG = "{http://www.w3.org/2000/svg}"


def test_every_drawing_has_its_sheet_and_all_are_small(atlas: Atlas) -> None:
    texts = {name: write() for name, write in sheet_names(atlas).items()}
    assert len(texts) == 3 * 73 + 3 + 4
    assert max(len(text) for text in texts.values()) <= 40_000
    assert sum(len(gzip.compress(text.encode())) for text in texts.values()) <= 1_500_000
    for text in texts.values():
        assert "style=" not in text
        assert "<script" not in text


def test_every_part_of_every_plate_is_in_its_sheet(atlas: Atlas) -> None:
    sheets = sheet_names(atlas)
    ids = {
        name: {
            one.attrib["id"] for one in ElementTree.fromstring(write()).iter() if "id" in one.attrib
        }
        for name, write in sheets.items()
    }
    swept = 0
    plates = [compose(atlas, view, layers=LAYERS) for view in SEEN_FROM]
    plates += [
        compose(atlas, view, Arms(one, one), layers=LAYERS, ghost={"left": one})
        for view in ("front", "back", "left side")
        for one in every_choice(atlas)
    ]
    for plate in plates:
        for part, shapes in plate.laid:
            assert part.id in ids[part.sheet], (part.sheet, part.id)
            for shape in shapes:
                if shape.name and shape.path and part.layer not in ("landmarks", ""):
                    assert part_id(part.id, shape.name) in ids[part.sheet]
                    swept += 1
    assert swept > 3_000


def test_colours_are_named_so_that_a_page_can_set_them(atlas: Atlas) -> None:
    text = sheet_names(atlas)["front-rest-0"]()
    assert "var(--fig-bone, #f1e8d0)" in text
    plain = [
        value for value in re.findall(r'(?:fill|stroke)="([^"]+)"', text) if "var(" not in value
    ]
    assert set(plain) == {"none"}


def test_the_fingerprint_is_of_the_drawings(atlas: Atlas) -> None:
    assert re.fullmatch(r"[0-9a-f]{16}", fingerprint(atlas))
    assert fingerprint(atlas) == fingerprint(atlas)


def test_what_stands_in_an_atlas_is_never_markup(atlas: Atlas) -> None:
    """A region of somebody else's may bring drawings: they stay what an attribute holds."""
    half = replace(atlas.half("front", atlas.rest), outline='M0 0"/><script>alert(1)</script>')
    written = "".join(_half(half))
    assert "<script" not in written
    assert "&quot;/&gt;&lt;script&gt;" in written
