"""A sheet of plates as one picture, for the documentation. Needs CairoSVG and Pillow."""

from __future__ import annotations

import io
from pathlib import Path

import cairosvg
from PIL import Image

from sidewise.figure import Arms, Atlas, Composed, Mark, compose, leaders, load_atlas
from sidewise.figure.svg import svg

HEIGHT = 520
WIDTH = 2200


def tiles(atlas: Atlas) -> list[Image.Image]:
    """The plates of the sheet, in reading order."""
    pick = atlas.choose
    hanging = Arms()
    stiff = Arms(pick("abduction", 170.0), pick("abduction", 75.0, hitching=True))
    behind = Arms(pick("hand behind back", "T7"), pick("hand behind back", "L5"))
    turned = Arms(pick("rotation at side", 60.0), pick("rotation at 90", 75.0))
    ahead = Arms(pick("flexion", 120.0), pick("flexion", 120.0))
    marks = (
        Mark("tender", "right", "right coracoid: tender", "coracoid", grade=2, own=True),
        Mark("swollen", "right", "right acromioclavicular joint: swollen", "acj"),
    )
    plates = [
        compose(atlas, "front", hanging),
        compose(atlas, "back", hanging),
        compose(atlas, "right side", hanging),
        compose(atlas, "front", hanging, layers=("bones", "superficial")),
        compose(atlas, "back", hanging, layers=("bones", "superficial")),
        compose(atlas, "front", hanging, layers=("bones", "deep")),
        compose(atlas, "back", hanging, layers=("bones", "deep")),
        compose(atlas, "front", hanging, layers=("nerves",)),
        compose(atlas, "back", stiff),
        compose(atlas, "front", turned),
        compose(atlas, "back", behind),
        compose(atlas, "left side", ahead, layers=("bones", "superficial")),
        compose(atlas, "right raised armpit"),
    ]
    close = compose(atlas, "right close-up front", layers=("bones", "landmarks"), marks=marks)
    return [*(painted(plate) for plate in plates), painted(close, labelled=True)]


def painted(plate: Composed, *, labelled: bool = False) -> Image.Image:
    """One plate as a picture."""
    beside = leaders(plate, 640, every=True) if labelled else ()
    drawn = cairosvg.svg2png(
        svg(plate, styled=True, leaders=beside).encode(),
        output_height=HEIGHT,
        background_color="white",
    )
    return Image.open(io.BytesIO(drawn)).convert("RGB")


def sheet(folder: Path, to: Path) -> None:
    """Writes the sheet: rows as wide as WIDTH allows, few colours so that it stays small."""
    rows: list[list[Image.Image]] = [[]]
    for tile in tiles(load_atlas(folder)):
        if sum(other.width for other in rows[-1]) + tile.width > WIDTH:
            rows.append([])
        rows[-1].append(tile)
    page = Image.new("RGB", (WIDTH, HEIGHT * len(rows)), "white")
    for number, row in enumerate(rows):
        left = (WIDTH - sum(tile.width for tile in row)) // 2
        for tile in row:
            page.paste(tile, (left, number * HEIGHT))
            left += tile.width
    page.resize((page.width * 3 // 4, page.height * 3 // 4)).quantize(
        48, dither=Image.Dither.NONE
    ).save(to, optimize=True)
