"""The anatomical figure: an atlas of drawn postures, and plates put together from it.

Pure: it knows neither a region's name nor a page. `load_atlas(folder)` reads an atlas,
`Atlas.choose` finds the posture nearest to a measured movement, `compose` makes a plate.
"""

from __future__ import annotations

from sidewise.figure.atlas import Atlas, Muscle, Place, has_atlas, load_atlas
from sidewise.figure.choose import Choice
from sidewise.figure.compose import LAYERS, Arms, Composed, Shape, SheetPart, Target, compose
from sidewise.figure.leaders import Leader, leaders
from sidewise.figure.marks import MARK_KINDS, Mark
from sidewise.figure.under import Near, structures_at

__all__ = [
    "LAYERS",
    "MARK_KINDS",
    "Arms",
    "Atlas",
    "Choice",
    "Composed",
    "Leader",
    "Mark",
    "Muscle",
    "Near",
    "Place",
    "Shape",
    "SheetPart",
    "Target",
    "compose",
    "has_atlas",
    "leaders",
    "load_atlas",
    "structures_at",
]
