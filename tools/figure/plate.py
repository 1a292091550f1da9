"""One plate: what is seen of one posture from one side, as paths."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from tools.figure import nerves
from tools.figure.body import Figure, Posed
from tools.figure.drawn import Drawn
from tools.figure.lines import (
    FACE,
    off_face,
    runs_of,
    seen,
    stretches_of,
    turning_lines,
    under_chin,
)
from tools.figure.masks import smooth_mask, without_holes
from tools.figure.mesh import Points
from tools.figure.parts import PARTS
from tools.figure.raster import Picture, View, Window, picture
from tools.figure.shaping import Shaped
from tools.figure.sites import ON_BONE, Sites
from tools.figure.trace import area, boundary, closed_path, length, open_path

LOWEST = 0.0
"""Height in metres at which every plate ends below."""
VIEWS = {
    "front": View((1, 0, 0), (0, 0, 1), (0, -1, 0)),
    "back": View((-1, 0, 0), (0, 0, 1), (0, 1, 0)),
    "side": View((0, -1, 0), (0, 0, 1), (-1, 0, 0)),
}
DEPTH_SHOWN = {"superficial": 0.04, "deep": 0.12}
"""How far below the skin a layer is still shown, metres; what lies deeper belongs to the other
side of the body.
"""
LANDMARK_DEPTH = 0.04
"""A landmark deeper than this from where one looks is felt from another side."""
SOFT = 2.2
"""Dots by which the edge of the skin is blurred before it is traced, so that facets do not show."""
DRAWN_CURVES = {"humerus": ("groove",), "scapular spine": ("scapular spine",)}
"""Edges too faint in the bones' own shape, drawn from the curves picked on them."""
HALVES = ("front", "back")
"""Views that show both sides: a plate holds the right half, the left is its mirror image."""


