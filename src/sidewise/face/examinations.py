"""One person: read a record, interpret it, follow it over visits, write its note."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from sidewise.ground.settings import SETTINGS
from sidewise.regions import region_of_record, regions

if TYPE_CHECKING:
    from sidewise.knowledge.region import Region
    from sidewise.measure import FollowUp
    from sidewise.reason import Interpretation
    from sidewise.record import Record

FEWEST_DRAWS, MOST_DRAWS = 100, 2000


def region(name: str = "") -> Region:
    """The region called `name`; where this machine has only one, the name may be left out.

    UserError with the regions there are.
    """
    return regions().chosen(name, "region")


def read_record(path: str | Path) -> Record:
    """The examination in a JSON file, checked whole.

    UserErrors with everything that is wrong, each with its place.
    """
    from sidewise.record import read_record as read

    return read(path, regions())


def interpret(record: Record, *, setting: str | None = None, draws: int = 500) -> Interpretation:
    """What the findings make more or less likely, and what must not be missed.

    setting: one of community, primary, referred ... (`sidewise.ground.settings.SETTINGS`), in
    place of the record's own. draws: parameter draws behind the intervals, 100 to 2000. Supports a
    licensed clinician; does not diagnose. `to_frame()` gives its conditions; also "red_flags",
    "differences", "norms", "next", "not_examined".
    """
    from sidewise.errors import UserError
    from sidewise.reason import interpret as weigh

    if not FEWEST_DRAWS <= draws <= MOST_DRAWS:
        raise UserError("draws", draws, f"{FEWEST_DRAWS} to {MOST_DRAWS}")
    if setting is not None and setting not in SETTINGS:
        raise UserError("setting", setting, f"one of {', '.join(SETTINGS)}")
    return weigh(record, region_of_record(record), setting=setting, draws=draws)


def follow(records: Sequence[Record]) -> FollowUp:
    """What changed over the visits of one person, in order, and what is error.

    UserErrors for fewer than two, another person's record, visits out of order. `to_frame()` gives
    the changes; also "readings", "scales", "differences".
    """
    from sidewise.errors import UserError
    from sidewise.measure import follow as followed
    from sidewise.measure import tables_of
    from sidewise.protocol import protocol_of

    if not records:
        raise UserError("records", "none", "two or more visits of one person, in order")
    own = region_of_record(records[0])
    return followed(records, protocol_of(own), tables_of(own))


@dataclass(frozen=True, slots=True, repr=False)
class Note:
    """A note in words: as text with `str()`, as a whole page in `html`, as itself in a notebook."""

    patient: str
    text: str
    html: str
    body: str

    def __str__(self) -> str:
        return self.text

    def __repr__(self) -> str:
        return f"<Note: {self.patient}, {len(self.text.splitlines())} lines>"

    def _repr_html_(self) -> str:
        return self.body


def write_note(record: Record, result: Interpretation | None = None) -> Note:
    """The note of an examination, for a colleague to act on; `result` where it is there already.

    UserError where the result is of another record.
    """
    from sidewise.errors import UserError
    from sidewise.note import note_body, note_html, note_text

    known = interpret(record) if result is None else result
    if known.record != record.id:
        raise UserError("result", known.record, f"the interpretation of {record.id}")
    own = region_of_record(record)
    return Note(
        patient=record.context.patient,
        text=note_text(record, known, own),
        html=note_html(record, known, own),
        body=note_body(record, known, own),
    )
