"""Pictures of results, as SVG that a notebook shows and a file keeps."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from sidewise.errors import UserError

if TYPE_CHECKING:
    from sidewise.measure import FollowUp
    from sidewise.teaching.sitting.sitting import Sitting


@dataclass(frozen=True, slots=True, repr=False)
class Drawing:
    """A picture: its name and its SVG, which carries title and description for a screen reader."""

    name: str
    svg: str

    def _repr_svg_(self) -> str:
        return self.svg

    def __repr__(self) -> str:
        return f"<Drawing: {self.name}>"

    def save(self, path: str | Path) -> None:
        """Write the picture; UserError for a name that does not end in .svg or a missing folder."""
        from sidewise.ground.whole_file import write_text

        place = Path(path)
        if place.suffix.lower() != ".svg":
            raise UserError("path", place.name, "a file that ends in .svg")
        write_text(place, self.svg)


def pictures(result: FollowUp | Sitting) -> dict[str, Drawing]:
    """The pictures there are of a result, by name; UserError where there are none of its kind."""
    from sidewise.measure import FollowUp

    if isinstance(result, FollowUp):
        found = dict(_of_visits(result))
    elif hasattr(result, "stations") and hasattr(result, "pass_marks"):
        found = dict(_of_sitting(result))
    else:
        raise UserError("result", type(result).__name__, "what follow or analyse_marks returned")
    return {name: Drawing(name, svg) for name, svg in found.items()}


def _of_visits(found: FollowUp) -> Iterator[tuple[str, str]]:
    from sidewise.ground.svg.shapes import svg
    from sidewise.measure.drawings.pictures import follow_picture

    yield "course", svg(follow_picture(found))


def _of_sitting(found: Sitting) -> Iterator[tuple[str, str]]:
    from sidewise.teaching.report.pictures import near_picture, severity_strip, station_map

    yield "stations", station_map(found)
    yield "examiners", severity_strip(found)
    yield "near the mark", near_picture(found)
