"""A learner's findings beside the supervisor's: what is a difference, and what is error.

The smallest difference that counts is held against the limits of agreement printed for two
examiners: plus and minus 18.8 degrees, passive external rotation of painful shoulders, inclinometer
(de Winter et al., BMC Musculoskelet Disord 2004; 5:18).
"""

from __future__ import annotations

from typing import Any

import pytest

from sidewise.errors import UserError
from sidewise.practice.supervised import compare_hands, learner_record, typed_finding
from sidewise.practice.supervised.hands_table import hands_lines, hands_over_visits
from sidewise.practice.supervised.place import (
    BEYOND,
    SAME,
    THEY_LEFT_OUT,
    UNLIKE,
    WITHIN,
    YOU_LEFT_OUT,
)
from sidewise.record import Finding, Record
from tests.shoulder import SHOULDER


def angle(side: str, degrees: float, instrument: str = "inclinometer") -> dict[str, Any]:
    value = {"kind": "angle", "degrees": degrees, "instrument": instrument}
    return {"item": "external_rotation_at_side", "side": side, "mode": "passive", "value": value}


def tender(side: str, grade: int) -> dict[str, Any]:
    return {"item": "acj_tenderness", "side": side, "value": {"kind": "tenderness", "grade": grade}}


def record(*found: dict[str, Any]) -> Record:
    findings = [Finding.model_validate(one) for one in found]
    return learner_record("a", SHOULDER, ("left",), "E", findings)


def only(mine: dict[str, Any], theirs: dict[str, Any]) -> Any:
    (place,) = compare_hands(record(mine), record(theirs), SHOULDER).places
    return place


def test_the_smallest_difference_that_counts_is_the_printed_limit_of_two_examiners() -> None:
    found = only(angle("left", 40), angle("left", 41))
    assert found.threshold == pytest.approx(18.8, abs=0.05)
    assert any("de Winter" in source for source in found.sources)


def test_a_difference_just_within_the_error_and_one_just_beyond_are_told_apart() -> None:
    limit = only(angle("left", 40), angle("left", 41)).threshold
    assert only(angle("left", 20 + limit - 0.1), angle("left", 20)).verdict == WITHIN
    assert only(angle("left", 20 + limit + 0.1), angle("left", 20)).verdict == BEYOND
    assert only(angle("left", 20), angle("left", 20)).verdict == SAME


def test_signs_are_the_same_or_differ_and_what_is_published_stands_beside_them() -> None:
    neer = {"item": "neer", "side": "left", "value": {"kind": "result", "result": "negative"}}
    other = {
        **neer,
        "value": {"kind": "result", "result": "positive", "pain": True},
    }
    found = only(neer, other)
    assert found.verdict == UNLIKE
    # Kappa 0.4 (row K007 of the tables), the lowest of those that are listed for it.
    assert "0.4 (kappa)" in found.known
    assert only(neer, neer).verdict == SAME


def test_what_one_alone_examined_is_never_taken_for_normal() -> None:
    found = compare_hands(record(tender("left", 0)), record(tender("right", 0)), SHOULDER)
    assert {one.side: one.verdict for one in found.places} == {
        "left": THEY_LEFT_OUT, "right": YOU_LEFT_OUT,
    }  # fmt: skip
    assert {one.theirs for one in found.places if one.verdict == THEY_LEFT_OUT} == {""}


def test_what_could_not_be_done_is_no_finding() -> None:
    unable = {"item": "acj_tenderness", "side": "left", "status": "unable", "reason": "too sore"}
    (place,) = compare_hands(record(unable), record(tender("left", 2)), SHOULDER).places
    assert place.verdict == YOU_LEFT_OUT


def test_the_furthest_beyond_error_is_the_one_to_look_at_again_with_its_how_to() -> None:
    found = compare_hands(
        record(angle("left", 70), tender("left", 0)), record(angle("left", 10), tender("left", 2)),
        SHOULDER,
    )  # fmt: skip
    assert "external rotation" in found.look_again
    assert "60 degrees apart" in found.look_again
    assert found.how


def test_exchanged_sides_are_suspected_and_named() -> None:
    mine = (angle("left", 70), angle("right", 20), tender("left", 0), tender("right", 3))
    theirs = (angle("left", 22), angle("right", 66), tender("left", 3), tender("right", 0))
    found = compare_hands(record(*mine), record(*theirs), SHOULDER)
    assert len(found.swapped) >= 2
    assert compare_hands(record(*mine), record(*mine), SHOULDER).swapped == ()


def test_a_mirror_image_of_both_records_gives_the_mirrored_answer() -> None:
    def told(*sides: str) -> list[tuple[str, float | None]]:
        mine = record(angle(sides[0], 70), tender(sides[1], 1))
        theirs = record(angle(sides[0], 10), tender(sides[1], 1))
        return [
            (one.verdict, one.difference) for one in compare_hands(mine, theirs, SHOULDER).places
        ]

    assert told("left", "right") == told("right", "left")


def test_a_later_finding_takes_the_place_of_an_earlier_one() -> None:
    assert len(record(tender("left", 0), tender("left", 2)).findings) == 1


def test_no_word_of_a_comparison_says_who_the_patient_is() -> None:
    kept = compare_hands(record(tender("left", 0)), record(tender("left", 1)), SHOULDER).to_json()
    assert "patient" not in str(kept).replace("the patient", "")


def test_over_visits_the_hands_are_judged_as_in_a_study() -> None:
    def visit(mine: int, theirs: int) -> list[dict[str, Any]]:
        found = compare_hands(
            record(tender("left", mine)), record(tender("left", theirs)), SHOULDER
        )
        return list(found.to_json()["places"])

    kept = {"1": visit(0, 0), "2": visit(2, 2), "3": visit(0, 2)}
    (line,) = hands_lines(kept)
    assert (line.count, line.alike) == (3, 2)
    hands = hands_over_visits(kept)
    assert hands is not None
    (against,) = hands.items[0].against
    assert (against.n, against.same) == (3, 2)
    assert hands_over_visits({}) is None


def test_a_number_within_error_counts_as_alike_and_one_beyond_does_not() -> None:
    def visit(mine: float, theirs: float) -> list[dict[str, Any]]:
        found = compare_hands(record(angle("left", mine)), record(angle("left", theirs)), SHOULDER)
        return list(found.to_json()["places"])

    (line,) = hands_lines({"1": visit(30, 35), "2": visit(30, 70)})
    assert (line.count, line.alike) == (2, 1)


def test_what_is_typed_beside_an_item_is_read_as_a_line_is() -> None:
    found = typed_finding(SHOULDER, "external_rotation_at_side", "left", "passive", "35 firm")
    assert found.place == ("external_rotation_at_side", "left", "passive")
    assert found.value.degrees == 35  # type: ignore[union-attr]


@pytest.mark.parametrize("text", ["", "banana", "35 and Neer positive", "1650"])
def test_what_cannot_be_read_is_refused_in_words(text: str) -> None:
    with pytest.raises(UserError):
        typed_finding(SHOULDER, "external_rotation_at_side", "left", "passive", text)
