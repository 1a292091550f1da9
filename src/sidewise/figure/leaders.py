"""Lines from places that lie too close for a finger to labels beside the figure."""

from __future__ import annotations

from dataclasses import dataclass

from sidewise.figure.compose import Composed, Target

FINGER = 24.0
"""Pixels: the least width of a target (Web Content Accessibility Guidelines 2.2, 2.5.8)."""


@dataclass(frozen=True, slots=True)
class Leader:
    """A label beside the figure for a target: from the place at (x, y) to the label at (to_x,
    to_y).
    """

    target: Target
    to_x: float
    to_y: float
    anchor: str

    @property
    def path(self) -> str:
        """The line, with a level stretch at the label."""
        knee = self.to_x + (14 if self.anchor == "end" else -14)
        return f"M{self.target.x:g} {self.target.y:g}L{knee:g} {self.to_y:g}H{self.to_x:g}"


def cramped(plate: Composed, pixels: float) -> tuple[Target, ...]:
    """Targets narrower than a finger when the plate is `pixels` wide."""
    scale = pixels / plate.frame[2]
    return tuple(target for target in plate.targets if 2 * target.room * scale < FINGER)


COLUMN = 0.55
"""Width of a column of labels as a share of the frame's."""


def with_columns(plate: Composed) -> tuple[float, float, float, float]:
    """The frame with room for a column of labels on each side."""
    left, top, width, height = plate.frame
    return left - COLUMN * width, top, width * (1 + 2 * COLUMN), height


def leaders(plate: Composed, pixels: float, *, every: bool = False) -> tuple[Leader, ...]:
    """Labels for the cramped targets (or for every one), in a column on each side of the frame.

    `pixels`: how wide the frame itself is shown. Labels stand in the order of their places, a
    finger
    apart, so that no two are too close to press.
    """
    left, top, width, height = plate.frame
    chosen = plate.targets if every else cramped(plate, pixels)
    middle = left + width / 2
    columns = (
        ([t for t in chosen if t.x < middle], left - 6, "end"),
        ([t for t in chosen if t.x >= middle], left + width + 6, "start"),
    )
    least = FINGER * width / pixels
    return tuple(
        Leader(target, x, y, anchor)
        for targets, x, anchor in columns
        for target, y in _spread(sorted(targets, key=lambda t: t.y), least, top, top + height)
    )


def _spread(
    targets: list[Target], least: float, top: float, bottom: float
) -> list[tuple[Target, float]]:
    """Heights at least `least` apart, as near to the targets' own as that allows."""
    heights: list[float] = []
    for target in targets:
        heights.append(max(target.y, heights[-1] + least if heights else top + 2 * least))
    limit = bottom - least / 2
    for index in reversed(range(len(heights))):
        heights[index] = min(heights[index], limit)
        limit = heights[index] - least
    return list(zip(targets, heights, strict=True))
