"""The plan: criteria that are met, offered for the clinician to complete; never decided here."""

from __future__ import annotations

from collections.abc import Iterator

from sidewise.ground.language import say_text
from sidewise.knowledge.region import Region
from sidewise.note.care import planned_phrases
from sidewise.protocol import protocol_of
from sidewise.reason.judging.flags import flag_book_of, thresholds
from sidewise.reason.judging.judge import Judge
from sidewise.reason.judging.results import record_with_results
from sidewise.reason.result import Interpretation
from sidewise.record import Record


def plan_offers(record: Record, region: Region) -> tuple[str, ...]:
    """Published referral and imaging criteria that this record meets, with their source."""
    judge = Judge(protocol_of(region), record_with_results(record, protocol_of(region)))
    book = flag_book_of(region)
    return tuple(f"{t.do} [{t.basis[0].source}]" for t in thresholds(judge, book))


def plan_entries(record: Record, result: Interpretation, region: Region) -> Iterator[str]:
    """The clinician's impression and plan as written, then published criteria that are met."""
    if any(flag.status == "raised" for flag in result.red_flags):
        yield "Act on the raised flags first, by local protocol."
    written = record.conclusion
    said = written.impression or say_text("not written")
    yield say_text("impression (clinician): {words}", words=said)
    steps = [*planned_phrases(record, region), *written.plan]
    yield from (say_text("plan {number}: {step}", number=number, step=step)
                for number, step in enumerate(steps, 1))  # fmt: skip
    if not steps:
        yield say_text("plan (clinician): not written")
    yield from (say_text("criterion met: {words}.", words=offer)
                for offer in plan_offers(record, region))  # fmt: skip
