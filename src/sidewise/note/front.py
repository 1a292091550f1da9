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
from sidewise.ground.settings import SETTING_WORDS
from sidewise.knowledge.region import Region
from sidewise.note.body import Line, StageText, line_words, unable_lines
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
from sidewise.note.phrases import UNABLE, group_labels
from sidewise.note.plan import plan_entries
from sidewise.protocol import protocol_of
from sidewise.reason.result import Interpretation, RedFlag
from sidewise.record import Record

REASONS = 5
"""Findings named on the first page for each raised flag; the appendix names them all."""
NONE_RAISED = "None is raised by what was asked and examined."


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
        NotePart("red flags", tuple(_flags(result)), "flags"),
        NotePart("impression and plan", tuple(_plan(record, result, region)), "list"),
        *note_part("tests", test_lines(record, region)),
        *_abnormal(lines, examined=bool(record.findings)),
        *note_part("normal", normal_sentences(stages)),
        *note_part("measured", measured_sentences(stages)),
        NotePart("history", history_sentences(record, protocol_of(region))),
        *note_part("left open", open_sentences(record, result, region, state)),
        *_meaning(result),
        NotePart("basis", tuple(_basis(result, region))),
    )


def _flags(result: Interpretation) -> Iterator[str]:
    if not any(flag.status == "raised" for flag in result.red_flags):
        yield NONE_RAISED
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
    lines = [f"FOLLOW-UP: {one.sentence}." for one in result.followed_up]
    raised = any(flag.status == "raised" for flag in result.red_flags)
    if record.signed and raised and not lines:
        return ["FOLLOW-UP of the raised flags: not stated."]
    return lines


def _abnormal(lines: list[Line], *, examined: bool) -> tuple[NotePart, ...]:
    found = tuple(_one_row_each(line for line in lines if line.weight == "abnormal"))
    if found:
        return (NotePart("abnormal", found, "lines", "the other side beside it"),)
    said = "Nothing abnormal was found in what was examined." if examined else "Nothing examined."
    return (NotePart("abnormal", (said,)),)


def _one_row_each(lines: Iterable[Line]) -> Iterator[Line]:
    """Active and passive of one movement in one row; what has no modes as it is."""
    for (item, _), found in groupby(lines, key=lambda line: (line.item, line.mode is not None)):
        row = tuple(found)
        yield row[0] if len(row) == 1 or not item else _row_of_modes(row)


def _row_of_modes(row: tuple[Line, ...]) -> Line:
    first = row[0]
    remarks = [f"{line.mode}: {line.remark}" for line in row if line.remark]
    same = all(line.both is not None for line in row)
    return replace(
        first,
        label=first.label.removesuffix(f", {first.mode}"),
        right=None if same else _of_modes(row, "right"),
        left=None if same else _of_modes(row, "left"),
        both=_of_modes(row, "both") if same else None,
        remark="; ".join(remarks),
        mode=None,
    )


def _of_modes(row: tuple[Line, ...], side: str) -> str:
    told = (getattr(line, side) or line.both for line in row)
    return "; ".join(f"{line.mode} {words}" for line, words in zip(row, told, strict=True))


def normal_sentences(stages: tuple[StageText, ...]) -> Iterator[str]:
    """What is normal, by stage and number; negative tests and half-examined items by name."""
    counts = [
        f"{text.stage} {len(text.normal)}"
        for text in stages
        if text.normal and not text.stage.sets_up
    ]
    if counts:
        yield f"Items examined and normal: {', '.join(counts)}; each by name in the appendix."
    if negative := tuple(name for text in stages for name in text.negative):
        yield f"Negative: {group_labels(negative)}."
    variants = [line for text in stages for line in text.lines if line.weight == "variant"]
    if variants:
        yield f"Normal variants: {'; '.join(_variant(line) for line in variants)}."
    half = [line for text in stages for line in text.lines if line.weight == "one side"]
    if half:
        yield f"One side only: {'; '.join(_half(line) for line in half)}."


def _variant(line: Line) -> str:
    found = line.both if line.both is not None else f"right {line.right}, left {line.left}"
    return f"{line.label} ({found}): {line.remark.removeprefix('normal variant: ')}"


def _half(line: Line) -> str:
    # Why a side could not be examined stands with what was left open.
    sides = (("right", line.right or ""), ("left", line.left or ""))
    seen = [f"{side} {words}" for side, words in sides if not words.startswith(UNABLE)]
    return f"{line.label} ({', '.join(seen)})"


def measured_sentences(stages: tuple[StageText, ...]) -> Iterator[str]:
    """Numbers that no rule calls normal or abnormal by themselves."""
    ranges = [f"{r.label} {r.right} | {r.left}" for text in stages for r in text.ranges]
    if ranges:
        yield f"Painless, no real difference (right | left): {'; '.join(ranges)}."
    single = [line for text in stages for line in text.lines if line.weight == "measured"]
    yield from (line_words(line) for line in single)


BOTH = " Both sides, unless one is named."


def open_sentences(
    record: Record, result: Interpretation, region: Region, state: Completeness
) -> Iterator[str]:
    """What was not examined, could not be, must not be, and what is in conflict."""
    always = essential(state.unseen)
    looked = tuple(one for one in always if not one.stage.sets_up)
    what = "essential" if state.kind.is_full else f"part of the {state.kind.name}"
    yield from _named(f"NOT EXAMINED ({what})", looked)
    yield from _named("NOT RECORDED AS DONE", tuple(one for one in always if one.stage.sets_up))
    if state.left_out:
        names = group_labels(tuple(item.label for item in state.left_out))
        yield f"NOT PART OF THIS {state.kind.name.upper()}, NOT EXAMINED: {names}.{BOTH}"
    yield from (f"CALLED FOR, NOT EXAMINED: {words}" for words in called_for_lines(state.unseen))
    if unable := list(unable_lines(record, protocol_of(region))):
        yield f"COULD NOT BE EXAMINED: {'; '.join(unable)}."
    if result.withheld:
        reasons = dict.fromkeys(n.reason.removeprefix("withheld: ") for n in result.withheld)
        yield f"WITHHELD: {'; '.join(reasons)} ({len(result.withheld)} items)."
    if result.conflicts:
        labels = dict.fromkeys(f"{n.side} {n.label}" for n in result.conflicts)
        yield f"CONFLICT, to be settled before signing: {', '.join(labels)}."


def _named(head: str, missing: tuple[Missing, ...]) -> Iterator[str]:
    if labels := open_labels(missing):
        two = any(one.item.paired for one in missing) and len(labels) > 1
        yield f"{head}: {group_labels(labels)}.{BOTH if two else ''}"


def _meaning(result: Interpretation) -> tuple[NotePart, ...]:
    said = tuple(meaning_sentences(result))
    how = "probability with 95% interval, from the pre-test figure"
    return (NotePart("what it may mean", said, "list", how),) if said else ()


def _basis(result: Interpretation, region: Region) -> Iterator[NoteEntry]:
    if region.has_weighing:
        rows = len(fitted_of(region).summary["rows"])
        where = SETTING_WORDS.get(result.setting, result.setting)
        version = fitted_of(region).fingerprint[:12]
        yield (
            f"Pre-test figures for {where}; {rows} published rows fitted (version {version}); "
            "differences against published errors of measurement. Every figure has its source: "
            "see the sources of the item or the condition."
        )
    yield from result.cautions
