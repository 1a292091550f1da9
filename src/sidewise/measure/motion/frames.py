"""Segment frames from bony landmarks, after the standard of the biomechanics society.

X forward, Y up, Z to the right in the anatomical posture; definitions for the right side, a left
side is mirrored first (`landmarks.mirrored`).

Wu G et al., J Biomech 2005; 38:981-992. Columns of a frame are its axes.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array

Landmarks = Mapping[str, Array]
FLAT = np.sin(np.radians(3.0))
"""Three landmarks that span less than 3 degrees leave the direction of their plane to chance
(our judgement: at 10 cm apart, 3 degrees is 5 mm, the error of feeling a landmark)."""


def thorax_frame(at: Landmarks) -> Array:
    """Axes of the thorax from IJ, PX, C7, T8, origin IJ: 3 x 3, columns X, Y, Z.

    Y = u(mid(IJ, C7) - mid(PX, T8)); Z = u((C7 - IJ) x (mid(PX, T8) - IJ)); X = Y x Z.
    """
    _need(at, "IJ", "PX", "C7", "T8")
    low, up = (at["PX"] + at["T8"]) / 2, (at["IJ"] + at["C7"]) / 2
    y = unit_vector(up - low, "thorax")
    z = plane_normal(at["C7"] - at["IJ"], low - at["IJ"], "thorax (IJ, C7, PX, T8)")
    return _columns(np.cross(y, z), y, z)


def clavicle_frame(at: Landmarks, thorax: Array) -> Array:
    """Axes of the clavicle from SC and AC, origin SC; the thorax's Y is the third direction.

    Z = u(AC - SC); X = u(Yt x Z); Y = Z x X. Axial rotation is 0 by construction: two landmarks
    cannot show it.
    """
    _need(at, "SC", "AC")
    z = unit_vector(at["AC"] - at["SC"], "clavicle")
    x = plane_normal(thorax[:, 1], z, "clavicle (SC, AC and the thorax's vertical)")
    return _columns(x, np.cross(z, x), z)


def scapula_frame(at: Landmarks) -> Array:
    """Axes of the scapula from AA, TS, AI, origin AA.

    Z = u(AA - TS); X = u((AA - TS) x (AI - TS)); Y = Z x X.
    """
    _need(at, "AA", "TS", "AI")
    z = unit_vector(at["AA"] - at["TS"], "scapula")
    x = plane_normal(at["AA"] - at["TS"], at["AI"] - at["TS"], "scapula (AA, TS, AI)")
    return _columns(x, np.cross(z, x), z)


def humerus_frame(at: Landmarks) -> Array:
    """Axes of the humerus from GH, EL, EM (first option of the standard), origin GH.

    Y = u(GH - mid(EL, EM)); X = u((GH - mid) x (EL - mid)); Z = X x Y. The epicondyles are about
    6 cm apart, so axial rotation is the least certain angle.
    """
    _need(at, "GH", "EL", "EM")
    mid = (at["EL"] + at["EM"]) / 2
    y = unit_vector(at["GH"] - mid, "humerus")
    x = plane_normal(at["GH"] - mid, at["EL"] - mid, "humerus (GH, EL, EM)")
    return _columns(x, y, np.cross(x, y))


def humerus_frame_by_forearm(at: Landmarks) -> Array:
    """Axes of the humerus from GH, EL, EM, US with the elbow bent (second option).

    Y as above; Z = u(Yh x Yf) with Yf = mid - US, turned to point right; X = Y x Z. Needs the
    elbow bent about 90 and the forearm pronated; a straight elbow is refused as collinear.
    """
    _need(at, "GH", "EL", "EM", "US")
    mid = (at["EL"] + at["EM"]) / 2
    y = unit_vector(at["GH"] - mid, "humerus")
    z = plane_normal(y, mid - at["US"], "humerus and forearm (GH, elbow, US)")
    z = z if z @ (at["EL"] - at["EM"]) > 0 else -z
    return _columns(np.cross(y, z), y, z)


def forearm_frame(at: Landmarks) -> Array:
    """Axes of the forearm from US, RS and the epicondyles, origin US.

    Y = u(mid - US); X = normal of US, RS, mid; Z = X x Y, from ulna to radius in the posture.
    """
    _need(at, "US", "RS", "EL", "EM")
    mid = (at["EL"] + at["EM"]) / 2
    y = unit_vector(mid - at["US"], "forearm")
    x = plane_normal(y, at["RS"] - at["US"], "forearm (US, RS, elbow)")
    return _columns(x, y, np.cross(x, y))


def unit_vector(vector: Array, what: str) -> Array:
    """`vector` made 1 long; UserError where its ends are one point."""
    length = float(np.linalg.norm(vector))
    if not length > 0:
        raise UserError(
            f"landmarks of the {what}",
            "two landmarks at one point",
            "landmarks apart from each other",
            "Digitise them again.",
        )
    return np.asarray(vector / length, float)


def plane_normal(first: Array, second: Array, what: str) -> Array:
    """Unit normal of the plane of two directions; UserError where they are almost one line."""
    a, b = unit_vector(first, what), unit_vector(second, what)
    cross = np.cross(a, b)
    if float(np.linalg.norm(cross)) < FLAT:
        raise UserError(
            f"landmarks of the {what}",
            "landmarks on one line (collinear)",
            "three landmarks that span a plane",
            "Check which point is which.",
        )
    return unit_vector(cross, what)


def _need(at: Landmarks, *codes: str) -> None:
    missing = [code for code in codes if code not in at or not np.isfinite(at[code]).all()]
    if missing:
        raise UserError("landmarks", f"no {', '.join(missing)}", f"{', '.join(codes)}")


def _columns(x: Array, y: Array, z: Array) -> Array:
    return np.column_stack([x, y, z])
