"""A plate put together: both sides each in a posture of its own, layers, places to press, signs
and words.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from sidewise.errors import UserError
from sidewise.figure.atlas import Atlas, Half, Named, Trunk, file_part
from sidewise.figure.choose import REST, Choice
from sidewise.figure.marks import SIZE, Mark, filled, sign

LAYERS = ("bones", "superficial", "deep", "nerves", "landmarks")
"""What can be shown upon the skin, from below."""
OTHER = {"right": "left", "left": "right"}
BELOW = -340
"""Where a plate of the body ends below, at the waist."""
BELOW_BACK = -60
"""The same where a hand lies behind the back: at the hips."""
MARGIN = 24
PAIRED = ("front", "back")
"""Views that show both sides."""


@dataclass(frozen=True, slots=True)
class Arms:
    """The posture of each arm."""

    right: Choice = REST
    left: Choice = REST

    def of(self, side: str) -> Choice:
        """One arm's."""
        return self.right if side == "right" else self.left


HANGING = Arms()


@dataclass(frozen=True, slots=True)
class Shape:
    """One path with its class, its name, and whether it is mirrored."""

    kind: str
    name: str
    path: str
    mirrored: bool = False

    @property
    def transform(self) -> str:
        """For a template: empty, or the mirror."""
        return "scale(-1 1)" if self.mirrored else ""


@dataclass(frozen=True, slots=True)
class SheetPart:
    """A part of a sheet (`figure.sheets`) laid on the plate: what a page fetches once and keeps.

    `layer` is one of LAYERS, or empty for what is always drawn.
    """

    sheet: str
    id: str
    layer: str
    kind: str
    side: str
    mirrored: bool

    @property
    def transform(self) -> str:
        """For a template: empty, or the mirror."""
        return "scale(-1 1)" if self.mirrored else ""


@dataclass(frozen=True, slots=True)
class Target:
    """A place to press on one side: its path, its best point on the page, and the room round that
    point.
    """

    place: str
    side: str
    label: str
    path: str
    x: float
    y: float
    room: int
    mirrored: bool

    @property
    def transform(self) -> str:
        """For a template: empty, or the mirror."""
        return "scale(-1 1)" if self.mirrored else ""


@dataclass(frozen=True, slots=True)
class Letter:
    """Words that belong to the picture, at a point of the page; `anchor` as SVG's text-anchor.

    `size`: of the letters, units.
    """

    text: str
    x: float
    y: float
    anchor: str = "middle"
    size: float = 24.0


@dataclass(frozen=True, slots=True)
class Signed:
    """A mark where it is drawn."""

    mark: Mark
    path: str
    x: float
    y: float
    filled: bool
    size: float = SIZE

    @property
    def letter(self) -> str:
        """R or L beside the sign; empty on the midline."""
        return "" if self.mark.side == "midline" else self.mark.side[0].upper()

    @property
    def letter_at(self) -> tuple[float, float]:
        """Where that letter stands."""
        return self.x + 1.4 * self.size, self.y + 1.1 * self.size


@dataclass(frozen=True, slots=True)
class Composed:
    """A plate: frame (left, top, width, height; half-millimetres), what is laid on it from below
    to above, as parts of sheets and as shapes, and words.
    """

    view: str
    frame: tuple[float, float, float, float]
    laid: tuple[tuple[SheetPart, tuple[Shape, ...]], ...]
    targets: tuple[Target, ...]
    letters: tuple[Letter, ...]
    signs: tuple[Signed, ...]
    words: tuple[str, ...]

    @property
    def shapes(self) -> tuple[Shape, ...]:
        """Every shape, from below to above."""
        return tuple(shape for _, shapes in self.laid for shape in shapes)

    @property
    def parts(self) -> tuple[SheetPart, ...]:
        """Every part of a sheet, from below to above."""
        return tuple(part for part, _ in self.laid)

    @property
    def view_box(self) -> str:
        """For SVG."""
        return " ".join(f"{value:g}" for value in self.frame)

    @property
    def title(self) -> str:
        """What the picture is, in a sentence."""
        return f"Body seen from {SEEN_FROM[self.view]}."


