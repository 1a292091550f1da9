"""A few shapes that draw themselves as SVG and as PNG, so that both pictures are the same one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal
from xml.sax.saxutils import escape, quoteattr

from sidewise.ground.extras import require_extra

PAPER, INK, QUIET, GHOST, RULE, ACCENT, ACCENT_SOFT = (
    "#fcfaf5",
    "#22302f",
    "#6a7472",
    "#e6dfd0",
    "#cfc8b8",
    "#1d6a72",
    "#bcd9d8",
)
DARK = {
    PAPER: "#24211e", INK: "#ede8de", QUIET: "#b9b1a3", GHOST: "#3a352f", RULE: "#5a5348",
    ACCENT: "#8cc9c4", ACCENT_SOFT: "#2f5451",
}  # fmt: skip
"""The same colours in a dark room; the ones of the pages."""
FONT = "system-ui, 'Segoe UI', 'Noto Sans', 'DejaVu Sans', sans-serif"
DPI = 144
WIDTH, MARGIN = 960.0, 40.0
Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True)
class Place:
    """A point of a picture: x to the right, y downwards, in CSS pixels."""

    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Area:
    """A filled outline; `edge` draws its rim in a colour."""

    points: tuple[Place, ...]
    fill: str
    edge: str = ""
    opacity: float = 1.0


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through points, solid or dashed."""

    points: tuple[Place, ...]
    colour: str = INK
    width: float = 1.0
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Dot:
    """A round mark: open, or filled."""

    at: Place
    radius: float
    fill: str
    edge: str = INK


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text whose baseline starts, ends or has its middle at a place."""

    text: str
    at: Place
    size: float = 13
    colour: str = INK
    anchor: Anchor = "start"
    bold: bool = False


Shape = Area | Stroke | Dot | Words


@dataclass(frozen=True)
class Picture:
    """Shapes on paper, with the title and the description that a screen reader says."""

    width: float
    height: float
    title: str
    description: str
    shapes: tuple[Shape, ...]


@dataclass(frozen=True, slots=True)
class Block:
    """Shapes and the height they take."""

    shapes: tuple[Shape, ...]
    height: float


def rectangle(x: float, y: float, width: float, height: float, fill: str, edge: str = "") -> Area:
    """A rectangle as an area."""
    corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
    return Area(tuple(Place(*corner) for corner in corners), fill, edge)


def diamond(at: Place, radius: float, fill: str, edge: str = INK) -> Area:
    """A square standing on its corner: differs from a dot by shape, not by colour alone."""
    r = radius * 1.25
    corners = ((0, -r), (r, 0), (0, r), (-r, 0))
    return Area(tuple(Place(at.x + dx, at.y + dy) for dx, dy in corners), fill, edge)


def line(
    x1: float, y1: float, x2: float, y2: float, colour: str = INK, width: float = 1.0
) -> Stroke:
    """A straight line."""
    return Stroke((Place(x1, y1), Place(x2, y2)), colour, width)


def wrapped(text: str, letters: int) -> tuple[str, ...]:
    """The text in lines of at most `letters` letters."""
    from textwrap import wrap

    return tuple(wrap(text, letters, break_long_words=False)) or ("",)


def svg(picture: Picture, *, in_the_dark: bool = False) -> str:
    """The picture as one SVG document with a title and a description.

    `in_the_dark`: it turns dark by itself where the reader's screen is; for a picture that stands
    alone in an image, since its style would hold for a whole page.
    """
    size = f'width="{picture.width:g}" height="{picture.height:g}"'
    box = f'viewBox="0 0 {picture.width:g} {picture.height:g}"'
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" {box} {size} role="img" '
        f'aria-labelledby="picture-title picture-words" font-family={quoteattr(FONT)}>\n'
        f'<title id="picture-title">{escape(picture.title)}</title>\n'
        f'<desc id="picture-words">{escape(picture.description)}</desc>\n'
    )
    paper = _svg_shape(rectangle(0, 0, picture.width, picture.height, PAPER))
    return (
        head
        + (_dark_style() if in_the_dark else "")
        + "\n".join([paper, *(_svg_shape(shape) for shape in picture.shapes)])
        + "\n</svg>\n"
    )


def _dark_style() -> str:
    rules = "".join(
        f'[{name}="{light}"]{{{name}:{dark}}}'
        for light, dark in DARK.items()
        for name in ("fill", "stroke")
    )
    # Print stays light: the rule is for screens.
    return f"<style>@media screen and (prefers-color-scheme:dark){{{rules}}}</style>\n"


def write_picture(picture: Picture, path: Path) -> None:
    """The picture in a file, SVG or PNG by its ending (checked by the caller)."""
    if path.suffix.lower() == ".svg":
        path.write_text(svg(picture), encoding="utf-8")
    else:
        _write_png(picture, path)


def _svg_shape(shape: Shape) -> str:
    match shape:
        case Area(points, fill, edge, opacity):
            rim = f' stroke="{edge}" stroke-width="1.2"' if edge else ""
            clear = f' fill-opacity="{opacity:g}"' if opacity < 1 else ""
            return f'<polygon points="{_list(points)}" fill="{fill}"{clear}{rim}/>'
        case Stroke(points, colour, width, dashed):
            dash = ' stroke-dasharray="4 3"' if dashed else ""
            return (
                f'<polyline points="{_list(points)}" fill="none" stroke="{colour}" '
                f'stroke-width="{width:g}" stroke-linejoin="round"{dash}/>'
            )
        case Dot(at, radius, fill, edge):
            return (
                f'<circle cx="{at.x:.1f}" cy="{at.y:.1f}" r="{radius:g}" fill="{fill}" '
                f'stroke="{edge}" stroke-width="1.6"/>'
            )
        case Words(text, at, size, colour, anchor, bold):
            weight = ' font-weight="600"' if bold else ""
            return (
                f'<text x="{at.x:.1f}" y="{at.y:.1f}" font-size="{size:g}" fill="{colour}" '
                f'text-anchor="{anchor}"{weight} font-variant-numeric="tabular-nums">'
                f"{escape(text)}</text>"
            )


def _list(points: Sequence[Place]) -> str:
    return " ".join(f"{point.x:.1f},{point.y:.1f}" for point in points)


def _write_png(picture: Picture, path: Path) -> None:
    require_extra("pictures", path.name)
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(picture.width / 96, picture.height / 96), dpi=DPI, facecolor=PAPER)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0, 0, 1, 1), xlim=(0, picture.width), ylim=(picture.height, 0))
    axes.set_axis_off()
    for order, shape in enumerate(picture.shapes):
        _png_shape(axes, shape, order)
    figure.savefig(path, metadata={"Title": picture.title, "Description": picture.description})


POINTS = 72 / 96  # A CSS pixel in typographic points.


def _png_shape(axes: Any, shape: Shape, order: int) -> None:
    from matplotlib.patches import Circle, Polygon

    match shape:
        case Area(points, fill, edge, opacity):
            xy = [(point.x, point.y) for point in points]
            axes.add_patch(
                Polygon(
                    xy,
                    closed=True,
                    facecolor=fill,
                    alpha=opacity,
                    edgecolor="none",
                    linewidth=0,
                    zorder=order,
                )
            )
            if edge:
                axes.add_patch(
                    Polygon(
                        xy,
                        closed=True,
                        fill=False,
                        edgecolor=edge,
                        linewidth=1.2 * POINTS,
                        zorder=order,
                    )
                )
        case Stroke(points, colour, width, dashed):
            style = (0, (4, 3)) if dashed else "-"
            axes.plot(
                [p.x for p in points],
                [p.y for p in points],
                color=colour,
                zorder=order,
                linewidth=width * POINTS,
                linestyle=style,
                solid_joinstyle="round",
            )
        case Dot(at, radius, fill, edge):
            axes.add_patch(
                Circle(
                    (at.x, at.y),
                    radius,
                    facecolor=fill,
                    edgecolor=edge,
                    linewidth=1.6 * POINTS,
                    zorder=order,
                )
            )
        case Words(text, at, size, colour, anchor, bold):
            where = {"start": "left", "middle": "center", "end": "right"}[anchor]
            # A dollar sign would start mathematics.
            axes.text(
                at.x,
                at.y,
                text.replace("$", r"\$"),
                fontsize=size * POINTS * 0.94,
                color=colour,
                ha=where,
                va="baseline",
                zorder=order,
                fontweight="bold" if bold else "normal",
            )
