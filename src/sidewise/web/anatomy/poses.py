"""Measured movements, drawn as they are: of a patient's record, and of a learner's at a case."""

from __future__ import annotations

from dataclasses import dataclass

from sidewise.figure import compose
from sidewise.knowledge.region import Region
from sidewise.note.figure_marks import MeasuredPose, measured_poses
from sidewise.protocol.figure import atlas_of
from sidewise.record import Record
from sidewise.web.anatomy.plates import PlateShown, plate_shown


@dataclass(frozen=True, slots=True)
class PoseShown:
    """A measured movement with its plates."""

    pose: MeasuredPose
    plates: tuple[PlateShown, ...]


def poses_of(record: Record, region: Region) -> tuple[PoseShown, ...]:
    """Every measured movement of a record, drawn; none where the region has no atlas."""
    return tuple(pose_shown(pose, region) for pose in measured_poses(record, region))


def pose_shown(pose: MeasuredPose, region: Region) -> PoseShown:
    """One measured movement from each side that shows it."""
    atlas = atlas_of(region)
    assert atlas is not None, "a movement is posed only where there is an atlas"
    plates = tuple(
        plate_shown(
            region, compose(atlas, view, pose.arms, ghost=pose.ghost, unmeasured=pose.unmeasured)
        )
        for view in pose.views
    )
    return PoseShown(pose, plates)
