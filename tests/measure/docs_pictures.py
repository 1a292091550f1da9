"""Draws the pictures of docs/measurement.md: `python -m tests.measure.docs_pictures`."""

from __future__ import annotations

from pathlib import Path

from sidewise.ground.svg.shapes import Picture, svg, write_picture
from sidewise.measure import Followed, FollowUp, SideDifference, follow
from sidewise.measure.drawings.pictures import change_picture, difference_picture, follow_picture
from sidewise.record import read_record
from tests.shoulder import PROTOCOL, REGIONS, TABLES

ROOT = Path(__file__).parents[2]
VISITS, IMAGES = ROOT / "examples" / "visits", ROOT / "docs" / "images"
ROTATION = "external_rotation_at_side"


def followed(patient: str, *numbers: int) -> FollowUp:
    """The follow-up of one patient's visits."""
    records = [read_record(VISITS / f"{patient}_visit{number}.json", REGIONS) for number in numbers]
    return follow(records, PROTOCOL, TABLES)


def rotation_sides(found: FollowUp) -> SideDifference:
    """Left against right in passive external rotation at the last visit."""
    return next(d for d in found.differences if d.item == ROTATION)


def rotation_course(found: FollowUp) -> Followed:
    """The course of passive external rotation on the left."""
    return next(f for f in found.followed if f.item == ROTATION and f.side == "left")


def pictures() -> dict[str, Picture]:
    """Every picture of the page, by its file's name."""
    early, late, plover = (
        followed("heron", 1, 2),
        followed("heron", 1, 2, 3),
        followed("plover", 1, 2),
    )
    return {
        "side-real": difference_picture([rotation_sides(early)], "HERON-1, 13 April 2026"),
        "side-unreal": difference_picture([rotation_sides(late)], "HERON-1, 29 June 2026"),
        "change-real": change_picture(rotation_course(late), late),
        "change-unreal": change_picture(rotation_course(early), early),
        "follow-heron": follow_picture(late),
        "follow-plover": follow_picture(plover),
    }


def main() -> None:
    """Write each picture as SVG and as PNG."""
    for name, picture in pictures().items():
        for ending in (".svg", ".png"):
            write_picture(picture, IMAGES / f"{name}{ending}")


__all__ = ["IMAGES", "followed", "pictures", "rotation_course", "rotation_sides", "svg"]

if __name__ == "__main__":
    main()
