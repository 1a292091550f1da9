"""A posture with everything that does not depend on where one looks from."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from tools.figure import nerves
from tools.figure.body import Figure, Posed
from tools.figure.mesh import Mesh, Points, refined, smoothed
from tools.figure.muscles import MUSCLES
from tools.figure.parts import split
from tools.figure.shaping import Shaped, shaped
from tools.figure.sites import Sites


@dataclass(frozen=True)
class Drawn:
    """A posture with everything that does not depend on the view."""

    posed: Posed

    @cached_property
    def skin(self) -> Mesh:
        """The skin refined and rounded for drawing."""
        return smoothed(refined(self.posed.skin), 8)

    @cached_property
    def arm_share(self) -> Points:
        """How far each vertex of the skin belongs to the free arm."""
        return nerves.refined_skin(self.posed.figure)[1][:, 3:5].sum(axis=1)

    @cached_property
    def kinds(self) -> NDArray[np.int64]:
        """For each face the part it is painted as; -1 for the left arm."""
        return kinds_of(self.posed.figure)

    @cached_property
    def skin_parts(self) -> list[Mesh]:
        """Trunk and right arm; the left arm is left out."""
        arm, left = self.kinds >= 32, self.kinds < 0
        return [self.skin.part_of(~arm & ~left), self.skin.part_of(arm)]

    @cached_property
    def painted_parts(self) -> list[Mesh]:
        """The skin in 64 kinds of faces."""
        return [self.skin.part_of(self.kinds == kind) for kind in range(64)]

    @cached_property
    def bones(self) -> dict[str, Mesh]:
        """Bones of the arm in the parts in which they are drawn."""
        return split(self.posed.figure, self.posed.bones)

    @cached_property
    def muscles(self) -> list[Shaped]:
        """Every muscle."""
        return [shaped(muscle, Sites(self.posed)) for muscle in MUSCLES]


@lru_cache(maxsize=2)
def kinds_of(figure: Figure) -> NDArray[np.int64]:
    """For each face of the refined skin: 32 arm + 16 axillary patch + 1 + dermatome; -1 for the
    left arm.
    """
    mesh, weights = figure.fine
    faces = mesh.faces
    dermatome = np.sort(nerves.dermatomes(figure)[faces], axis=1)[:, 1]
    patch = np.sort(nerves.axillary(figure)[faces], axis=1)[:, 1]
    arm = weights[:, 3:5].sum(axis=1)[faces].mean(axis=1) > 0.5
    left = weights[:, 5][faces].mean(axis=1) > 0.5
    return np.where(left, -1, 32 * arm + 16 * patch + 1 + dermatome)
