"""A follow-up in a line, in tables and in a notebook."""

from __future__ import annotations

from collections.abc import Iterator

from sidewise.ground.result_view import JOIN, Table, TableRow, View, field_table
from sidewise.measure.visits.results import Followed, FollowUp, MeasureChange
from sidewise.measure.visits.text import BASIS

PLACE = ("patient", "side", "item", "label", "mode", "unit")
READINGS = (*PLACE, "visit", "date", "value", "instrument", "examiner", "sem")
CHANGES = (
    *PLACE, "first_visit", "last_visit", "change", "threshold", "real", "probability", "cautions",
)  # fmt: skip
SCALES = ("measure", "label", "before", "after", "change", "better", "real", "sentence", "cautions")
SIDES = ("item", "mode", "label", "left", "right", "difference", "threshold", "real", "cautions")


def follow_view(found: FollowUp) -> View:
    """The view of a follow-up; visits are counted from 1, as a person does."""
    once = (f"Measured at one visit only: {JOIN.join(found.only_once)}.",)
    return View(
        headline=found.sentence,
        tables={
            "changes": Table(CHANGES, lambda: [_change_row(found, f) for f in found.followed]),
            "readings": Table(READINGS, lambda: list(_reading_rows(found))),
            "scales": field_table(SCALES, found.scales),
            "differences": field_table(SIDES, found.differences),
        },
        cautions=(*found.doubts, *(once if found.only_once else ()), BASIS),
    )


def _place(found: FollowUp, followed: Followed) -> dict[str, str | None]:
    return {"patient": found.patient,
            **{name: getattr(followed, name) for name in PLACE[1:]}}  # fmt: skip


def _change_row(found: FollowUp, followed: Followed) -> TableRow:
    overall: MeasureChange = followed.overall
    return {
        **_place(found, followed),
        "first_visit": overall.earlier + 1,
        "last_visit": overall.later + 1,
        "change": overall.change,
        "threshold": overall.threshold,
        "real": overall.real,
        "probability": overall.probability,
        "cautions": JOIN.join(followed.cautions),
    }


def _reading_rows(found: FollowUp) -> Iterator[TableRow]:
    for followed in found.followed:
        for reading in followed.readings:
            yield {
                **_place(found, followed),
                "visit": reading.visit + 1,
                "date": reading.on,
                "value": reading.number,
                "instrument": reading.instrument,
                "examiner": reading.examiner,
                "sem": reading.sem,
            }
