"""Whether examinations can be followed: one person, in order, each reading with its instrument."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from sidewise.errors import UserError, UserErrors
from sidewise.measure.sides.readings import Measurement, written_day
from sidewise.record import Record


def check_visits(records: Sequence[Record], names: Sequence[str]) -> None:
    if len(records) < 2:
        raise UserError("visits", len(records), "two or more examinations of one person")
    first, errors = records[0], []
    for name, record in zip(names, records, strict=True):
        if record.context.patient != first.context.patient:
            errors.append(
                UserError(
                    f"{name}: context.patient",
                    record.context.patient,
                    f'"{first.context.patient}", as in {names[0]}',
                    "Follow one person at a time.",
                )
            )
        if record.region != first.region:
            errors.append(UserError(f"{name}: region", record.region, first.region))
    for (name, earlier), (later_name, later) in pairwise(zip(names, records, strict=True)):
        if error := _order_error(name, earlier, later_name, later):
            errors.append(error)
    if errors:
        raise UserErrors(errors)


def _order_error(name: str, earlier: Record, later_name: str, later: Record) -> UserError | None:
    before, after = earlier.context.examined_at, later.context.examined_at
    where = f"{later_name}: context.examined_at"
    if before.date() == after.date():
        return UserError(
            where,
            written_day(after),
            f"another day than {name}",
            "Two readings of one day are repeats: put them in one examination.",
        )
    if after < before:
        return UserError(
            where,
            written_day(after),
            f"a day after {name} ({written_day(before)})",
            "Give the visits in the order they were made.",
        )
    return None


def check_instruments(visits: Sequence[Sequence[Measurement]], names: Sequence[str]) -> None:
    errors = [
        UserError(f"{name}: {m.item}, {m.side}", m.instrument, "the instrument it was read with",
                  "Add it; a reading by eye has the instrument eye.")
        for name, visit in zip(names, visits, strict=True) for m in visit
        if m.instrument is None and m.quantity in ("angle", "force")
    ]  # fmt: skip
    if errors:
        raise UserErrors(errors)