@dataclass(frozen=True)
class Plate:
    """A posture seen from one side. `half`: only the right half is drawn."""

    drawn: Drawn
    view: View
    window: Window
    half: bool
    name: str = ""
    tolerance: float = 0.0004

    @property
    def posed(self) -> Posed:
        """The posture."""
        return self.drawn.posed

    @property
    def figure(self) -> Figure:
        """Bones and skin."""
        return self.posed.figure

    @cached_property
    def painted(self) -> Picture:
        """The skin with every kind of face as a part of its own: 32 arm + 16 axillary + 1 +
        dermatome.
        """
        return picture(self.drawn.painted_parts, self.view, self.window)

    @cached_property
    def skin(self) -> Picture:
        """The skin, part 0 the trunk and 1 the arm."""
        part = self.painted.part
        return Picture(np.where(part < 0, -1, part >> 5), self.painted.depth)

    @cached_property
    def mine(self) -> NDArray[np.bool_]:
        """Dots of the half that is drawn: right of the body's midline, and the arm wherever it
        is.
        """
        if not self.half:
            return np.ones(self.window.shape, dtype=bool)
        rows, columns = self.window.shape
        x = self.window.left + (np.arange(columns) + 0.5) * self.window.dot
        own = x * self.view.right[0] <= 0.001
        return np.broadcast_to(own, (rows, columns)) | (self.skin.part == 1)

    @cached_property
    def shape(self) -> NDArray[np.bool_]:
        """The outline filled; the openings of the eyes are closed."""
        return without_holes(self.skin.part >= 0, 0.0003 / self.window.dot**2)

    def fill(self) -> str:
        """The body's shape as a closed path."""
        return "".join(
            closed_path(line, self.tolerance)
            for line in boundary(self.shape & self.mine, self.window, closed=True, blur=SOFT)
            if area(line) > 1e-5
        )

    def outline(self) -> str:
        """The body's edge, open where the other half or the rest of the body goes on."""
        lines = boundary(self.shape, self.window, closed=False, blur=SOFT)
        if self.half:
            lines = [run for line in lines for run in self.own_stretches(line)]
        return "".join(self.open_or_closed(line) for line in lines if length(line) > 0.008)

    def open_or_closed(self, line: Points) -> str:
        """A line that comes back to its start is closed."""
        if np.linalg.norm(line[0] - line[-1]) < 1e-6:
            return closed_path(line, self.tolerance)
        return open_path(line, self.tolerance)

    def own_stretches(self, line: Points) -> list[Points]:
        """Stretches of an edge on the half that is drawn, or beside the arm."""
        dots = np.clip(
            np.floor(self.window.dots(line)).astype(int), 0, np.array(self.window.shape)[::-1] - 1
        )
        near_arm = ndimage.binary_dilation(self.skin.part == 1, iterations=3)
        own = (line[:, 0] * self.view.right[0] <= 0.0012) | near_arm[dots[:, 1], dots[:, 0]]
        if own.all():
            return [line]
        # A closed line starts where it leaves the half, so that no stretch is cut in two.
        if np.linalg.norm(line[0] - line[-1]) < 1e-6:
            start = int(np.flatnonzero(~own)[0])
            line, own = np.roll(line[:-1], -start, axis=0), np.roll(own[:-1], -start)
        return stretches_of(line, own)

    def creases(self) -> str:
        """Lines inside the outline where the skin hides skin more than 9 mm behind it."""
        found = ""
        lines = [
            run for line in turning_lines(self.drawn.skin, self.view) for run in off_face(line)
        ]
        if self.name == "front":
            lines += [
                run
                for line in turning_lines(self.drawn.skin, self.view, 0.3)
                for run in under_chin(line)
            ]
        for line in lines:
            jump = 0.007 if line[:, 2].mean() < FACE[1] else 0.004
            for run in seen(line, self.view, self.window, self.skin, bias=0.018, jump=jump):
                own = self.own_stretches(run) if self.half else [run]
                found += "".join(
                    open_path(piece, self.tolerance) for piece in own if length(piece) > 0.008
                )
        return found + self.over_other_half() + self.arm_edge()

    def over_other_half(self) -> str:
        """The arm's edge where it crosses the trunk beyond the midline."""
        if not self.half or not (self.skin.part == 1).any():
            return ""
        lines = boundary(self.skin.part == 1, self.window, closed=False)
        found = ""
        for line in lines:
            beyond = line[:, 0] * self.view.right[0] > 0.0012
            found += "".join(open_path(run, self.tolerance) for run in stretches_of(line, beyond))
        return found

    def arm_edge(self) -> str:
        """Where the arm lies against the trunk: too little depth for a crease, yet two surfaces."""
        arm = self.skin.part == 1
        if not self.half or not arm.any():
            return ""
        share = self.drawn.arm_share
        seam = self.view.page(
            self.drawn.skin.points[
                (share > 0.3) & (share < 0.7) & (self.drawn.skin.points[:, 0] < 0)
            ]
        )
        found = ""
        for line in boundary(arm, self.window, closed=False, blur=SOFT):
            dots = np.clip(
                np.floor(self.window.dots(line)).astype(int),
                3,
                np.array(self.window.shape)[::-1] - 4,
            )
            good = cKDTree(seam).query(line)[0] > 0.012
            for k in np.flatnonzero(good):
                c, r = dots[k]
                depth = self.skin.depth[r - 3 : r + 4, c - 3 : c + 4]
                good[k] = bool(np.isfinite(depth).all()) and float(np.ptp(depth)) < 0.009
            found += "".join(
                open_path(run, self.tolerance) for run in stretches_of(line, good, 0.015)
            )
        return found

    @cached_property
    def bones(self) -> Picture:
        """The parts of scapula, clavicle and humerus among themselves."""
        return picture(list(self.drawn.bones.values()), self.view, self.window)

    @cached_property
    def trunk_bones(self) -> Picture:
        """All bones that do not move, as one part."""
        return picture(list(self.figure.trunk.values()), self.view, self.window)

    def bone(self, name: str) -> tuple[str, str, str]:
        """A bone's name, its visible shape, and the lines within it."""
        number = PARTS.index(name)
        shape = self.areas(self.bones.part == number, 1.5e-5)
        lines = [
            run
            for line in turning_lines(self.drawn.bones[name], self.view)
            for run in self.off_shaft(name, line)
        ]
        deep = ndimage.distance_transform_edt(self.bones.part == number) * self.window.dot > 0.0018
        inner = ""
        for line in lines:
            for run in seen(
                line,
                self.view,
                self.window,
                self.bones,
                bias=0.004,
                jump=0.002,
                reach=2,
                part=number,
            ):
                # A line along the part's own edge would be drawn twice.
                inner += "".join(
                    open_path(piece, self.tolerance)
                    for piece in self.held(run, deep)
                    if length(piece) > 0.008
                )
        for curve in DRAWN_CURVES.get(name, ()):
            inner += self.curve(curve, number)
        return name, shape, inner

    def held(self, line: Points, mask: NDArray[np.bool_]) -> list[Points]:
        """Stretches of a line (page metres) on a mask."""
        dots = np.clip(
            np.floor(self.window.dots(line)).astype(int), 0, np.array(self.window.shape)[::-1] - 1
        )
        return runs_of(line, mask[dots[:, 1], dots[:, 0]])

    def off_shaft(self, name: str, line: Points) -> list[Points]:
        """Lines on the ends of the humerus only; its shaft has none to show."""
        if name != "humerus":
            return [line]
        away = np.linalg.norm(line - Sites(self.posed).landmark("joint centre"), axis=1)
        return runs_of(line, (away < 0.05) | (away > 0.245))

    def curve(self, name: str, number: int) -> str:
        """A curve picked on a bone, where it is seen."""
        line = Sites(self.posed).curve(name, 40)
        runs = seen(
            line, self.view, self.window, self.bones, bias=0.003, jump=-1.0, reach=2, part=number
        )
        return "".join(open_path(run, self.tolerance) for run in runs)

    def behind(self, name: str) -> bool:
        """Whether a bone of the arm lies behind the ribs where they overlap."""
        both = (self.bones.part == PARTS.index(name)) & (self.trunk_bones.part >= 0)
        return (
            bool(both.any())
            and float(np.median(self.bones.depth[both] - self.trunk_bones.depth[both])) > 0
        )

    def areas(self, mask: NDArray[np.bool_], least: float) -> str:
        """A mask as closed paths, without specks below `least` square metres."""
        rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
        if not len(rows):
            return ""
        top, left = int(rows[0]), int(columns[0])
        part = mask[top : rows[-1] + 1, left : columns[-1] + 1]
        w = self.window
        small = Window(w.left + left * w.dot, w.top + top * w.dot, w.right, w.bottom, w.dot)
        lines = boundary(part, small, closed=True)
        return "".join(closed_path(line, self.tolerance) for line in lines if area(line) > least)

    @cached_property
    def inside(self) -> NDArray[np.bool_]:
        """Dots at least 2 mm within the outline."""
        return ndimage.distance_transform_edt(self.shape) * self.window.dot > 0.002

    def muscles(self, layer: str) -> list[tuple[str, str, str]]:
        """Name, visible area and fibres of each muscle of a layer."""
        chosen = [
            m
            for m in self.drawn.muscles
            if m.muscle.layer == layer and not any(view in self.name for view in m.muscle.unseen)
        ]
        found = picture([m.mesh for m in chosen], self.view, self.window, solid=False)
        seen_here = self.inside & (found.depth < self.skin.depth + DEPTH_SHOWN[layer])
        if layer == "deep":
            # From the front the subscapularis is shown through the ribs; serratus lies on them.
            on_ribs = np.isin(found.part, [k for k, m in enumerate(chosen) if m.muscle.thorax])
            ribs_between = self.trunk_bones.depth < found.depth - np.where(on_ribs, 0.014, 0.002)
            ribs_between &= self.name not in ("front", "close-up front", "raised armpit") or on_ribs
            seen_here &= (found.depth < self.bones.depth + 0.002) & ~ribs_between
        answer = []
        for number, muscle in enumerate(chosen):
            mask = smooth_mask(seen_here & (found.part == number), 3) & self.inside
            shape = self.areas(mask, 4e-5)
            if shape:
                answer.append((muscle.muscle.name, shape, self.fibres(muscle, mask, found.depth)))
        return answer

    def fibres(self, muscle: Shaped, mask: NDArray[np.bool_], depth: NDArray[np.float64]) -> str:
        """Every second fibre where its muscle is seen, a little inside the edge."""
        within = ndimage.binary_erosion(mask, iterations=2)
        count = len(muscle.fibres)
        step = 2 if count > 8 else 1
        found = ""
        for fibre in muscle.fibres[step // 2 : count : step]:
            steps = np.linspace(0, 1, 80), np.linspace(0, 1, len(fibre))
            fine = np.stack([np.interp(*steps, fibre[:, k]) for k in range(3)], axis=1)
            away, fine = self.view.depth(fine), self.view.page(fine)
            dots = np.floor(self.window.dots(fine)).astype(int)
            rows, columns = self.window.shape
            ok = (
                (dots[:, 0] >= 0) & (dots[:, 0] < columns) & (dots[:, 1] >= 0) & (dots[:, 1] < rows)
            )
            good = np.zeros(len(fine), dtype=bool)
            at = dots[ok, 1], dots[ok, 0]
            good[ok] = within[at] & (away[ok] < depth[at] + 1.6 * muscle.muscle.belly + 0.002)
            found += "".join(open_path(run, 0.0008) for run in stretches_of(fine, good, 0.012))
        return found

    def nerve_areas(self) -> list[tuple[str, str]]:
        """Each dermatome and the axillary patch, as far as it is seen."""
        part = self.painted.part
        area_of, patch = np.where(part < 0, 0, part & 15), (part >= 0) & (part & 16 > 0)
        answer = [
            (name, self.areas(smooth_mask((area_of == number + 1) & self.mine), 4e-4))
            for number, name in enumerate(nerves.AREAS)
        ]
        answer.append(("axillary", self.areas(smooth_mask(patch), 4e-4)))
        return [(name, path) for name, path in answer if path]

    def landmarks(self) -> dict[str, tuple[Points, bool]]:
        """Landmarks on bone in page metres, and whether each is near the skin that is seen here."""
        at = Sites(self.posed)
        return {name: self.marked(at.landmark(name)) for name in ON_BONE}

    def marked(self, point: Points) -> tuple[Points, bool]:
        """A point on the page, and whether skin lies at most LANDMARK_DEPTH before it."""
        page = self.view.page(point[None])[0]
        column, row = np.floor(self.window.dots(page)).astype(int)
        rows, columns = self.window.shape
        if not (0 <= row < rows and 0 <= column < columns):
            return page, False
        before = float(self.view.depth(point[None])[0] - self.skin.depth[row, column])
        return page, before < LANDMARK_DEPTH
