"""Two clinicians' readings side by side: numbers against published error, signs beside kappa."""

from __future__ import annotations

import re
from math import sqrt
from typing import Any

import pytest

from sidewise.errors import UserError
from sidewise.note.two_readers import PlaceRead, readers_of, reading_by, two_readers
from sidewise.note.two_readers_text import two_readers_lines
from tests.builders import angle, found, negative, positive, record, unable
from tests.shoulder import SHOULDER, TABLES


def read(mine: Any, theirs: Any, **context: Any) -> dict[tuple[str, str], PlaceRead]:
    two = two_readers(record(*mine), record(*theirs, examiner="E2", **context), SHOULDER)
    return {(place.label, place.side): place for place in two.places}


def at(degrees: float, item: str = "external_rotation_at_side") -> Any:
    return angle(item, "left", degrees, instrument="inclinometer")


ER = ("external rotation, arm at the side, passive", "patient's left")


def test_a_number_is_held_against_the_published_error_of_two_examiners() -> None:
    # de Winter et al., BMC Musculoskelet Disord 2004; 5:18: passive external rotation, digital
    # inclinometer, two physiotherapists: limits of agreement -4.6 +- 18.8 degrees, "differences
    # under 20-25 degrees between two examiners are not distinguishable from error".
    place = read([at(40)], [at(52)])[ER]
    assert place.how == "within error"
    (limit,) = re.findall(r"lie up to (\d+) apart", place.against)
    assert 15 <= int(limit) <= 25
    assert read([at(40)], [at(80)])[ER].how == "beyond error"
    assert place.sources


def test_the_limit_is_the_detectable_change_of_the_row_that_is_named() -> None:
    place = read([at(40)], [at(41)])[ER]
    row = next(r for r in TABLES.usable("error") if place.sources[0].startswith(f"{r.id}:"))
    assert row.text("examiners") in ("between", "within and between")
    (limit,) = re.findall(r"lie up to (\d+) apart", place.against)
    # Weir, J Strength Cond Res 2005: minimal detectable change = 1.96 * sqrt(2) * SEM.
    assert int(limit) == round(1.96 * sqrt(2) * row.needed("sem"))


def test_exactly_at_one_number_they_are_alike() -> None:
    assert read([at(40)], [at(40)])[ER].how == "alike"


def test_a_sign_stands_beside_the_kappa_of_its_item() -> None:
    place = read([positive("hawkins_kennedy", "left")], [negative("hawkins_kennedy", "left")])
    one = place["Hawkins-Kennedy", "patient's left"]
    assert one.how == "different"
    # Lowest and highest of five studies: Ostor 2004 (0.18 to 0.43), Johansson 2009 (0.91).
    assert "(kappa) 0.18 to 0.91, 5 studies" in one.against
    assert "some recalled" in one.against


def test_an_item_without_published_agreement_says_so() -> None:
    place = read([positive("paxinos", "left")], [negative("paxinos", "left")])
    assert [p.against for p in place.values()] == ["no agreement of examiners is listed for it"]


@pytest.mark.parametrize("theirs", [[], [unable("neer", "left")]])
def test_what_one_of_them_did_not_examine_is_neither_alike_nor_different(theirs: Any) -> None:
    places = read([negative("neer", "left"), negative("neer", "right")],
                  [*theirs, negative("neer", "right")])  # fmt: skip
    assert places["Neer sign", "patient's left"].how == "one only"
    assert places["Neer sign", "patient's right"].how == "alike"


def test_exchanging_the_two_changes_no_judgement() -> None:
    mine = [at(40), positive("neer", "left"), negative("speed", "left")]
    theirs = [at(70), negative("neer", "left"), negative("speed", "left")]
    one, other = read(mine, theirs), read(theirs, mine)
    assert {k: p.how for k, p in one.items()} == {k: p.how for k, p in other.items()}
    assert [(p.first, p.second) for p in one.values()] == [
        (p.second, p.first) for p in other.values()
    ]


def test_it_never_says_who_is_right() -> None:
    two = two_readers(
        record(positive("neer", "left"), at(40)),
        record(negative("neer", "left"), at(90), examiner="E2"), SHOULDER,
    )  # fmt: skip
    text = "\n".join(two_readers_lines(two))
    assert "not which of them is right" in text
    assert not re.search(r"\b(wrong|correct|mistaken|better|overestimat|underestimat)", text)


def test_days_between_the_readings_are_a_caution() -> None:
    two = two_readers(
        record(at(40)), record(at(50), examiner="E2", examined_at="2026-03-05T09:00:00+00:00"),
        SHOULDER,
    )  # fmt: skip
    assert any("3 days apart" in caution for caution in two.cautions)


def test_one_clinician_twice_or_two_patients_are_refused() -> None:
    with pytest.raises(UserError, match=r"by E1 again.*another clinician's"):
        two_readers(record(at(40)), record(at(50)), SHOULDER)
    with pytest.raises(UserError, match="the patient of the first, HERON-1"):
        two_readers(record(at(40)), record(at(50), patient="PLOVER-2", examiner="E2"), SHOULDER)


def test_two_who_examined_in_one_record_are_told_apart() -> None:
    other = found("neer", "left", "result", result="positive").model_copy(update={"examiner": "E2"})
    one = record(negative("neer", "left"), other)
    assert readers_of(one) == ("E1", "E2")
    two = two_readers(reading_by(one, "E1"), reading_by(one, "E2"), SHOULDER)
    assert [(p.first, p.second, p.how) for p in two.places] == [
        ("negative", "positive", "different")
    ]
