"""What a plan is made from: flags, what is called for, and what each open item could tell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sidewise.knowledge.region import Region
from sidewise.network import Gains, gains
from sidewise.protocol import Protocol, protocol_of
from sidewise.reason.interpretation import ADULT, error_of_one_reading, setting_used
from sidewise.reason.judging.flags import (
    Withheld,
    flag_book_of,
    meaningless,
    red_flags,
    withheld,
)
from sidewise.reason.judging.grading import grading_of
from sidewise.reason.judging.judge import Judge
from sidewise.reason.judging.observations import observe
from sidewise.reason.judging.results import record_with_results
from sidewise.reason.judging.variants import variants, variants_of
from sidewise.reason.judging.visit_calls import wanted_calls
from sidewise.reason.result import RedFlag
from sidewise.reason.weighing.layout import network_layout
from sidewise.reason.weighing.posterior import Weighing, weigh_record
from sidewise.reason.weighing.suggestions import open_readings, variables_of_interest
from sidewise.record import Record

DRAWS = 500


@dataclass(frozen=True)
class Expected:
    """Weighing of the record, what each open reading could tell, and of which conditions."""

    weighing: Weighing
    gains: Gains
    interest: tuple[int, ...]


@dataclass(frozen=True)
class Outlook:
    """One record seen from where the examination stands now.

    called: items that the record calls for, with why. expected: None where no probability is
    given, and then why_no_figures says why not.
    """

    record: Record
    protocol: Protocol
    setting: str
    flags: tuple[RedFlag, ...]
    withheld: Withheld
    called: Mapping[str, str]
    expected: Expected | None
    why_no_figures: str = ""
    warnings: tuple[str, ...] = ()


def outlook(record: Record, region: Region, setting: str | None = None) -> Outlook:
    """The flags, calls and expected gains of a record; UserError for an unknown setting."""
    protocol = protocol_of(region)
    record = record_with_results(record, protocol)
    used, warnings = setting_used(record, setting)
    judge = Judge(protocol, record, error_of_one_reading(region))
    book = flag_book_of(region)
    flags = red_flags(judge, book)
    kept_back = withheld(flags, book)
    why = _why_no_figures(record, region)
    if not why:
        void = meaningless(flags, book)
        laid = network_layout(region, record.context.complaint)
        excused = variants(judge, variants_of(region))
        seen = observe(judge, laid, excused, void, grading_of(region))
        weighing = weigh_record(record, region, seen, used, DRAWS)
        interest = tuple(variables_of_interest(laid, void))
        still = open_readings(laid, judge, kept_back, void)
        told = gains(weighing.mean, weighing.evidence, still, interest)
        expected = Expected(weighing, told, interest)
    return Outlook(
        record=record,
        protocol=protocol,
        setting=used,
        flags=flags,
        withheld=kept_back,
        called=wanted_calls(record, region, flags),
        expected=None if why else expected,
        why_no_figures=why,
        warnings=warnings,
    )


def _why_no_figures(record: Record, region: Region) -> str:
    age = record.context.age
    if not region.has_weighing:
        return "This region has no figures: only what screens a flag or is called for is planned."
    if age is not None and age < ADULT:
        return "Under 18 no figure applies: only what screens a flag or is called for is planned."
    return ""
