"""Signs drawn where something was found. Every sign differs in shape, so that none needs colour.

Tender: one to three wedges that press on the place from above, one per grade; filled where the
pain is
the patient's own, open where it is not. Swollen: a dome with a flat foot. Wasted: the same dome
upside
down. Step: a line that drops. Red or warm: three short waves. Scar: a line with a dot at each end.
Pain: an eight-sided star shape with a hollow middle. Anything else found: a triangle on its tip.
Examined and normal: a short level line. What was not examined has no sign. What was drawn with the
finger is shown as it was drawn, an outline with its sign in the middle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from sidewise.errors import UserError

MARK_KINDS = ("tender", "swollen", "wasted", "step", "red", "scar", "pain", "other", "normal")
SIDES = ("right", "left", "midline")
SIZE = 18.0
"""Units of the drawing (half-millimetres) from the middle of a sign to its edge."""


@dataclass(frozen=True, slots=True)
class Mark:
    """Something found: its `kind`, whose `side`, at which `place` (or a free point `at`, units),
    and in `words`.

    `grade` 1 to 3 for tenderness; `own` where the pain is the one the patient came with. `line`:
    points drawn with the finger, units of `view`; without a view it is drawn on any plate.
    """

    kind: str
    side: str
    words: str
    place: str = ""
    at: tuple[float, float] | None = None
    grade: int = 1
    own: bool = False
    line: tuple[tuple[float, float], ...] = ()
    view: str = ""

    def __post_init__(self) -> None:
        if self.kind not in MARK_KINDS:
            raise UserError("mark", self.kind, f"one of {', '.join(MARK_KINDS)}")
        if self.side not in SIDES:
            raise UserError("side", self.side, f"one of {', '.join(SIDES)}")
        if self.kind == "tender" and not 1 <= self.grade <= 3:
            raise UserError(
                "grade", self.grade, "1, 2 or 3", "What is not tender is marked as normal."
            )
        if not self.place and self.at is None:
            raise UserError("mark", self.words, "a place or a point")


def line_points(text: str) -> tuple[tuple[float, float], ...]:
    """The points of "x,y x,y ..."."""
    pairs = (pair.split(",") for pair in text.split())
    return tuple((float(x), float(y)) for x, y in pairs)


def middle_of(line: tuple[tuple[float, float], ...]) -> tuple[float, float]:
    """The middle of a line's points."""
    xs, ys = zip(*line, strict=True)
    return (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2


def sign(mark: Mark, x: float, y: float, size: float = SIZE) -> str:
    """The sign's SVG path commands about a point of the page."""
    if len(mark.line) > 1:
        stroke = "M" + "L".join(f"{n(a)} {n(b)}" for a, b in mark.line)
        if mark.kind == "scar":
            ends = "".join(dot(a, b, size / 5) for a, b in (mark.line[0], mark.line[-1]))
            return stroke + ends
        return stroke + "z" + _sign(mark, x, y, size * 0.7)
    return _sign(mark, x, y, size)


def _sign(mark: Mark, x: float, y: float, size: float) -> str:
    drawn = {
        "tender": lambda: wedges(x, y, size, mark.grade),
        "swollen": lambda: f"M{n(x - size)} {n(y)}a{n(size)} {n(size)} 0 0 1 {n(2 * size)} 0z",
        "wasted": lambda: f"M{n(x - size)} {n(y)}a{n(size)} {n(size)} 0 0 0 {n(2 * size)} 0z",
        "step": lambda: f"M{n(x - size)} {n(y - size / 2)}h{n(size)}v{n(size)}h{n(size)}",
        "red": lambda: "".join(wave(x, y + k * size / 2, size) for k in (-1, 0, 1)),
        "scar": lambda: scar(x, y, size),
        "pain": lambda: star(x, y, size),
        "other": lambda: f"M{n(x)} {n(y + size)}L{n(x - size)} {n(y - size * 0.7)}h{n(2 * size)}z",
        "normal": lambda: f"M{n(x - size / 2)} {n(y)}h{n(size)}",
    }
    return drawn[mark.kind]()


def filled(mark: Mark) -> bool:
    """Whether the sign is filled rather than open."""
    if len(mark.line) > 1:
        return False
    return mark.kind in ("swollen", "scar") or (mark.kind == "tender" and mark.own)


def wedges(x: float, y: float, size: float, grade: int) -> str:
    """As many wedges as the grade, tips on the place, fanned out above it."""
    spread = {1: (0.0,), 2: (-24.0, 24.0), 3: (-45.0, 0.0, 45.0)}[grade]
    return "".join(wedge(x, y, size, angle) for angle in spread)


def wedge(x: float, y: float, size: float, degrees: float) -> str:
    """One wedge, pointing at the place from `degrees` off straight above."""
    corners = [
        turned(x, y, px * size, py * size, degrees)
        for px, py in ((0, -0.15), (-0.36, -1.5), (0.36, -1.5))
    ]
    return "M" + "L".join(f"{n(a)} {n(b)}" for a, b in corners) + "z"


def turned(x: float, y: float, dx: float, dy: float, degrees: float) -> tuple[float, float]:
    """A point about (x, y), turned."""
    angle = math.radians(degrees)
    return x + dx * math.cos(angle) - dy * math.sin(angle), y + dx * math.sin(
        angle
    ) + dy * math.cos(angle)


def wave(x: float, y: float, size: float) -> str:
    """One wave of a line."""
    half = n(size)
    return f"M{n(x - size)} {n(y)}q{n(size / 2)} {n(-size / 2)} {half} 0t{half} 0"


def scar(x: float, y: float, size: float) -> str:
    """A slanting stroke with a dot at each end."""
    dots = "".join(dot(x + k * size, y - k * size / 2, size / 6) for k in (-1, 1))
    return f"{dots}M{n(x - size)} {n(y + size / 2)}L{n(x + size)} {n(y - size / 2)}"


def dot(x: float, y: float, reach: float) -> str:
    """A small round."""
    r = n(reach)
    return f"M{n(x - reach)} {n(y)}a{r} {r} 0 1 0 {n(2 * reach)} 0a{r} {r} 0 1 0{n(-2 * reach)} 0"


def star(x: float, y: float, size: float) -> str:
    """Eight short rays about an empty middle."""
    rays = []
    for k in range(8):
        (a, b), (c, d) = (turned(x, y, 0, -reach * size, 45.0 * k) for reach in (0.45, 1.0))
        rays.append(f"M{n(a)} {n(b)}L{n(c)} {n(d)}")
    return "".join(rays)


def n(value: float) -> str:
    """A number with at most one decimal."""
    return f"{round(value, 1) + 0.0:g}"
