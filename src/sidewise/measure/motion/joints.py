"""From landmarks of one posture to joint angles, planar angles, centre of rotation and rhythm."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sidewise.errors import UserError
from sidewise.ground.arrays import Array
from sidewise.measure.motion.frames import (
    Landmarks,
    clavicle_frame,
    humerus_frame,
    scapula_frame,
    thorax_frame,
    unit_vector,
)
from sidewise.measure.motion.rotations import (
    BladeAngles,
    ElevationAngles,
    decompose_yxy,
    decompose_yxz,
)

FURTHEST_CENTRE = 60.0  # mm from AC; beyond it units or the direction of z are wrong.
LEAST_BLADE_TURN = 5.0  # degrees: under this the ratio is mostly error (our judgement).


@dataclass(frozen=True, slots=True)
class JointAngles:
    """Every joint whose landmarks were given; None for the others."""

    thoracohumeral: ElevationAngles | None
    glenohumeral: ElevationAngles | None
    scapulothoracic: BladeAngles | None
    acromioclavicular: BladeAngles | None
    sternoclavicular: BladeAngles | None
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlanarAngles:
    """One arm direction as a goniometer would read it from the side, from the front, and truly."""

    sagittal: float | None
    frontal: float | None
    elevation: float


@dataclass(frozen=True, slots=True)
class Rhythm:
    """Degrees of glenohumeral elevation for each degree of upward rotation of the scapula."""

    ratio: float
    glenohumeral: float
    upward_rotation: float


@dataclass(frozen=True, slots=True)
class Centre:
    """An estimated centre of rotation in the landmarks' own axes, in mm, with its cautions."""

    place: Array
    cautions: tuple[str, ...]


def joint_angles(at: Landmarks) -> JointAngles:
    """All joint angles that the landmarks of a right (or mirrored left) arm allow, in degrees.

    R = P^T D for proximal frame P and distal frame D. UserError without the thorax, or where
    landmarks that should span a plane lie on one line.
    """
    thorax = thorax_frame(at)
    blade = scapula_frame(at) if {"AA", "TS", "AI"} <= set(at) else None
    arm = humerus_frame(at) if {"GH", "EL", "EM"} <= set(at) else None
    collar = clavicle_frame(at, thorax) if {"SC", "AC"} <= set(at) else None
    th = decompose_yxy(thorax.T @ arm) if arm is not None else None
    gh = decompose_yxy(blade.T @ arm) if blade is not None and arm is not None else None
    st = decompose_yxz(thorax.T @ blade) if blade is not None else None
    ac = decompose_yxz(collar.T @ blade) if blade is not None and collar is not None else None
    sc = decompose_yxz(thorax.T @ collar) if collar is not None else None
    named = {"thoracohumeral": th, "glenohumeral": gh, "scapulothoracic": st}
    cautions = [
        f"{name}: {found.caution}" for name, found in named.items() if found and found.caution
    ]
    if sc is not None:
        cautions.append("clavicle: axial rotation is 0 by construction (two landmarks).")
    return JointAngles(th, gh, st, ac, sc, tuple(cautions))


def planar_angles(direction: ArrayLike) -> PlanarAngles:
    """What is read in each plane of an arm that points along `direction` (thorax axes X, Y, Z).

    sagittal = atan2(dx, -dy), frontal = atan2(dz, -dy), elevation = acos(-dy), in degrees. None
    where the arm lies across the view (its trace there is under 1 degree from the vertical line
    through a raised arm, so the plane says nothing). They agree only in their own plane.
    """
    d = unit_vector(np.asarray(direction, float), "arm direction")
    return PlanarAngles(_trace(d[0], d[1]), _trace(d[2], d[1]), float(np.degrees(np.arccos(-d[1]))))


def _trace(side: float, up: float) -> float | None:
    # An arm swung wholly out of a view still shows 0 or 180 there: a number about nothing.
    out_of_view = abs(side) < np.sin(np.radians(1.0)) and abs(up) < 1 - 1e-6
    return None if out_of_view else float(np.degrees(np.arctan2(side, -up)))


