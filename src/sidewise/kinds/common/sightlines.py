"""How an angle is read off a phone or a photograph: where its zero is and about what it turns."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from sidewise.ground.frozen import Frozen

Direction = Literal["head", "feet", "front", "back", "out", "in"]
"""Of the patient's own body; "out" is towards the side that is measured (the right, of what has no
sides)."""
Posture = Literal["upright", "on the back", "face down"]


class Sightlines(Frozen):
    """Zero, axis and posture of one movement, as the protocol has them.

    limb: where the moving part points at zero, away from its joint; `toward`: where it goes first.
    Both lie in the plane of the movement, and the axis stands square to it.
    faces: where the phone's screen looks and the camera stands, along the axis.
    posture: how the patient is for it; the axis must be level, or gravity sees nothing of the turn.
    lay: how the phone lies along the moving part. against: what a photograph measures from.
    """

    posture: Posture
    limb: Direction
    toward: Direction
    faces: Direction
    lay: str = Field(min_length=10)
    against: Literal["trunk", "vertical"]

    @property
    def faces_words(self) -> str:
        """Where the screen looks, in words: "outer side"."""
        return {"out": "outer side", "in": "inner side", "back": "back"}.get(self.faces, self.faces)