SEEN_FROM = {
    "front": "the front",
    "back": "behind",
    "right side": "the right",
    "left side": "the left",
    "right close-up front": "the front: right, close up",
    "left close-up front": "the front: left, close up",
    "right close-up back": "behind: right, close up",
    "left close-up back": "behind: left, close up",
    "right close-up side": "the side: right, close up",
    "left close-up side": "the side: left, close up",
    "right raised armpit": "below: raised right armpit",
    "left raised armpit": "below: raised left armpit",
}
"""Every view there is to compose, and how it is spoken of."""


def compose(
    atlas: Atlas,
    view: str,
    arms: Arms = HANGING,
    *,
    layers: tuple[str, ...] = ("bones",),
    marks: tuple[Mark, ...] = (),
    ghost: Mapping[str, Choice] | None = None,
    unmeasured: tuple[str, ...] = (),
) -> Composed:
    """A plate of `view` (one of SEEN_FROM), both arms in their postures, with `layers` of LAYERS.

    ghost: by side, postures laid over it as a broken outline (what an arm reached passively).
    unmeasured: sides that are drawn as a dotted outline without bones, since nothing is known of
    them.

    UserError where the view or a layer is unknown, or a mark names a place that the atlas does
    not have.
    """
    if view not in SEEN_FROM:
        raise UserError("view", view, f"one of {', '.join(SEEN_FROM)}")
    for layer in layers:
        if layer not in LAYERS:
            raise UserError("layer", layer, f"one of {', '.join(LAYERS)}")
    for mark in marks:
        if mark.place and mark.place not in atlas.places:
            raise UserError("place", mark.place, f"one of {', '.join(sorted(atlas.places))}")
    sheet = _sheet(atlas, view, arms)
    over = _ghosts(atlas, view, ghost or {})
    frame = sheet.frame(over)
    targets = tuple(sheet.targets())
    return Composed(
        view,
        frame,
        tuple(sheet.laid(layers, unmeasured, over)),
        targets,
        tuple(sheet.letters(frame)),
        tuple(_signs(marks, targets, sheet, frame)),
        tuple(_words(sheet, marks, over, unmeasured)),
    )


def _ghosts(atlas: Atlas, view: str, ghost: Mapping[str, Choice]) -> tuple[_Laid, ...]:
    over = _sheet(atlas, view, Arms(ghost.get("right", REST), ghost.get("left", REST)))
    return tuple(laid for laid in over.halves if laid.side in ghost)


def halves_of(atlas: Atlas, view: str, arms: Arms = HANGING) -> Iterator[tuple[str, Half, bool]]:
    """Each side that a view shows: its drawing, and whether it is mirrored."""
    for laid in _sheet(atlas, view, arms).halves:
        yield laid.side, laid.half, laid.mirrored


def sheet_name(view: str, choice: Choice) -> str:
    """The name under which a posture's drawing from a view is fetched."""
    at = choice.shown if isinstance(choice.shown, str) else f"{choice.shown:g}"
    return f"{view}-{file_part(choice.drawn)}-{at}"


@dataclass(frozen=True, slots=True)
class _Laid:
    """One side as it lies on a plate; `sheet` is the name it is fetched by."""

    side: str
    half: Half
    mirrored: bool
    choice: Choice
    sheet: str


Laying = tuple[SheetPart, tuple[Shape, ...]]


