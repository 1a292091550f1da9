"""The appendix of a note: everything that was recorded, stage by stage, both sides compared."""

from __future__ import annotations

from collections.abc import Iterator

from sidewise.ground.language import mark_text, say_text, term
from sidewise.knowledge.region import Region
from sidewise.note.body import Line, StageText
from sidewise.note.document import NoteEntry, NotePart, note_part
from sidewise.note.front import is_shortened
from sidewise.note.phrases import group_labels, is_absence
from sidewise.note.plates import figure_lines
from sidewise.reason.result import Interpretation
from sidewise.record import Record

QUIET = mark_text("painless, no real difference")


def appendix_blocks(
    record: Record, result: Interpretation, region: Region, stages: tuple[StageText, ...]
) -> tuple[NotePart, ...]:
    """What raised the flags in full, then every stage with anything in it, then the figure."""
    reasons = (
        f"{flag.label}: {'; '.join(flag.because)}."
        for flag in result.red_flags
        if is_shortened(flag)
    )
    return (
        *note_part(mark_text("why the flags are raised"), reasons),
        *(part for text in stages for part in _stage(text)),
        *note_part(mark_text("figure"), figure_lines(record, region), "figure"),
    )


def _stage(text: StageText) -> tuple[NotePart, ...]:
    if sets_up_only(text):
        return ()
    return note_part(str(text.stage), _entries(text), "lines")


def _entries(text: StageText) -> Iterator[NoteEntry]:
    if words := quiet_words(text):
        yield words
    yield from text.lines
    for r in text.ranges:
        both = r.right if r.right == r.left else None
        yield Line(r.label, r.right, r.left, both, term(QUIET))


def sets_up_only(text: StageText) -> bool:
    """Whether nothing of the stage is worth a line: preparation that went as it should."""
    return text.stage.sets_up and not text.lines


def quiet_words(text: StageText) -> str:
    """What is normal on both sides, what is not there, and what was negative, as sentences."""
    absent = tuple(words for words in text.normal if is_absence(words))
    plain = tuple(words for words in text.normal if not is_absence(words))
    sentences = []
    if plain:
        sentences.append(say_text("normal: {names}.", names=group_labels(plain)))
    if absent:
        sentences.append(f"{'; '.join(absent)}.")
    if text.negative:
        sentences.append(say_text("negative: {names}.", names=group_labels(text.negative)))
    first, *rest = sentences or [""]
    return " ".join((first, *(words[0].upper() + words[1:] for words in rest)))
