"""A record is a fold of append-only entries."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from sidewise.errors import UserError
from sidewise.record.ledger import (
    Amended,
    ContextSet,
    Discarded,
    Entry,
    Found,
    Opened,
    Signed,
    Undone,
    fold_entries,
)
from sidewise.record.model import Context
from tests.builders import BASE, angle, found, record, unable

AT = datetime(2026, 3, 2, 9, 40, tzinfo=UTC)
FIRST = angle("flexion", "left", 120)
SECOND = angle("flexion", "left", 130)


def entry(name: str, deed: Any) -> Entry:
    return Entry(id=name, at=AT, by="E1", deed=deed)


OPEN = entry("e0", Opened(region="shoulder", context=Context.model_validate(BASE)))


def test_findings_are_kept_in_order() -> None:
    state = fold_entries("r1", [OPEN, entry("e1", Found(finding=FIRST))])
    assert state.record == record(FIRST)


def test_a_correction_replaces_and_undo_puts_back() -> None:
    corrected = [
        OPEN,
        entry("e1", Found(finding=FIRST)),
        entry("e2", Found(finding=SECOND, replaces=("e1",))),
    ]
    assert fold_entries("r1", corrected).record.findings == (SECOND,)
    undone = [*corrected, entry("e3", Undone(entries=("e2",)))]
    assert fold_entries("r1", undone).record.findings == (FIRST,)


def test_a_second_tablet_makes_a_conflict_not_an_overwrite() -> None:
    state = fold_entries(
        "r1", [OPEN, entry("e1", Found(finding=FIRST)), entry("e2", Found(finding=SECOND))]
    )
    assert len(state.record.conflicts) == 1
    assert state.holding(SECOND) == ("e1", "e2")


def test_an_entry_sent_twice_counts_once() -> None:
    one = entry("e1", Found(finding=FIRST))
    assert fold_entries("r1", [OPEN, one, one]).record.findings == (FIRST,)


def test_a_conflict_cannot_be_signed() -> None:
    entries = [OPEN, entry("e1", Found(finding=FIRST)), entry("e2", Found(finding=SECOND))]
    with pytest.raises(UserError, match="without contradictions"):
        fold_entries("r1", [*entries, entry("e3", Signed())])


def test_a_signed_revision_is_frozen_until_amended_with_a_reason() -> None:
    signed = [OPEN, entry("e1", Found(finding=FIRST)), entry("e2", Signed())]
    with pytest.raises(UserError, match="amendment"):
        fold_entries("r1", [*signed, entry("e3", Found(finding=SECOND))])
    amended = [
        *signed,
        entry("e3", Amended(reason="read from the wrong side")),
        entry("e4", Found(finding=SECOND, replaces=("e1",))),
        entry("e5", Signed()),
    ]
    state = fold_entries("r1", amended).record
    assert state.revision == 2
    assert state.earlier[0].findings == (FIRST,)
    assert state.earlier[0].reason == "read from the wrong side"
    assert state.findings == (SECOND,)


def test_nothing_follows_a_discarded_draft() -> None:
    with pytest.raises(UserError, match="discarded"):
        fold_entries(
            "r1", [OPEN, entry("e1", Discarded(reason="wrong patient")), entry("e2", Signed())]
        )


def test_context_can_be_filled_in_later() -> None:
    state = fold_entries("r1", [OPEN, entry("e1", ContextSet(changes={"age": 61, "sex": "male"}))])
    assert (state.record.context.age, state.record.context.sex) == (61, "male")
    assert state.record.context.patient == "HERON-1"


def test_marks_on_the_figure_do_not_hold_each_others_slot() -> None:
    scar = found("scars", "left", "place", what="scar", view="front")
    state = fold_entries("r1", [OPEN, entry("e1", Found(finding=scar))])
    assert state.holding(scar) == ()


EYE = found("flexion", "left", "normal_by_eye", "passive")
SCAR = found("scars", "left", "place", what="scar", view="front")
DONE = unable("flexion", "left", mode="passive")
TAKES = [
    # What is entered, what stands there, whether it takes its place.
    (angle("flexion", "left", 120), angle("flexion", "left", 130), True),
    (angle("flexion", "left", 120), angle("flexion", "right", 120), False),
    (angle("flexion", "left", 120), angle("flexion", "left", 120, mode="active"), False),
    (angle("flexion", "left", 120), EYE, True),
    (EYE, angle("flexion", "left", 120, instrument="goniometer"), True),
    (EYE, EYE.model_copy(update={"repeat": 2}), False),
    (EYE, DONE, True),
    (DONE, EYE, True),
    (DONE, unable("flexion", "left", "asleep", mode="passive"), True),
    (SCAR, SCAR, False),
    (SCAR, unable("scars", "left"), True),
    (unable("scars", "left"), SCAR, True),
    (found("x", "left", "mrc", grade="4"), found("x", "left", "force", newtons=90), False),
]


@pytest.mark.parametrize(("entered", "held", "takes"), TAKES)
def test_what_takes_the_place_of_what_is_one_rule(entered: Any, held: Any, takes: bool) -> None:
    assert entered.takes_the_place_of(held) is takes


def test_the_rule_was_tried_on_enough() -> None:
    assert len(TAKES) >= 13
    assert {takes for _, _, takes in TAKES} == {True, False}
