"""The first page of a note: what a colleague acts on, in the order of a handover.

What is dangerous, what the clinician thinks and plans, what is abnormal with the other side beside
it, what is normal, the history, what was not examined, what it may mean, and what that rests on.
The order is common practice in handing a patient over; no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import groupby

from sidewise.evidence.fit.fitted import fitted_of
from sidewise.ground.language import mark_text, say_text, term
from sidewise.ground.settings import SETTING_WORDS
from sidewise.knowledge.region import Region
from sidewise.note.body import (
    Line,
    StageText,
    line_words,
    unable_lines,
    variant_named,
)
from sidewise.note.care import done_lines, test_lines
from sidewise.note.completeness import (
    Completeness,
    Missing,
    called_for_lines,
    essential,
    open_labels,
)
from sidewise.note.conclusions import meaning_sentences
from sidewise.note.document import NoteEntry, NotePart, note_part
from sidewise.note.header import history_sentences
from sidewise.note.meaning import flag_lines
from sidewise.note.phrases import UNABLE, group_labels, said_label, said_side
from sidewise.note.plan import plan_entries
from sidewise.protocol.translation import shown_protocol
from sidewise.reason.result import Interpretation, RedFlag
from sidewise.record import Record

REASONS = 5
"""Findings named on the first page for each raised flag; the appendix names them all."""
NONE_RAISED = mark_text("None is raised by what was asked and examined.")


def front_blocks(
    record: Record,
    result: Interpretation,
    region: Region,
    state: Completeness,
    stages: tuple[StageText, ...],
) -> tuple[NotePart, ...]:
    """Every block of the first page that has something to say, in their order."""
    lines = [line for text in stages for line in text.lines]
    return (
        *note_part(mark_text("red flags"), _flags(result), "flags"),
        *note_part(mark_text("impression and plan"), _plan(record, result, region), "list"),
        *note_part(mark_text("tests"), test_lines(record, region)),
        *_abnormal(lines, examined=bool(record.findings)),
        *note_part(mark_text("normal"), normal_sentences(stages)),
        *note_part(mark_text("measured"), measured_sentences(stages)),
        *note_part(mark_text("history"), history_sentences(record, shown_protocol(region))),
        *note_part(mark_text("left open"), open_sentences(record, result, region, state)),
        *_meaning(result),
        *note_part(mark_text("basis"), _basis(result, region)),
    )


def _flags(result: Interpretation) -> Iterator[str]:
    if not any(flag.status == "raised" for flag in result.red_flags):
        yield term(NONE_RAISED)
    shown = tuple(_shortened(flag) for flag in result.red_flags)
    begun = ""
    for line in flag_lines(shown, result.not_looked_at):
        words = f"{begun} {line.strip()}".strip()
        # What ends in a colon is the head of the next line: a sentence of a note is whole.
        begun = words if words.endswith(":") else ""
        if not begun:
            yield words


def is_shortened(flag: RedFlag) -> bool:
    """Whether the first page names only some of what raised a flag."""
    return flag.status == "raised" and len(flag.because) > REASONS + 1


def _shortened(flag: RedFlag) -> RedFlag:
    if not is_shortened(flag):
        return flag
    more = f"and {len(flag.because) - REASONS} more, named in the appendix"
    return replace(flag, because=(*flag.because[:REASONS], more))


def _plan(record: Record, result: Interpretation, region: Region) -> Iterator[str]:
    yield from plan_entries(record, result, region)
    yield from follow_up_lines(record, result)
    yield from done_lines(record, region)


def follow_up_lines(record: Record, result: Interpretation) -> list[str]:
    """Who follows each raised flag up, as it was said at the signature; or that nobody said."""
    lines = [say_text("FOLLOW-UP: {words}.", words=one.sentence) for one in result.followed_up]
    raised = any(flag.status == "raised" for flag in result.red_flags)
    if record.signed and raised and not lines:
        return [say_text("FOLLOW-UP of the raised flags: not stated.")]
    return lines


def _abnormal(lines: list[Line], *, examined: bool) -> tuple[NotePart, ...]:
    found = tuple(_one_row_each(line for line in lines if line.weight == "abnormal"))
    if found:
        remark = say_text("the other side beside it")
        return (NotePart(say_text("abnormal"), found, "lines", remark),)
    nothing = say_text("Nothing abnormal was found in what was examined.")
    return (
        NotePart(say_text("abnormal"), (nothing if examined else say_text("Nothing examined."),)),
    )


def _one_row_each(lines: Iterable[Line]) -> Iterator[Line]:
    """Active and passive of one movement in one row; what has no modes as it is."""
    for (item, _), found in groupby(lines, key=lambda line: (line.item, line.mode is not None)):
        row = tuple(found)
        yield row[0] if len(row) == 1 or not item else _row_of_modes(row)


def _row_of_modes(row: tuple[Line, ...]) -> Line:
    first = row[0]
    remarks = [f"{term(line.mode or '')}: {line.remark}" for line in row if line.remark]
    same = all(line.both is not None for line in row)
    return replace(
        first,
        label=first.label.removesuffix(f", {term(first.mode or '')}"),
        right=None if same else _of_modes(row, "right"),
        left=None if same else _of_modes(row, "left"),
        both=_of_modes(row, "both") if same else None,
        remark="; ".join(remarks),
        mode=None,
    )


def _of_modes(row: tuple[Line, ...], side: str) -> str:
    told = (getattr(line, side) or line.both for line in row)
    return "; ".join(
        f"{term(line.mode or '')} {words}" for line, words in zip(row, told, strict=True)
    )


def normal_sentences(stages: tuple[StageText, ...]) -> Iterator[str]:
    """What is normal, by stage and number; negative tests and half-examined items by name."""
    counts = [
        f"{text.stage} {len(text.normal)}"
        for text in stages
        if text.normal and not text.stage.sets_up
    ]
    if counts:
        yield say_text("Items examined and normal: {counts}; each by name in the appendix.",
                       counts=", ".join(counts))  # fmt: skip
    if negative := tuple(name for text in stages for name in text.negative):
        yield say_text("Negative: {names}.", names=group_labels(negative))
    variants = [line for text in stages for line in text.lines if line.weight == "variant"]
    if variants:
        yield say_text("Normal variants: {names}.", names="; ".join(map(_variant, variants)))
    half = [line for text in stages for line in text.lines if line.weight == "one side"]
    if half:
        yield say_text("One side only: {names}.", names="; ".join(map(_half, half)))


def _variant(line: Line) -> str:
    apart = say_text("right {right}, left {left}", right=line.right, left=line.left)
    found = line.both if line.both is not None else apart
    return f"{line.label} ({found}): {variant_named(line.remark) or line.remark}"


def _half(line: Line) -> str:
    # Why a side could not be examined stands with what was left open.
    sides = (("right", line.right or ""), ("left", line.left or ""))
    seen = [f"{term(side)} {words}" for side, words in sides if not words.startswith(term(UNABLE))]
    return f"{line.label} ({', '.join(seen)})"


def measured_sentences(stages: tuple[StageText, ...]) -> Iterator[str]:
    """Numbers that no rule calls normal or abnormal by themselves."""
    ranges = [f"{r.label} {r.right} | {r.left}" for text in stages for r in text.ranges]
    if ranges:
        yield say_text("Painless, no real difference (right | left): {ranges}.",
                       ranges="; ".join(ranges))  # fmt: skip
    single = [line for text in stages for line in text.lines if line.weight == "measured"]
    yield from (line_words(line) for line in single)


BOTH = mark_text(" Both sides, unless one is named.")
NOT_EXAMINED = mark_text("NOT EXAMINED (essential)")
NOT_DONE = mark_text("NOT RECORDED AS DONE")


def open_sentences(
    record: Record, result: Interpretation, region: Region, state: Completeness
) -> Iterator[str]:
    """What was not examined, could not be, must not be, and what is in conflict."""
    always = essential(state.unseen)
    looked = tuple(one for one in always if not one.stage.sets_up)
    part = say_text("NOT EXAMINED (part of the {visit})", visit=state.kind.name)
    yield from _named(term(NOT_EXAMINED) if state.kind.is_full else part, looked)
    yield from _named(term(NOT_DONE), tuple(one for one in always if one.stage.sets_up))
    if state.left_out:
        names = group_labels(tuple(item.label for item in state.left_out))
        yield say_text("NOT PART OF THIS {visit}, NOT EXAMINED: {names}.",
                       visit=state.kind.name.upper(), names=names) + term(BOTH)  # fmt: skip
    yield from (say_text("CALLED FOR, NOT EXAMINED: {words}", words=words)
                for words in called_for_lines(state.unseen))  # fmt: skip
    if unable := list(unable_lines(record, shown_protocol(region))):
        yield say_text("COULD NOT BE EXAMINED: {names}.", names="; ".join(unable))
    if result.withheld:
        reasons = dict.fromkeys(n.reason.removeprefix("withheld: ") for n in result.withheld)
        yield say_text("WITHHELD: {reasons} ({count} items).",
                       reasons="; ".join(reasons), count=len(result.withheld))  # fmt: skip
    if result.conflicts:
        labels = dict.fromkeys(said_side(n.side, said_label(n.label)) for n in result.conflicts)
        yield say_text("CONFLICT, to be settled before signing: {names}.", names=", ".join(labels))


def _named(head: str, missing: tuple[Missing, ...]) -> Iterator[str]:
    if labels := open_labels(missing):
        two = any(one.item.paired for one in missing) and len(labels) > 1
        yield f"{head}: {group_labels(labels)}.{term(BOTH) if two else ''}"


def _meaning(result: Interpretation) -> tuple[NotePart, ...]:
    said = tuple(meaning_sentences(result))
    how = say_text("probability with 95% interval, from the pre-test figure")
    return (NotePart(say_text("what it may mean"), said, "list", how),) if said else ()


def _basis(result: Interpretation, region: Region) -> Iterator[NoteEntry]:
    if region.has_weighing:
        rows = len(fitted_of(region).summary["rows"])
        where = term(SETTING_WORDS.get(result.setting, result.setting))
        yield say_text(
            "Pre-test figures for {where}; {rows} published rows fitted (version {version}); "
            "differences against published errors of measurement. Every figure has its source: "
            "see the sources of the item or the condition.",
            where=where, rows=rows, version=fitted_of(region).fingerprint[:12],
        )  # fmt: skip
    yield from result.cautions
