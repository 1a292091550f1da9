"""The figure in a note: what was found and how the arms moved, drawn, with the same in words."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from sidewise.figure import Atlas, Composed, Mark, compose
from sidewise.figure.svg import STYLE, svg
from sidewise.knowledge.region import Region
from sidewise.note.figure_marks import MeasuredPose, found_marks, measured_poses
from sidewise.protocol.figure import atlas_of
from sidewise.record import Record

VIEWS = ("front", "back", "right side", "left side", "right raised armpit", "left raised armpit",
         "right close-up side", "left close-up side")  # fmt: skip
"""Plates for what was found, the first that shows it; others add only what these cannot."""
POSES = 4
"""Movements drawn in a note: those that differ most between the sides, or between active and
passive. The page of the examination has them all."""
PLATES_STYLE = """
.note-plates { display: flex; flex-wrap: wrap; gap: .6rem 1rem; align-items: flex-end }
.note-plates figure { margin: 0; max-width: 18rem; break-inside: avoid }
.note-plates .pair { display: flex; gap: .3rem; align-items: flex-end }
.note-plates .fig { width: auto; max-width: 100%; height: 10rem; min-width: 0 }
.note-plates figcaption { font-size: .8rem }
.note-plates figcaption span { display: block }
"""


def plates_style() -> str:
    """What a note that stands alone needs of style for its figure."""
    return STYLE.read_text(encoding="utf-8") + PLATES_STYLE


def figure_section(record: Record, region: Region) -> str:
    """The figure of a note as HTML; empty where there is no atlas or nothing to draw.

    Every word is escaped. Parts of drawings are written once and referred to afterwards.
    """
    atlas = atlas_of(region)
    if atlas is None:
        return ""
    shared: set[str] = set()
    figures = [
        *(_found(plate, shared) for plate in found_plates(record, region, atlas)),
        *(_moved(atlas, pose, shared) for pose in drawn_poses(record, region)),
    ]
    if not figures:
        return ""
    drawn = "".join(figures)
    return (
        f'<section class="figure"><h2>figure</h2><div class="note-plates">{drawn}</div>'
        f'<p class="quiet">{escape(KEY)} {escape(CREDIT)}</p></section>'
    )


def figure_lines(record: Record, region: Region) -> tuple[str, ...]:
    """What the figure of a note shows, in words; empty where it shows nothing."""
    atlas = atlas_of(region)
    if atlas is None:
        return ()
    return (
        *(". ".join(_plate_words(plate)) for plate in found_plates(record, region, atlas)),
        *(". ".join(_pose_words(pose)) for pose in drawn_poses(record, region)),
    )


def _plate_words(plate: Composed) -> list[str]:
    said: list[Mark] = [signed.mark for signed in plate.signs if signed.mark.words]
    return [plate.title.removesuffix("."), *(mark.words for mark in said)]


def _pose_words(pose: MeasuredPose) -> list[str]:
    return [pose.item.label, *pose.words]


KEY = (
    "Postures stand 15 degrees apart; the number is the finding. Broken outline: passive. Dotted "
    "outline without bones: not measured."
)
CREDIT = (
    "Bones after a model by K. Holzbaur, adapted by the OpenSim Development Team, smoothed, posed "
    "and redrawn; CC BY 3.0."
)


def found_plates(record: Record, region: Region, atlas: Atlas) -> tuple[Composed, ...]:
    """As few plates as show everything abnormal that can be shown."""
    marks = found_marks(record, region)
    left = [mark for mark in marks if mark.kind != "normal"]
    plates = []
    for view in VIEWS:
        plate = compose(atlas, view, marks=marks)
        seen = {signed.mark for signed in plate.signs}
        if any(mark in seen for mark in left):
            plates.append(plate)
            left = [mark for mark in left if mark not in seen]
    return tuple(plates)


def drawn_poses(record: Record, region: Region) -> tuple[MeasuredPose, ...]:
    """The movements a note has room for, in the protocol's order."""
    poses = measured_poses(record, region)
    largest = sorted(poses, key=lambda pose: -pose.size)[:POSES]
    return tuple(pose for pose in poses if pose in largest)


def _found(plate: Composed, shared: set[str]) -> str:
    return _figure(svg(plate, shared=shared), _plate_words(plate))


def _moved(atlas: Atlas, pose: MeasuredPose, shared: set[str]) -> str:
    drawn = "".join(
        svg(
            compose(atlas, view, pose.arms, ghost=pose.ghost, unmeasured=pose.unmeasured),
            shared=shared,
        )
        for view in pose.views
    )
    return _figure(drawn, _pose_words(pose))


def _figure(drawn: str, lines: list[str]) -> str:
    return f'<figure><div class="pair">{drawn}</div>{_caption(lines)}</figure>'


def _caption(lines: list[str]) -> str:
    return f"<figcaption>{''.join(_lines(lines))}</figcaption>"


def _lines(lines: list[str]) -> Iterator[str]:
    yield from (f"<span>{escape(line)}</span>" for line in lines)
