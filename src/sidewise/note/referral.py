"""The one line of a referral: who, what is dangerous, what was found, what is wanted."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from sidewise.ground.language import say_degrees, say_text
from sidewise.knowledge.region import Region
from sidewise.note.body import Line, StageText, stage_texts
from sidewise.note.care import planned_phrases
from sidewise.note.completeness import Completeness, completeness_of, essential, open_labels
from sidewise.note.header import complaint_words, person_words
from sidewise.note.meaning import called_for_flags, some_words
from sidewise.protocol.translation import shown_protocol
from sidewise.reason.result import Difference, Interpretation, RedFlag
from sidewise.record import Record

SHOWN = 4
"""Real differences, and other abnormal findings, that the line names; the note names them all."""


def referral_line(record: Record, result: Interpretation, region: Region) -> str:
    """The whole examination in one line, without a line break, for the head of a referral."""
    protocol = shown_protocol(region)
    state = completeness_of(record, result, region)
    stages = stage_texts(protocol, result, state)
    who = f"{record.context.patient}: {person_words(record)}; {complaint_words(record, protocol)}"
    said = (who, *_flags(result), _found(result, stages), *_wanted(record, region), *_open(state))
    return " ".join(f"{sentence[0].upper()}{sentence[1:]}." for sentence in said)


def _flags(result: Interpretation) -> Iterator[str]:
    if raised := [flag for flag in result.red_flags if flag.status == "raised"]:
        yield say_text("RED FLAG RAISED: {names}", names=_labels(raised))
    else:
        yield say_text("no red flag raised")
    still = called_for_flags(result.red_flags)
    # All for which something speaks; of those that only wait for a question, the first few.
    speaking = [f"{flag.label} ({flag.urgency})" for flag in still if flag.because]
    waiting = some_words(tuple(flag.label for flag in still if not flag.because), ";")
    if named := [*speaking, *([waiting] if waiting else [])]:
        yield say_text("not excluded: {names}", names="; ".join(named))
    if result.not_looked_at:
        names = some_words(result.not_looked_at, ";")
        yield say_text("not looked at or asked yet: {names}", names=names)


def _labels(flags: list[RedFlag]) -> str:
    return "; ".join(f"{flag.label} ({flag.urgency})" for flag in flags)


def _found(result: Interpretation, stages: tuple[StageText, ...]) -> str:
    real = {(one.item, one.mode): one for one in result.differences if one.real}
    lines = _one_an_item(line for text in stages for line in text.lines)
    moved = [line for line in lines if (line.item, line.mode) in real]
    moved.sort(key=lambda line: -_size(real[line.item, line.mode]))
    others = [line for line in lines if line not in moved]
    shown = [*moved[:SHOWN], *others[:SHOWN]]
    if not shown:
        return say_text("nothing abnormal found in what was examined")
    words = "; ".join(_words(line, real.get((line.item, line.mode))) for line in shown)
    more = len(lines) - len(shown)
    rest = say_text("; and {count} more abnormal", count=more) if more else ""
    return say_text("found: {words}", words=words) + rest


def _one_an_item(lines: Iterable[Line]) -> list[Line]:
    """What is abnormal, one line an item, the passive movement where both were."""
    kept: dict[str, Line] = {}
    for line in lines:
        if line.weight == "abnormal" and (line.item not in kept or line.mode == "passive"):
            kept[line.item] = line
    return list(kept.values())


def _size(one: Difference) -> float:
    return abs(one.difference) / (one.threshold or 1)


def _words(line: Line, difference: Difference | None) -> str:
    if difference is not None and difference.unit == "deg":
        left, right = say_degrees(difference.left), say_degrees(difference.right)
        return say_text("{label} left {left}, right {right}", label=line.label, left=left,
                        right=right)  # fmt: skip
    if line.both is not None:
        return f"{line.label} {line.both}"
    return say_text("{label} left {left}, right {right}", label=line.label, left=line.left,
                    right=line.right)  # fmt: skip


def _wanted(record: Record, region: Region) -> Iterator[str]:
    written = record.conclusion
    said = written.impression or say_text("not written")
    yield say_text("impression (clinician): {words}", words=said)
    if steps := [*planned_phrases(record, region), *written.plan]:
        yield say_text("plan: {words}", words="; ".join(steps))


def _open(state: Completeness) -> Iterator[str]:
    looked = [one for one in essential(state.unseen) if not one.stage.sets_up]
    if names := open_labels(looked):
        yield say_text("not examined: {names}", names=some_words(names, ";"))
