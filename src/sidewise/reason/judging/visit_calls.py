"""What a record calls for in its kind of visit, beside what every record calls for.

A short or focused visit has few items of its own. What its rules open, what was abnormal at the
visit that it follows, and what a red flag turns on for which something speaks are wanted all the
same, so that no kind of visit can pass over what a finding asks for.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from sidewise.errors import UserError, UserErrors
from sidewise.ground.validation import validate_model
from sidewise.knowledge.region import Region
from sidewise.protocol import Protocol, protocol_of
from sidewise.protocol.visits import FILE, VisitKind
from sidewise.reason.judging.called_for import CalledForRule, called_for, calls
from sidewise.reason.judging.judge import Judge
from sidewise.reason.judging.rules import below_zero, unresolved
from sidewise.reason.judging.ruling import Ruling
from sidewise.reason.result import RedFlag
from sidewise.record import Record

VisitRules = Mapping[str, tuple[CalledForRule, ...]]
"""By kind of visit: each item it calls for, with the rule and why."""


def visit_rules(region: Region) -> VisitRules:
    """The rules of the kinds of visit; UserErrors where a word of one resolves to nothing."""
    return region.view(_visit_rules)


def _visit_rules(region: Region) -> VisitRules:
    protocol = protocol_of(region)
    faults: list[UserError] = []
    found: dict[str, tuple[CalledForRule, ...]] = {}
    for kind in protocol.visits.kinds:
        try:
            found[kind.id] = tuple(_rules(kind, protocol))
        except UserErrors as errors:
            faults += errors.errors
    if faults:
        raise UserErrors(faults)
    return found


def _rules(kind: VisitKind, protocol: Protocol) -> Iterator[CalledForRule]:
    for number, call in enumerate(kind.calls):
        where = f"{FILE}: {kind.id}: calls[{number}]"
        data = {"rule": call.rule, "because": call.because}
        rules = [validate_model(CalledForRule, {"item": i, **data}, where) for i in call.items]
        rule = rules[0].rule
        faults = [
            UserError(where, problem, "words the protocol can answer",
                      "Correct the word, or add it to the protocol.")
            for problem in unresolved(rule, protocol)
        ]  # fmt: skip
        faults += [
            UserError(f"{where}: {cutoff.what}", cutoff.value, "nought or more",
                      "Say it the other way round: at_most for at_least.")
            for cutoff in below_zero(rule)
        ]  # fmt: skip
        if faults:
            raise UserErrors(faults)
        yield from rules


def visit_of(record: Record, protocol: Protocol) -> VisitKind:
    """The kind of visit that the record is of; the full one where it names none."""
    return protocol.visits.kind(record.context.visit)


def wanted_calls(record: Record, region: Region, flags: Iterable[RedFlag]) -> Mapping[str, str]:
    """Every item that the record calls for, in its kind of visit, with why."""
    judge = Judge(protocol_of(region), record)
    return with_visit_calls(called_for(judge, region), record, region, flags)


def with_visit_calls(
    called: Mapping[str, str], record: Record, region: Region, flags: Iterable[RedFlag]
) -> Mapping[str, str]:
    """What is called for anyway, and what the kind of visit adds to it."""
    protocol = protocol_of(region)
    kind = visit_of(record, protocol)
    if kind.is_full:
        return called
    added: dict[str, str] = {}
    for name, why in (
        *_by_rules(kind, record, region),
        *_by_flags(flags, protocol),
        *_watched(kind, record, protocol),
    ):
        if not kind.has(protocol.by_id[name]):
            added.setdefault(name, why)
    return {**added, **called}


def _by_rules(kind: VisitKind, record: Record, region: Region) -> Iterator[tuple[str, str]]:
    ruling = Ruling(Judge(protocol_of(region), record))
    for one in visit_rules(region)[kind.id]:
        if calls(one.rule, ruling):
            yield one.item, one.because


def _by_flags(flags: Iterable[RedFlag], protocol: Protocol) -> Iterator[tuple[str, str]]:
    """What a full examination has and a flag turns on for which something speaks."""
    by_label = {item.label: item.id for item in protocol.items if item.role != "optional"}
    for flag in flags:
        if flag.status != "not excluded" or not flag.because:
            continue
        for label in flag.missing:
            if label in by_label:
                yield by_label[label], f"Not excluded: {flag.label}."


def _watched(kind: VisitKind, record: Record, protocol: Protocol) -> Iterator[tuple[str, str]]:
    follows = record.context.follows
    if not kind.follows or follows is None:
        return
    for name in follows.watch:
        if name in protocol.by_id:
            yield name, f"Not normal at the visit of {follows.on}."
