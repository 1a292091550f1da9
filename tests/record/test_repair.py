"""A visit of the wrong patient or with exchanged sides is put right by an entry, and shows it."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from sidewise.errors import UserError
from sidewise.record import Context, Record, check_record, read_record
from sidewise.record.ledger import (
    Amended,
    Concluded,
    Deed,
    Discarded,
    Entry,
    Found,
    Mirrored,
    Moved,
    Opened,
    Signed,
    Stated,
    Undone,
    fold_entries,
    ledger_digest,
    signatures_that_do_not_fit,
)
from sidewise.record.model import Conclusion, Finding
from sidewise.record.repair import mirror_words, words_with_sides
from tests.builders import BASE, found, positive
from tests.shoulder import PROTOCOL, REGIONS

AT = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)
EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.json"))
WHY = "the examiner stood behind the patient"


def entries(*deeds: Deed, **context: Any) -> list[Entry]:
    whole = Context.model_validate({**BASE, **context})
    every = (Opened(region="shoulder", context=whole), *deeds)
    return [
        Entry(id=f"e{n}", at=AT + timedelta(minutes=n), by="E1", deed=deed)
        for n, deed in enumerate(every)
    ]


def fold(*deeds: Deed, **context: Any) -> Record:
    return fold_entries("r1", entries(*deeds, **context)).record


def mirrored(finding: Finding) -> Finding:
    (turned,) = fold(Found(finding=finding), Mirrored(reason=WHY)).findings
    return turned


def test_every_side_is_exchanged_and_the_writing_hand_is_not() -> None:
    known = {"left": {"tear": True}, "right": {"surgery": True}}
    one = fold(Found(finding=positive("neer", "left")), Mirrored(reason=WHY), known=known)
    assert one.findings[0].side == "right"
    assert one.context.complaint == ("right",)
    assert (one.context.known.right.tear, one.context.known.left.surgery) == (True, True)
    assert one.context.dominant == "right"


def test_what_was_stated_of_a_side_is_exchanged_with_it() -> None:
    said = (Stated(field="complaint", value="right"), Stated(field="known.right", value="tear"))
    context = fold(*said, Mirrored(reason=WHY)).context
    assert context.complaint == ("left",)
    assert context.known.left.tear


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_exchanged_twice_every_example_is_as_it_was(path: Path) -> None:
    one = read_record(path, REGIONS)
    deeds: list[Deed] = [Found(finding=finding) for finding in one.findings]
    context = one.context.model_dump(mode="json")
    once = fold(*deeds, Mirrored(reason=WHY), **context)
    twice = fold(*deeds, Mirrored(reason=WHY), Mirrored(reason=WHY), **context)
    check_record(once, PROTOCOL)
    assert (twice.findings, twice.context) == (one.findings, one.context)
    assert any(finding.side == "left" for finding in one.findings)
    swapped = [f.side for f in once.findings]
    other = {"left": "right", "right": "left", "midline": "midline"}
    assert swapped == [other[f.side] for f in one.findings]


def test_every_word_of_the_protocol_that_names_a_side_has_its_mirror() -> None:
    swept = 0
    for item in PROTOCOL.items:
        for limits in item.kinds:
            options = getattr(limits, "options", ())
            for word in options:
                if re.search(r"\b(left|right)\b", word):
                    assert mirror_words(word) in options, (item.id, word)
                    swept += 1
    assert swept >= 4
    assert {mirror_words(view) for view in PROTOCOL.views} == set(PROTOCOL.views)


def test_a_side_inside_a_value_and_on_the_figure_is_exchanged() -> None:
    word = found("neck_painful_direction", "midline", "choice", choice="turning to the right")
    assert mirrored(word).value.choice == "turning to the left"
    front = found("scars", "left", "place", what="scar, left", view="front", x=0.25, y=0.4)
    turned = mirrored(front)
    assert (turned.side, turned.value.view, turned.value.x, turned.value.y) == (
        "right", "front", 0.75, 0.4,
    )  # fmt: skip
    assert turned.value.what == "scar, left"
    side_view = found("scars", "left", "place", what="scar", view="left side", x=0.25, y=0.4)
    assert (mirrored(side_view).value.view, mirrored(side_view).value.x) == ("right side", 0.25)


def test_free_words_stay_as_typed_and_are_listed() -> None:
    noted = positive("neer", "left").model_copy(update={"note": "worse than RIGHT"})
    mine = Conclusion(impression="left cuff tear", plan=("film of the shoulder",))
    one = fold(Found(finding=noted), Concluded(conclusion=mine), Mirrored(reason=WHY))
    assert one.findings[0].note == "worse than RIGHT"
    assert list(words_with_sides(one)) == ["left cuff tear", "worse than RIGHT"]


def test_what_is_taken_back_after_the_exchange_brings_up_the_exchanged() -> None:
    first = Found(finding=positive("neer", "left"))
    instead = Found(finding=found("neer", "left", "result", result="negative"), replaces=("e1",))
    one = fold(first, instead, Mirrored(reason=WHY), Undone(entries=("e2",)))
    assert [(f.side, f.value.result) for f in one.findings] == [("right", "positive")]


def test_a_signed_revision_stays_as_it_was_signed_and_its_signature_fits() -> None:
    before = entries(Found(finding=positive("neer", "left")))
    signed = Signed(ledger=ledger_digest(before))
    later = (signed, Amended(reason=WHY), Mirrored(reason=WHY))
    every = entries(Found(finding=positive("neer", "left")), *later)
    one = fold_entries("r1", every).record
    assert signatures_that_do_not_fit(every) == []
    assert one.signed is None
    assert one.earlier[0].findings[0].side == "left"
    assert one.earlier[0].context.complaint == ("left",)
    assert one.findings[0].side == "right"


@pytest.mark.parametrize("repair", [Mirrored(reason=WHY), Moved(was="HERON-1", patient="DUNLIN-4",
                                                               reason=WHY)])  # fmt: skip
@pytest.mark.parametrize("closed", [Signed(), Discarded(reason="tried out")])
def test_a_closed_record_is_not_put_right_without_opening_it(repair: Deed, closed: Deed) -> None:
    with pytest.raises(UserError):
        fold(closed, repair)


def test_a_moved_visit_stands_under_the_other_code_and_says_where_it_came_from() -> None:
    one = fold(Moved(was="HERON-1", patient="DUNLIN-4", reason=WHY))
    assert one.context.patient == "DUNLIN-4"
    assert [(r.what, r.was, r.by, r.reason) for r in one.repairs] == [
        ("moved", "HERON-1", "E1", WHY)
    ]


def test_a_visit_that_moved_meanwhile_is_not_moved_again_unseen() -> None:
    first = Moved(was="HERON-1", patient="DUNLIN-4", reason=WHY)
    with pytest.raises(UserError, match="the patient it stands under, DUNLIN-4"):
        fold(first, Moved(was="HERON-1", patient="KNOT-6", reason=WHY))


def test_what_was_carried_from_the_wrong_patients_visit_is_unstated() -> None:
    follows = {"record": "r0", "at": "2026-01-19T09:00:00+00:00", "by": "E1",
               "carried": ["age", "known.left", "history.diabetes"]}  # fmt: skip
    one = fold(
        Stated(field="sex", value="male"), Moved(was="HERON-1", patient="DUNLIN-4", reason=WHY),
        follows=follows, known={"left": {"tear": True}},
        history={"diabetes": "yes", "fever": "no"},
    )  # fmt: skip
    context = one.context
    assert (context.age, context.known.left.tear, context.follows) == (None, False, None)
    assert (context.answer("diabetes"), context.answer("fever")) == ("not asked", "no")
    assert (context.sex, context.dominant) == ("male", "right")
