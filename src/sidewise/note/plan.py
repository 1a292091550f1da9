"""The plan: criteria that are met, offered for the clinician to complete; never decided here."""

from __future__ import annotations

from sidewise.protocol import load_protocol
from sidewise.reason.flags import load_flags, thresholds
from sidewise.reason.judge import Judge
from sidewise.reason.result import Interpretation
from sidewise.record import Record

BLANK = "............"


def plan_offers(record: Record) -> tuple[str, ...]:
    """Published referral and imaging criteria that this record meets, with their source."""
    judge = Judge(load_protocol(record.region), record)
    book = load_flags(record.region)
    return tuple(f"{t.do} [{t.basis[0].source}]" for t in thresholds(judge, book))


def plan_lines(record: Record, result: Interpretation) -> list[str]:
    """The clinician's impression and plan as written, or blanks to fill, then the offers."""
    if any(flag.status == "raised" for flag in result.red_flags):
        first = ["PLAN  act on the raised flags first, by local protocol."]
    else:
        first = ["PLAN"]
    written = record.conclusion
    if written.impression:
        first.append(f"  impression (clinician): {written.impression}")
    first += [f"  {number}. {step}" for number, step in enumerate(written.plan, 1)]
    if not written.plan:
        first.append(f"  film {BLANK} bloods {BLANK} referral {BLANK} how fast {BLANK}")
    first += [f"  criterion met: {offer}" for offer in plan_offers(record)]
    return first
