"""The note as a paper: its parts as the typesetter takes them, then the pictures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from sidewise import __version__
from sidewise.documents.printing import count_pages, print_pdf
from sidewise.figure import Atlas, compose
from sidewise.figure.svg import svg as plate_svg
from sidewise.ground.svg.shapes import svg as picture_svg
from sidewise.knowledge.region import Region
from sidewise.measure import side_differences, tables_of
from sidewise.measure.drawings.pictures import difference_picture, follow_picture
from sidewise.measure.visits.follow_up import follow
from sidewise.measure.visits.results import FollowUp
from sidewise.note.body import Line
from sidewise.note.document import APPENDIX, NoteDocument, NotePart
from sidewise.note.evidence import evidence_document
from sidewise.note.figure_marks import MeasuredPose
from sidewise.note.plates import CREDIT, KEY, drawn_poses, found_plates
from sidewise.note.text import note_document
from sidewise.protocol import protocol_of
from sidewise.protocol.figure import atlas_of
from sidewise.reason.result import Interpretation
from sidewise.record import Record

DOES_NOT = "Supports a licensed clinician; it does not diagnose."
MOST_DIFFERENCES = 8
"""Differences drawn; the note names all of them."""
SHORT = ("red flags", "impression and plan", "tests", "abnormal", "left open")
"""Parts of the note that a letter has; what may be likely is for whoever asks for the note."""
GREETING = "Dear colleague, this is the examination in short; the whole note can be asked for."
CLOSING = "With kind regards,"


def note_pdf(
    record: Record, result: Interpretation, region: Region, earlier: Sequence[Record] = ()
) -> bytes:
    """The whole note as PDF: first page, appendix, figure and error bands.

    earlier: visits before this one, whose course is then drawn at the end.
    """
    return print_pdf("note", note_data(record, result, region, earlier), made=_made(record))


def letter_pdf(record: Record, result: Interpretation, region: Region) -> bytes:
    """A letter of one page to a colleague: flags, impression, plan, what is abnormal."""
    return print_pdf("letter", letter_data(record, result, region), made=_made(record))


def evidence_pdf(record: Record, result: Interpretation, region: Region) -> bytes:
    """The evidence behind the interpretation as PDF."""
    document = evidence_document(record, result, region)
    data = {
        **paper_data(document.heading, record, "Evidence"),
        "front": [part_data(one) for one in document.front],
        "signature": document.signature,
        "appendix": [part_data(one) for one in document.appendix],
        "pictures": [],
        "words": {"appendix": "figures", "pictures": "", "credit": ""},
    }
    return print_pdf("note", data, made=_made(record))


def _made(record: Record) -> Any:
    """When it was signed; a draft is of the moment at which it is made."""
    return record.signed.at if record.signed else None


def note_data(
    record: Record, result: Interpretation, region: Region, earlier: Sequence[Record] = ()
) -> dict[str, Any]:
    """Everything that the paper says, as data."""
    document = note_document(record, result, region)
    course = _course(record, region, earlier)
    return {
        **paper_data(document.heading, record, "Note"),
        "front": [part_data(one) for one in document.front],
        "signature": document.signature,
        "appendix": [part_data(one) for one in (*document.appendix, *_course_parts(course))],
        "pictures": [*_pictures(record, region), *_course_pictures(course)],
        "words": {"appendix": APPENDIX, "pictures": "pictures", "credit": f"{KEY} {CREDIT}"},
    }


def letter_data(record: Record, result: Interpretation, region: Region) -> dict[str, Any]:
    """As much as goes on one page; how many abnormal lines had to go is said."""
    document = note_document(record, result, region)
    fits, too_many = 0, 1 + sum(len(p.entries) for p in document.front if p.title == "abnormal")
    shown = too_many - 1
    while shown > fits:
        if count_pages("letter", _letter(document, record, shown)) == 1:
            fits = shown
        else:
            too_many = shown
        shown = (fits + too_many) // 2
    return _letter(document, record, fits)


def _letter(document: NoteDocument, record: Record, shown: int) -> dict[str, Any]:
    parts = [one for one in document.front if one.title in SHORT]
    return {
        **paper_data(document.heading, record, "Letter"),
        # One page needs no more at its foot: what stands there is not read aloud.
        "foot": "",
        "front": [part_data(_cut(one, shown)) for one in parts],
        "signature": document.signature,
        "words": {"greeting": GREETING, "closing": CLOSING},
    }


def _cut(part: NotePart, shown: int) -> NotePart:
    left = len(part.entries) - shown
    if part.title != "abnormal" or left <= 0:
        return part
    more = f"and {left} more abnormal {'finding' if left == 1 else 'findings'}, in the note."
    return NotePart(part.title, (more, *part.entries[:shown]), part.style, part.remark)


def paper_data(heading: Sequence[str], record: Record, what: str) -> dict[str, Any]:
    """What every paper has: title, language, what stands at its foot."""
    c = record.context
    who = f"signed by {record.signed.by}" if record.signed else "DRAFT, not signed"
    day = c.examined_at.strftime("%d %b %Y").lstrip("0")
    return {
        "title": f"{what}: {c.patient}, {day}",
        "author": record.signed.by if record.signed else c.examiner,
        "description": f"{DOES_NOT} Written by sidewise {__version__}.",
        "lang": "en",
        "heading": list(heading),
        "foot": f"{c.patient}, examined {day}; revision {record.revision}, {who}",
    }


def part_data(one: NotePart) -> dict[str, Any]:
    """One part of a note: sentences first, then the lines that are compared."""
    return {
        "title": one.title,
        "remark": one.remark,
        "style": one.style,
        "said": [entry for entry in one.entries if isinstance(entry, str)],
        "lines": [_line(entry) for entry in one.entries if isinstance(entry, Line)],
    }


def _line(line: Line) -> dict[str, str]:
    right, left = (line.both, line.both) if line.both is not None else (line.right, line.left)
    return {"label": line.label, "remark": line.remark, "right": right or "", "left": left or ""}


def _pictures(record: Record, region: Region) -> Iterator[dict[str, Any]]:
    protocol, tables = protocol_of(region), tables_of(region)
    found = side_differences(record, protocol, tables)
    largest = sorted(found, key=lambda d: -abs(d.difference) / (d.threshold or 1))
    if drawn := [d for d in found if d in largest[:MOST_DIFFERENCES]]:
        picture = difference_picture(drawn, "Sides compared; the band is the error of measurement")
        yield _picture([picture_svg(picture)], picture.description, (), wide=True)
    yield from _figures(record, region)


def _figures(record: Record, region: Region) -> Iterator[dict[str, Any]]:
    atlas = atlas_of(region)
    if atlas is None:
        return
    for plate in found_plates(record, region, atlas):
        said = [signed.mark.words for signed in plate.signs if signed.mark.words]
        caption = [plate.title, *dict.fromkeys(said)]
        yield _picture([plate_svg(plate, styled=True)], ". ".join(caption), caption)
    for pose in drawn_poses(record, region):
        caption = [pose.item.label, *pose.words]
        yield _picture(list(_views(atlas, pose)), ". ".join(caption), caption)


def _views(atlas: Atlas, pose: MeasuredPose) -> Iterator[str]:
    for view in pose.views:
        plate = compose(atlas, view, pose.arms, ghost=pose.ghost, unmeasured=pose.unmeasured)
        yield plate_svg(plate, styled=True)


def _picture(
    svgs: list[str], alt: str, caption: Iterable[str], *, wide: bool = False
) -> dict[str, Any]:
    return {"svgs": svgs, "alt": alt, "caption": list(caption), "wide": wide}


def _course(record: Record, region: Region, earlier: Sequence[Record]) -> FollowUp | None:
    if not earlier:
        return None
    return follow([*earlier, record], protocol_of(region), tables_of(region))


def _course_parts(course: FollowUp | None) -> Iterator[NotePart]:
    if course is not None:
        said = (course.sentence, *(one.sentence for one in course.followed),
                *(one.sentence for one in course.scales))  # fmt: skip
        yield NotePart("course over the visits", said)


def _course_pictures(course: FollowUp | None) -> Iterator[dict[str, Any]]:
    if course is not None:
        picture = follow_picture(course)
        yield _picture([picture_svg(picture)], picture.description, (), wide=True)
