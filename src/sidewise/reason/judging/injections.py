"""Which raised flags speak against an injection, and whether each was acknowledged by name."""

from __future__ import annotations

from collections.abc import Iterable

from sidewise.errors import UserError
from sidewise.knowledge.region import Region
from sidewise.protocol import protocol_of
from sidewise.reason.judging.flags import FlagBook, flag_book_of, red_flags
from sidewise.reason.judging.judge import Judge
from sidewise.reason.judging.results import record_with_results
from sidewise.reason.result import RedFlag
from sidewise.record import Injection, Record


def against_injection(flags: Iterable[RedFlag], book: FlagBook) -> tuple[RedFlag, ...]:
    """Those that are raised and name an infection that a needle or a steroid would make worse."""
    stopping = {rule.id for rule in book.flags if rule.stops_injection}
    return tuple(flag for flag in flags if flag.status == "raised" and flag.flag in stopping)


def flags_against_injection(record: Record, region: Region) -> tuple[RedFlag, ...]:
    """The raised flags of a record that stop an injection until they are acknowledged by name."""
    protocol, book = protocol_of(region), flag_book_of(region)
    return against_injection(
        red_flags(Judge(protocol, record_with_results(record, protocol)), book), book
    )


def flags_not_acknowledged(record: Record, region: Region) -> tuple[RedFlag, ...]:
    """Raised flags that an injection of this record was given against without a word on them."""
    given = [entry for entry in record.care if isinstance(entry, Injection)]
    against = flags_against_injection(record, region) if given else ()
    return tuple(f for f in against if any(f.flag not in one.flags for one in given))


def check_injection(injection: Injection, record: Record, region: Region) -> None:
    """UserError where a raised infection flag is not acknowledged by name.

    An emergency does not stop being one because it was acknowledged: the flag goes on warning.
    """
    left = [f for f in flags_against_injection(record, region) if f.flag not in injection.flags]
    if left:
        raise UserError(
            "the injection", f"a raised flag: {'; '.join(flag.label for flag in left)}",
            "no infection suspected, or each such flag acknowledged by name",
            f"Do not inject: {left[0].do} If it was given all the same, tick the flag by name.",
        )  # fmt: skip
