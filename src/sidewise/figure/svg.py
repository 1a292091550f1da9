"""A composed plate as one SVG text, for notes, print and pictures; pages may loop over the shapes
instead.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from html import escape
from itertools import groupby
from pathlib import Path

from sidewise.figure.compose import Composed, Letter, Shape, Signed, Target
from sidewise.figure.leaders import Leader, with_columns
from sidewise.figure.paint import COLOURS, STROKE, attributes

STYLE = Path(__file__).parent / "static" / "sidewise" / "figure.css"


def svg(
    plate: Composed,
    *,
    title: str = "",
    styled: bool = False,
    leaders: tuple[Leader, ...] = (),
    shared: set[str] | None = None,
) -> str:
    """The plate as SVG. `styled`: colours written in, for readers without the style sheet `STYLE`.

    The title and the list of what is marked are in the picture's own title and description.
    shared: ids of parts that stand in the document already; a part is written once and referred
    to afterwards, which halves a plate of two alike arms. Places to press are then left out.
    """
    left, top, width, height = with_columns(plate) if leaders else plate.frame
    inner = dict(zip(("x", "y", "width", "height"), plate.frame, strict=True))
    # Drawing ends at its own frame; labels stand beside it.
    place = " ".join(f'{name}="{value:g}"' for name, value in inner.items())
    parts = [
        '<svg xmlns="http://www.w3.org/2000/svg" class="fig" role="img" '
        f'viewBox="{left:g} {top:g} {width:g} {height:g}">',
        f"<title>{escape(title or plate.title)}</title>",
        f"<desc>{escape('; '.join(plate.words) or 'Nothing is marked.')}</desc>",
        f'<svg {place} viewBox="{plate.view_box}">',
        *(groups(plate.shapes, styled) if shared is None else once(plate, shared)),
        *(target(where) for where in plate.targets if not styled and shared is None),
        "</svg>",
        *(leader(line) for line in leaders),
        *(mark(signed, styled) for signed in plate.signs),
        *(letter(said) for said in plate.letters),
        "</svg>",
    ]
    return "".join(parts)


def classes(kind: str) -> str:
    """A shape's kind as classes of the style sheet."""
    return " ".join(f"fig-{word}" for word in kind.split())


def groups(shapes: tuple[Shape, ...], standalone: bool) -> Iterator[str]:
    """Shapes of one kind that follow each other share their attributes."""
    drawn = (shape for shape in shapes if shape.path)
    for (kind, mirrored), alike in groupby(drawn, key=lambda s: (s.kind, s.mirrored)):
        mirror = ' transform="scale(-1 1)"' if mirrored else ""
        painted = attributes(kind, standalone=standalone)
        yield f'<g class="{classes(kind)}"{mirror} {painted}>'
        yield from (path(shape) for shape in alike)
        yield "</g>"


def once(plate: Composed, shared: set[str]) -> Iterator[str]:
    """Each part of the plate, written where it is met first and referred to afterwards."""
    for part, shapes in plate.laid:
        mirror = ' transform="scale(-1 1)"' if part.mirrored else ""
        name = f"fig-{part.sheet}-{part.id}-{part.kind}".replace(" ", "-")
        if name in shared:
            yield f'<use href="#{name}"{mirror}/>'
            continue
        shared.add(name)
        plain = tuple(replace(shape, mirrored=False) for shape in shapes)
        # A rule of the page's style does not reach what is only referred to.
        painted = "".join(groups(plain, standalone=False)).replace("<path", f"<path {STROKE}")
        written = f'<g id="{name}">{painted}</g>'
        yield f"<g{mirror}>{written}</g>" if mirror else written


def path(shape: Shape) -> str:
    """One shape."""
    named = shape.name and not shape.kind.endswith("lines")
    name = f' data-name="{escape(shape.name)}"' if named else ""
    return f'<path{name} d="{escape(shape.path)}"/>'


def target(place: Target) -> str:
    """A place to press."""
    mirror = ' transform="scale(-1 1)"' if place.mirrored else ""
    label = escape(place.label)
    whose = f'data-place="{place.place}" data-side="{place.side}"'
    return (
        f'<path class="fig-target" fill="transparent" {whose}{mirror} d="{escape(place.path)}">'
        f"<title>{label}</title></path>"
    )


def leader(line: Leader) -> str:
    """A line to a label beside the figure."""
    label = Letter(
        line.target.label,
        line.to_x + (4 if line.anchor == "start" else -4),
        line.to_y + 5,
        line.anchor,
    )
    line_style = 'fill="none" stroke="currentColor" stroke-width="1"'
    return f'<path class="fig-leader" {line_style} d="{line.path}"/>{letter(label, 15)}'


def mark(signed: Signed, styled: bool) -> str:
    """A sign with its letter beside it."""
    kind = "fig-sign fig-filled" if signed.filled else "fig-sign"
    ink = COLOURS["ink"]
    fill = ink if signed.filled else "none"
    style = f' fill="{fill}" stroke="{ink}" stroke-width="3"' if styled else ""
    drawn = f'<path class="{kind}"{style} d="{signed.path}"/>'
    x, y = signed.letter_at
    return drawn + (letter(Letter(signed.letter, x, y)) if signed.letter else "")


def letter(said: Letter, size: float | None = None) -> str:
    """Words on the picture."""
    return (
        f'<text x="{said.x:g}" y="{said.y:g}" text-anchor="{said.anchor}" font-family="sans-serif" '
        f'font-size="{size or said.size:g}">{escape(said.text)}</text>'
    )