@dataclass(frozen=True, slots=True)
class _Sheet:
    """What is laid on a plate: its sides, and the trunk."""

    atlas: Atlas
    view: str
    halves: tuple[_Laid, ...]
    trunk: Trunk
    trunk_sheet: str
    fixed: tuple[int, int, int, int] | None = None

    @property
    def sides(self) -> tuple[str, ...]:
        return tuple(laid.side for laid in self.halves)

    @property
    def line_view(self) -> str:
        """The view in whose units something drawn with the finger is seen here too."""
        name = self.view.removeprefix("right ").removeprefix("left ")
        if name == "raised armpit":
            return "raised arm"
        if name in ("side", "close-up side"):
            return f"{self.sides[0]} side"
        return name.removeprefix("close-up ")

    def frame(self, over: tuple[_Laid, ...] = ()) -> tuple[float, float, float, float]:
        if self.fixed:
            x, y, right, bottom = _flipped(self.fixed, self.halves[0].mirrored)
            return x, y, right - x, bottom - y
        halves = [*self.halves, *over]
        boxes = [_flipped(laid.half.box, laid.mirrored) for laid in halves]
        behind = any(laid.choice.movement == "hand behind back" for laid in halves)
        left, right = min(b[0] for b in boxes) - MARGIN, max(b[2] for b in boxes) + MARGIN
        # Words stand above the hands.
        highest = min(b[1] for b in boxes)
        bottom = BELOW_BACK if behind else BELOW
        top = highest - MARGIN / 2 - 1.4 * letter_size(right - left, bottom - highest)
        return left, top, right - left, bottom - top

    def laid(
        self, layers: tuple[str, ...], unmeasured: tuple[str, ...], over: tuple[_Laid, ...]
    ) -> Iterator[Laying]:
        known = [laid for laid in self.halves if laid.side not in unmeasured]
        for laid in self.halves:
            yield self._part(laid, "skin", "", "skin", (("", laid.half.fill, ""),))
        if "nerves" in layers:
            yield from self._each(known, "nerves", "nerve", "nerves")
        if "bones" in layers:
            yield from self._bones(known)
        for layer in ("deep", "superficial"):
            if layer in layers:
                yield from self._each(known, layer, layer, layer)
        for laid in self.halves:
            if laid in known:
                yield self._part(laid, "rim", "", "outline", (("", laid.half.outline, ""),))
                yield self._part(laid, "folds", "", "crease", (("", laid.half.crease, ""),))
            else:
                yield self._part(laid, "rim", "", "unmeasured", (("", laid.half.outline, ""),))
        for laid in over:
            yield self._part(laid, "rim", "", "ghost", (("", laid.half.outline, ""),))
        if "landmarks" in layers:
            for laid in known:
                yield self._part(laid, "landmarks", "landmarks", "landmark", crosses(laid.half))

    def _bones(self, known: list[_Laid]) -> Iterator[Laying]:
        yield from self._each(known, "under", "bone", "bones")
        for mirrored in dict.fromkeys(laid.mirrored for laid in self.halves):
            yield self._trunk("trunk", self.trunk.half, mirrored)
        # Seen from both sides the midline is drawn once; a mirrored single side mirrors it too.
        alone = len(self.halves) == 1 and self.halves[0].mirrored
        yield self._trunk("midline", self.trunk.middle, alone)
        yield from self._each(known, "over", "bone", "bones")

    def _trunk(self, id: str, rows: tuple[tuple[str, str], ...], mirrored: bool) -> Laying:
        shapes = tuple(Shape("bone trunk", name, path, mirrored) for name, path in rows)
        return SheetPart(self.trunk_sheet, id, "bones", "bone trunk", "", mirrored), shapes

    def _each(self, known: list[_Laid], part: str, kind: str, layer: str) -> Iterator[Laying]:
        for laid in known:
            yield self._part(laid, part, layer, kind, getattr(laid.half, part))

    def _part(
        self, laid: _Laid, id: str, layer: str, kind: str, rows: tuple[tuple[str, ...], ...]
    ) -> Laying:
        shapes = tuple(shape for row in rows for shape in _both(kind, row, laid.mirrored))
        return SheetPart(laid.sheet, id, layer, kind, laid.side, laid.mirrored), shapes

    def targets(self) -> Iterator[Target]:
        done = set()
        for laid in self.halves:
            side, mirrored = laid.side, laid.mirrored
            for name, region in laid.half.regions.items():
                place = self.atlas.places[name]
                if place.middle and name in done:
                    continue
                done.add(name)
                whose = "midline" if place.middle else side
                label = (
                    place.label
                    if place.middle or len(self.halves) == 1
                    else f"{side} {place.label}"
                )
                x = -region.at[0] if mirrored else region.at[0]
                yield Target(
                    name, whose, label, region.path, x, region.at[1], region.room, mirrored
                )

    def letters(self, frame: tuple[float, float, float, float]) -> Iterator[Letter]:
        left, top, width, height = frame
        size = letter_size(width, height)
        if len(self.halves) == 1:
            words = f"patient's {self.halves[0].side}"
            yield Letter(words, left + width / 2, top + size, size=size)
            return
        first = self.page_left
        edge = size / 3
        yield Letter(f"patient's {first}", left + edge, top + size, "start", size)
        yield Letter(f"patient's {OTHER[first]}", left + width - edge, top + size, "end", size)

    @property
    def page_left(self) -> str:
        return "left" if self.view == "back" else "right"


