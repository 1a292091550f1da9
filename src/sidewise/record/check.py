"""Holds a record against the protocol: every item known, every value possible, every side right."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from sidewise.errors import UserError, UserErrors
from sidewise.protocol import Item, Protocol
from sidewise.protocol.kinds import KIND_NAMES, Kind
from sidewise.protocol.model import nearest
from sidewise.record.model import Context, Finding, Record


def check_record(record: Record, protocol: Protocol) -> None:
    """Raises UserErrors that name each place where the record breaks the protocol."""
    errors = [*_context_errors(record.context, protocol), *_finding_errors(record, protocol)]
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
    if table in ("history", "vitals") and value is not None:
        context = Context.model_validate({**data, table: {name: value}})
        for error in _context_errors(context, protocol):
            raise error


def _context_errors(context: Context, protocol: Protocol) -> Iterator[UserError]:
    for name in context.history:
        if name not in protocol.history_by_id:
            yield UserError(
                f"context.history.{name}", name, "a question of the protocol",
                nearest(name, protocol.history_by_id),
            )  # fmt: skip
    for name, number in context.vitals.items():
        vital = protocol.vitals_by_id.get(name)
        where = f"context.vitals.{name}"
        if vital is None:
            yield UserError(where, name, f"one of {', '.join(protocol.vitals_by_id)}")
        elif not vital.low <= number <= vital.high:
            yield UserError(where, number, f"{vital.unit} from {vital.low:g} to {vital.high:g}",
                            "Check the unit and the decimal point.")  # fmt: skip


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
    error = LIMITS[finding.value.kind](finding.value, limits)
    return error.inside("value") if error else None


def _within(field: str, unit: str) -> Callable[[Any, Any], UserError | None]:
    def check(value: Any, limits: Any) -> UserError | None:
        number = getattr(value, field)
        low, high = getattr(limits, "low", 0), limits.high
        if number is None or low <= number <= high:
            return None
        return UserError(field, number, f"{unit} from {low:g} to {high:g}",
                         "Check for a missing decimal point or a slipped digit.")  # fmt: skip

    return check


def _sign(value: Any, limits: Any) -> UserError | None:
    if value.grade not in limits.grades:
        return UserError("grade", value.grade, f"one of {', '.join(limits.grades)}")
    if value.place and limits.places and value.place not in limits.places:
        return UserError("place", value.place, f"one of {', '.join(limits.places)}")
    return None


def _choice(value: Any, limits: Any) -> UserError | None:
    if len(value.chosen) != 1 and not limits.several:
        return UserError("choice", list(value.chosen), "exactly one choice")
    if not value.chosen:
        return UserError("choice", None, "at least one choice")
    for word in value.chosen:
        if word not in limits.options:
            return UserError("choice", word, f"one of {', '.join(limits.options)}")
    return None


def _result(value: Any, limits: Any) -> UserError | None:
    from sidewise.protocol.kinds import ASPECTS

    for aspect in ASPECTS:
        if getattr(value, aspect) and aspect not in limits.aspects:
            return UserError(aspect, True, f"only {', '.join(limits.aspects)} for this manoeuvre")
    if value.lag_degrees is not None and "lag" not in limits.aspects:
        return UserError("lag_degrees", value.lag_degrees, "no lag for this manoeuvre")
    if value.where and limits.places and value.where not in limits.places:
        return UserError("where", value.where, f"one of {', '.join(limits.places)}")
    return None


def _arc(value: Any, limits: Any) -> UserError | None:
    for name, number in (("from", value.start), ("to", value.end)):
        if number is not None and not limits.low <= number <= limits.high:
            return UserError(name, number, f"degrees from {limits.low:g} to {limits.high:g}")
    return None


def _anything(_value: Any, _limits: Any) -> None:
    return None


LIMITS: dict[str, Callable[[Any, Any], UserError | None]] = {
    "sign": _sign,
    "normal_by_eye": _anything,
    "tenderness": _anything,
    "angle": _within("degrees", "degrees"),
    "arc": _arc,
    "level": _anything,
    "length": _within("cm", "centimetres"),
    "seconds": _within("seconds", "seconds"),
    "count": _within("count", "a whole number"),
    "mrc": _anything,
    "force": _within("newtons", "newtons"),
    "result": _result,
    "choice": _choice,
    "place": _anything,
    "reflex": _anything,
    "sensation": _anything,
    "pulse": _anything,
    "vital": lambda value, limits: _within("number", limits.unit)(value, limits),
    "text": _anything,
}
# A new kind of value cannot be skipped in silence.
assert set(LIMITS) == set(KIND_NAMES)


def is_normal(finding: Finding, kind: Kind) -> bool | None:
    """Whether an examined finding is the item's normal; None where a number needs norms."""
    value = finding.value
    assert value is not None, "only examined findings have a normal"
    match value.kind:
        case "sign":
            return value.grade == kind.grades[0]  # type: ignore[union-attr]
        case "normal_by_eye":
            return True
        case "tenderness":
            return value.grade == 0
        case "arc":
            return value.painless
        case "mrc":
            return value.grade == "5" and not value.limited_by_pain
        case "result":
            return value.result == "negative"
        case "choice":
            return bool(kind.normal) and set(value.chosen) <= set(kind.normal)  # type: ignore[union-attr]
        case "place":
            return False
        case "reflex":
            return value.reflex == "normal"
        case "sensation":
            return value.sensation == "normal"
        case "pulse":
            return value.pulse == "normal"
        case "seconds":
            return True if value.none else None
        case "count" | "length":
            return True if (value.count if value.kind == "count" else value.cm) == 0 else None
        case "angle" | "level" | "force" | "vital" | "text":
            return None
