"""Writes a finding as one entry of a line, in words that read back as the same finding."""

from __future__ import annotations

from collections.abc import Iterator

from sidewise.kinds import kind_of
from sidewise.kinds.common.line import quoted_text
from sidewise.knowledge.region import Region
from sidewise.protocol import Item, protocol_of
from sidewise.record.line.words import LineWords, line_words_of
from sidewise.record.model import Finding


def write_line(finding: Finding, region: Region) -> str:
    """The finding as an entry of a line: name, side, mode, what was found, and what goes with it.

    `read_line` gives the same finding back; a choice of one from a list of several comes back as
    that one word.
    """
    item = protocol_of(region).item(finding.item)
    name = line_words_of(region).names.get(item.id, item.id.replace("_", " "))
    return _line(finding, item, name)


def phrase_line(finding: Finding, words: LineWords) -> str:
    """The finding as it stands in a question: by the item's label, in the words of a line."""
    item = words.protocol.by_id[finding.item]
    return _line(finding, item, item.label)


def _line(finding: Finding, item: Item, name: str) -> str:
    said = [name, *_marks(finding), *_found(finding, item), *_extras(finding)]
    if finding.reason is not None and finding.status != "examined":
        said.append(quoted_text(finding.reason))
    return " ".join(said)


def _marks(finding: Finding) -> Iterator[str]:
    if finding.side != "midline":
        yield finding.side
    if finding.mode:
        yield finding.mode


def _found(finding: Finding, item: Item) -> Iterator[str]:
    if finding.value is None:
        yield finding.status
        return
    limits = item.kind(finding.value.kind)
    yield from kind_of(finding.value).line.write(finding.value, limits)


def _extras(finding: Finding) -> Iterator[str]:
    if finding.repeat != 1:
        yield f"reading {finding.repeat}"
    if finding.examiner is not None:
        yield f"examiner {quoted_text(finding.examiner)}"
    if finding.note is not None:
        yield f"note {quoted_text(finding.note)}"
    if finding.together:
        yield "together"
