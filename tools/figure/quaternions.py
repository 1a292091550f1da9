"""Unit quaternions (w, x, y, z) for many points at once."""

from __future__ import annotations

import numpy as np

from tools.figure.mesh import Points


def from_matrix(turn: Points) -> Points:
    """The quaternion of a rotation matrix, with w >= 0."""
    w = np.sqrt(max(0.0, 1 + np.trace(turn))) / 2
    if w > 1e-6:
        axis = np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]])
        return np.array([w, *(axis / (4 * w))])
    values, vectors = np.linalg.eigh((turn + turn.T) / 2)
    return np.array([0.0, *vectors[:, values.argmax()]])


def multiply(a: Points, b: Points) -> Points:
    """Products of two arrays (n, 4)."""
    w, x, y, z = a.T
    s, i, j, k = b.T
    return np.stack(
        [
            w * s - x * i - y * j - z * k,
            w * i + x * s + y * k - z * j,
            w * j - x * k + y * s + z * i,
            w * k + x * j - y * i + z * s,
        ],
        axis=1,
    )


def pure(vectors: Points) -> Points:
    """Vectors (n, 3) as quaternions without a real part."""
    return np.concatenate([np.zeros((len(vectors), 1)), vectors], axis=1)


def rotate(q: Points, vectors: Points) -> Points:
    """Each vector (n, 3) turned by its quaternion."""
    u, w = q[:, 1:], q[:, :1]
    cross = np.cross(u, vectors)
    return vectors + 2 * (w * cross + np.cross(u, cross))


def about(axis: Points, angles: Points) -> Points:
    """Turns about one axis by many angles (radians)."""
    return np.concatenate([np.cos(angles / 2)[:, None], np.sin(angles / 2)[:, None] * axis], axis=1)


def swing_and_twist(q: Points, axis: Points) -> tuple[Points, float]:
    """`q` as a turn about `axis` (its angle, radians) followed by one across it (a quaternion)."""
    along = float(q[1:] @ axis)
    angle = 2 * float(np.arctan2(along, q[0]))
    angle = (angle + np.pi) % (2 * np.pi) - np.pi
    back = about(axis, np.array([-angle]))
    return multiply(q[None], back)[0], angle


def transform(real: Points, dual: Points, points: Points) -> Points:
    """Points moved by blended dual quaternions, which need not be of unit length."""
    size = np.linalg.norm(real, axis=1, keepdims=True)
    real, dual = real / size, dual / size
    conjugate = real * [1, -1, -1, -1]
    shift = 2 * multiply(dual, conjugate)[:, 1:]
    return rotate(real, points) + shift
