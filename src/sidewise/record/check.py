"""Holds a record against the protocol: every item known, every value possible, every side right."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sidewise.errors import UserError, UserErrors
from sidewise.kinds import Limits, kind_of
from sidewise.protocol import Item, Protocol
from sidewise.protocol.model import nearest_names
from sidewise.record.care import CareEntry, Injection
from sidewise.record.model import Context, Finding, Record
from sidewise.record.statement import TABLES, checked_value, is_weighed


def check_record(record: Record, protocol: Protocol) -> None:
    """Raises UserErrors that name each place where the record breaks the protocol."""
    errors = [
        *_context_errors(record.context, protocol),
        *_finding_errors(record, protocol),
        *_care_errors(record, protocol),
    ]
    if record.region != protocol.region:
        errors.insert(0, UserError("region", record.region, protocol.region))
    if errors:
        raise UserErrors(errors)


def check_finding(finding: Finding, protocol: Protocol) -> None:
    """Raises UserError where one finding breaks the protocol."""
    item = protocol.item(finding.item)
    for find_error in (_side_error, _mode_error, _value_error):
        if error := find_error(finding, item):
            raise error


def check_statement(field: str, value: Any, protocol: Protocol) -> None:
    """Raises UserError where a statement names no question or sign of the protocol, or too much."""
    data = {"patient": "-", "examiner": "-", "examined_at": "2000-01-01T00:00:00+00:00"}
    table, _, name = field.partition(".")
    stated = {table: {name: value}} if name else {field: value}
    if table == "scales" and value is not None:
        # In a file any total stands, as it always did; only a known one can be stated.
        if error := _scale_error(name, value, protocol):
            raise error
    elif (table in TABLES or field == "visit") and value is not None:
        context = Context.model_validate({**data, **stated})
        for error in _context_errors(context, protocol):
            raise error


def _context_errors(context: Context, protocol: Protocol) -> Iterator[UserError]:
    for name in context.history:
        if name not in protocol.history_by_id:
            yield UserError(
                f"context.history.{name}", name, "a question of the protocol",
                nearest_names(name, protocol.history_by_id),
            )  # fmt: skip
    for name, number in context.vitals.items():
        vital = protocol.vitals_by_id.get(name)
        where = f"context.vitals.{name}"
        if vital is None:
            yield UserError(where, name, f"one of {', '.join(protocol.vitals_by_id)}")
        elif not vital.low <= number <= vital.high:
            yield UserError(where, number, f"{vital.unit} from {vital.low:g} to {vital.high:g}",
                            "Check the unit and the decimal point.")  # fmt: skip
    if context.visit is not None and context.visit not in protocol.visits.names:
        known = ", ".join(protocol.visits.names)
        yield UserError("context.visit", context.visit, f"one of {known}",
                        "Choose a kind of visit of this region.")  # fmt: skip
    for field, values in context.disputed.items():
        yield from _disputed_errors(field, values, protocol)


def _disputed_errors(
    field: str, values: tuple[Any, ...], protocol: Protocol
) -> Iterator[UserError]:
    """Every value of a disputed field must be one that the field could hold."""
    where = f"context.disputed.{field}"
    if not is_weighed(field):
        yield UserError(where, field, "a field that a rule reads, such as vitals.temperature",
                        "Settle the field, or take it out of `disputed`.")  # fmt: skip
        return
    for value in values:
        try:
            check_statement(field, checked_value(field, value), protocol)
        except UserError as error:
            yield error.inside("context.disputed")


def _scale_error(name: str, number: float, protocol: Protocol) -> UserError | None:
    scale, where = protocol.scales_by_id.get(name), f"context.scales.{name}"
    if scale is None:
        known = protocol.scales_by_id
        close = nearest_names(name, known) if known else "This region follows no totals."
        return UserError(where, name, f"one of {', '.join(known) or 'none'}", close)
    if not scale.low <= number <= scale.high:
        return UserError(where, number, f"{scale.label} from {scale.low:g} to {scale.high:g}",
                         "Check the scale and the decimal point.")  # fmt: skip
    return None


def check_care(entry: CareEntry, protocol: Protocol) -> None:
    """Raises UserError where something done or planned names what the protocol does not have."""
    if not isinstance(entry, Injection):
        return
    known = protocol.injection_places
    if known and entry.place not in known:
        raise UserError("place", entry.place, f"one of {', '.join(known)}")
    movement = entry.response.movement if entry.response else None
    if movement is not None and protocol.item(movement).kind("angle") is None:
        raise UserError("response.movement", movement, "a movement that is read in degrees")


def _care_errors(record: Record, protocol: Protocol) -> Iterator[UserError]:
    for place, entry in enumerate(record.care):
        try:
            check_care(entry, protocol)
        except UserError as error:
            yield error.inside(f"care[{place}]")


def _finding_errors(record: Record, protocol: Protocol) -> Iterator[UserError]:
    for place, finding in enumerate(record.findings):
        try:
            check_finding(finding, protocol)
        except UserError as error:
            yield error.inside(f"findings[{place}]")


def _side_error(finding: Finding, item: Item) -> UserError | None:
    if item.paired and finding.side == "midline":
        return UserError("side", None if "side" not in finding.model_fields_set else finding.side,
                         f'"left" or "right" for {item.id}',
                         "Left and right are always the patient's own.")  # fmt: skip
    if not item.paired and finding.side != "midline":
        return UserError("side", finding.side, f'"midline" or no side for {item.id}')
    return None


def _mode_error(finding: Finding, item: Item) -> UserError | None:
    if item.modes and finding.mode not in item.modes:
        return UserError("mode", finding.mode, f"one of {', '.join(item.modes)} for {item.id}")
    if not item.modes and finding.mode is not None:
        return UserError("mode", finding.mode, f"no mode for {item.id}")
    return None


def _value_error(finding: Finding, item: Item) -> UserError | None:
    if finding.value is None:
        return None
    limits = item.kind(finding.value.kind)
    if limits is None:
        names = ", ".join(kind.kind for kind in item.kinds)
        return UserError("value.kind", finding.value.kind, f"{names} for {item.id}")
    error = kind_of(finding.value).check(finding.value, limits)
    return error.inside("value") if error else None


def is_normal(finding: Finding, limits: Limits) -> bool | None:
    """Whether an examined finding is the item's normal; None where a number needs norms."""
    assert finding.value is not None, "only examined findings have a normal"
    return kind_of(finding.value).is_normal(finding.value, limits)
