"""Reads a C3D file in a process of its own, with a limit on memory and time.

The library that reads it is native code that believes the file: one changed byte can make it ask
for gigabytes, never come to an end or end the process (tests/safe/test_damaged.py). Here that ends
the child, and the reader gets words.
`python -m sidewise.measure.motion.c3d_apart FILE` writes the arrays to standard output.
"""

from __future__ import annotations

import io
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sidewise.errors import UserError
from sidewise.ground.arrays import Array
from sidewise.ground.extras import require_extra

SECONDS, SECONDS_PER_MB = 10, 1
# Python and the library take about a quarter of it; a recording takes some forty times its file.
BYTES = 1 << 30
BYTES_PER_BYTE = 64


@dataclass(frozen=True)
class Points:
    """What a C3D file holds: labels, units, and points as (3 axes, points, frames)."""

    labels: tuple[str, ...]
    units: tuple[str, ...]
    places: Array
    # Below 0 where the cameras did not see the point in that frame: (points, frames).
    residuals: Array


def read_apart(path: Path) -> Points:
    """The points of a file; UserError if the library cannot read it within the limits."""
    require_extra("motion", path.name)
    command = [sys.executable, "-m", "sidewise.measure.motion.c3d_apart", str(path.resolve())]
    seconds = SECONDS + SECONDS_PER_MB * (path.stat().st_size >> 20)
    try:
        done = subprocess.run(command, capture_output=True, timeout=seconds, check=False)
    except subprocess.TimeoutExpired:
        raise _unreadable(path, f"not read in {seconds} seconds") from None
    if done.returncode != 0 or not done.stdout:
        # The last line of what the child said; a killed child says nothing.
        said = done.stderr.decode("utf-8", "replace").strip().splitlines()[-1:]
        raise _unreadable(path, *said)
    with np.load(io.BytesIO(done.stdout), allow_pickle=False) as kept:
        return Points(tuple(kept["labels"].tolist()), tuple(kept["units"].tolist()),
                      kept["places"], kept["residuals"])  # fmt: skip


def _unreadable(path: Path, said: str = "lengths that make no sense") -> UserError:
    return UserError(path.name, said, "a readable C3D file", "Export it once more.")


def _limit(size: int) -> None:
    try:
        import resource
    except ImportError:  # not on Windows: there the time alone is limited
        return
    most = BYTES + BYTES_PER_BYTE * size
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _read(path: Path) -> bytes:
    import ezc3d

    file = ezc3d.c3d(str(path))
    point = file["parameters"]["POINT"]
    packed = io.BytesIO()
    np.savez(
        packed,
        labels=_words(point.get("LABELS", {}).get("value", [])),
        units=_words(point.get("UNITS", {}).get("value", [])),
        places=np.asarray(file["data"]["points"], float)[:3],
        residuals=np.asarray(file["data"]["meta_points"]["residuals"], float)[0],
    )
    return packed.getvalue()


def _words(values: list[object]) -> NDArray[np.str_]:
    return np.array([str(value).strip() for value in values], np.str_)


def main(given: str) -> int:
    """Write the points of a file; 1 with a line of words if it cannot be read."""
    path = Path(given)
    _limit(path.stat().st_size)
    try:
        packed = _read(path)
    except Exception as error:  # noqa: BLE001 - the library throws whatever its C++ side threw
        print(str(error) or "damaged", file=sys.stderr)
        return 1
    sys.stdout.buffer.write(packed)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