def letter_size(width: float, height: float) -> float:
    """Of words on a plate of this size (units)."""
    return min(max(width, height) / 34, width / 17)


def crosses(half: Half) -> tuple[Named, ...]:
    """A small cross for each landmark felt from this side."""
    points = ((name, half.landmarks[name]) for name in sorted(half.felt))
    return tuple((name, f"M{x - 5} {y}h10m-5-5v10", "") for name, (x, y) in points)


def _sheet(atlas: Atlas, view: str, arms: Arms) -> _Sheet:
    if view in PAIRED:
        halves = tuple(
            _Laid(
                side,
                atlas.half(view, arms.of(side)),
                side == "left",
                arms.of(side),
                sheet_name(view, arms.of(side)),
            )
            for side in ("right", "left")
        )
        return _Sheet(atlas, view, halves, atlas.trunk(view), f"trunk-{view}")
    side, _, rest = view.partition(" ")
    if rest == "side":
        choice = arms.of(side)
        half = atlas.half("side", choice)
        laid = _Laid(side, half, side == "left", choice, sheet_name("side", choice))
        return _Sheet(atlas, view, (laid,), atlas.trunk("side"), "trunk-side")
    close, name = atlas.close_up(rest), file_part(rest)
    laid = _Laid(side, close.half, side == "left", REST, name)
    return _Sheet(atlas, view, (laid,), close.trunk, name, close.frame)


def _flipped(box: tuple[int, int, int, int], mirrored: bool) -> tuple[int, int, int, int]:
    left, top, right, bottom = box
    return (-right, top, -left, bottom) if mirrored else box


def _both(kind: str, row: tuple[str, ...], mirrored: bool) -> Iterator[Shape]:
    yield Shape(kind, row[0], row[1], mirrored)
    if len(row) == 3 and row[2]:
        yield Shape(f"{kind} lines", row[0], row[2], mirrored)


def _signs(
    marks: tuple[Mark, ...],
    targets: tuple[Target, ...],
    sheet: _Sheet,
    frame: tuple[float, float, float, float],
) -> Iterator[Signed]:
    """Marks whose place is seen on this plate; several on one place stand side by side."""
    where = {(target.place, target.side): target for target in targets}
    taken: dict[tuple[str, str], int] = {}
    # A sign is never smaller on a plate of the whole body than can be told apart.
    size = min(2 * SIZE, max(SIZE, SIZE * frame[2] / 560))
    for mark in marks:
        key = (mark.place, mark.side)
        if mark.at is not None and _is_seen(mark, sheet):
            x, y = mark.at
        elif mark.at is None and key in where:
            x, y = where[key].x + 2.2 * size * taken.get(key, 0), where[key].y
            taken[key] = taken.get(key, 0) + 1
        else:
            continue
        yield Signed(mark, sign(mark, x, y, size), x, y, filled(mark), size)


def _is_seen(mark: Mark, sheet: _Sheet) -> bool:
    """Whether a point of the page belongs to this plate."""
    if mark.side != "midline" and mark.side not in sheet.sides:
        return False
    return mark.view in ("", sheet.line_view)


def _words(
    sheet: _Sheet, marks: tuple[Mark, ...], over: tuple[_Laid, ...], unmeasured: tuple[str, ...]
) -> Iterator[str]:
    """The same in words: postures, then everything marked, whether or not it is seen on this
    plate.
    """
    for laid in sheet.halves:
        if laid.side in unmeasured:
            yield f"{laid.side}: not measured; its outline is dotted and says nothing"
        elif laid.choice is not REST:
            yield f"{laid.side}: {laid.choice.words}"
    for laid in over:
        yield f"{laid.side}, broken outline: {laid.choice.words}"
    yield from (mark.words for mark in marks if mark.words)