def scapulohumeral_rhythm(glenohumeral: ArrayLike, upward_rotation: ArrayLike) -> Rhythm:
    """Scapulohumeral rhythm over an arc: change of one over change of the other, first to last.

    Two arrays of n >= 2 positive elevations and upward rotations in degrees, in the order of
    raising. UserError where the scapula turns less than 5 degrees: the ratio would be error.

    Inman VT, Saunders JB, Abbott LC, J Bone Joint Surg 1944; 26:1-30 (2 : 1 overall).
    """
    gh, st = np.asarray(glenohumeral, float), np.asarray(upward_rotation, float)
    if gh.shape != st.shape or gh.ndim != 1 or gh.size < 2 or not np.isfinite(gh + st).all():
        raise UserError(
            "rhythm", f"{gh.size} and {st.size} angles", "two equal lists, 2 or more long"
        )
    arm, blade = float(gh[-1] - gh[0]), float(st[-1] - st[0])
    if abs(blade) < LEAST_BLADE_TURN:
        raise UserError(
            "rhythm",
            f"{blade:.1f} degrees of scapular rotation",
            f"at least {LEAST_BLADE_TURN:g} over the arc",
            "Take a longer arc.",
        )
    return Rhythm(arm / blade, arm, blade)


def centre_by_regression(at: Landmarks) -> Centre:
    """The glenohumeral centre from AC, AA, TS, AI, PC of a right scapula, all in mm.

    Linear regression in the older scapula frame (origin AC, x from TS to AC, z backwards, y up):
    x = 18.9743 + 0.2434 PCx + 0.2341 AIx + 0.1590 |AI-AA| + 0.0558 PCy;
    y = -3.8791 - 0.3940 |AC-PC| + 0.1732 PCy + 0.1205 |AC-AA| - 0.1002 AIx;
    z = 9.2629 - 0.2403 PCy + 1.0255 PCz + 0.1720 |TS-PC|. UserError more than 60 mm from AC.

    Meskers CGM et al., J Biomech 1998; 31:93-96; root-mean-square error about 2.3 to 3.0 mm. The
    terms and x's first four numbers are read, the other coefficients recalled: unconfirmed.
    """
    missing = {"AC", "AA", "TS", "AI", "PC"} - set(at)
    if missing:
        raise UserError("landmarks", f"no {', '.join(sorted(missing))}", "AC, AA, TS, AI, PC")
    axes = _older_scapula_frame(at)
    pc, ai = axes.T @ (at["PC"] - at["AC"]), axes.T @ (at["AI"] - at["AC"])
    local = np.array(
        [
            18.9743
            + 0.2434 * pc[0]
            + 0.2341 * ai[0]
            + 0.1590 * _gap(at, "AI", "AA")
            + 0.0558 * pc[1],
            -3.8791
            - 0.3940 * _gap(at, "AC", "PC")
            + 0.1732 * pc[1]
            + 0.1205 * _gap(at, "AC", "AA")
            - 0.1002 * ai[0],
            9.2629 - 0.2403 * pc[1] + 1.0255 * pc[2] + 0.1720 * _gap(at, "TS", "PC"),
        ]
    )
    far = float(np.linalg.norm(local))
    if far > FURTHEST_CENTRE:
        raise UserError(
            "glenohumeral centre",
            f"{far:.0f} mm from AC",
            "at most 60 mm",
            "Check that the landmarks are in millimetres and of a right side.",
        )
    caution = "Regression coefficients partly recalled: confirm before relying on the centre."
    return Centre(at["AC"] + axes @ local, (caution,))


def _older_scapula_frame(at: Landmarks) -> Array:
    x = unit_vector(at["AC"] - at["TS"], "scapula")
    forward = np.cross(at["AC"] - at["TS"], at["AI"] - at["TS"])
    z = -unit_vector(forward, "scapula (AC, TS, AI)")
    return np.column_stack([x, np.cross(z, x), z])


def _gap(at: Landmarks, one: str, other: str) -> float:
    return float(np.linalg.norm(at[one] - at[other]))
