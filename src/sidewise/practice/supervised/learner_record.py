"""What a learner found at a patient: a record of its own, which no bedside reads.

It holds findings and the side that hurts, and nothing else of the patient: no code, no age, no
history. It is of the same kind as any record, so that it can be held beside the supervisor's.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any

from sidewise.errors import UserError
from sidewise.ground.validation import validate_model
from sidewise.knowledge.region import Region
from sidewise.protocol import protocol_of
from sidewise.record import Context, Finding, Record
from sidewise.record.check import check_finding
from sidewise.record.line import line_words_of, read_line

NOBODY = "LEARNER"
"""Stands for the patient's code: a learner's record does not say whose it is."""
NO_DAY = datetime(2000, 1, 1, tzinfo=UTC)


def parse_finding(data: Any, region: Region) -> Finding:
    """A finding from plain data, checked against the protocol; UserError where it is none."""
    found = validate_model(Finding, data, "the finding")
    check_finding(found, protocol_of(region))
    return found


def typed_finding(region: Region, item: str, side: str, mode: str, text: str) -> Finding:
    """What was typed beside one item, in the words of a line ("35 firm, pain")."""
    protocol = protocol_of(region)
    known = protocol.item(item)
    name = line_words_of(region).names.get(item, item.replace("_", " "))
    marks = (name, side if known.paired else "", mode)
    reading = read_line(" ".join(filter(None, (*marks, text.strip()))), region)
    found = [one for one in reading.findings if one.item == item]
    if reading.questions or reading.not_understood or len(found) != 1 or len(reading.findings) != 1:
        raise UserError(known.label, text, "what was found there, as in a typed line",
                        'For example "35 firm", "tender 2" or "unable too stiff".')  # fmt: skip
    check_finding(found[0], protocol)
    return found[0]


def learner_record(
    name: str, region: Region, complaint: tuple[str, ...], examiner: str, found: Iterable[Finding]
) -> Record:
    """The findings as a record; a later one takes the place of an earlier one at its place."""
    kept: list[Finding] = []
    for finding in found:
        kept = [one for one in kept if not finding.takes_the_place_of(one)] + [finding]
    context = Context.model_validate(
        {"patient": NOBODY, "examiner": examiner, "examined_at": NO_DAY, "complaint": complaint}
    )
    return Record(id=name, region=region.id, context=context, findings=tuple(kept))
