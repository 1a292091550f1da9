"""What a follow-up takes from the visit before, and what it never does."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from sidewise.errors import UserErrors
from sidewise.record import Context, check_record
from sidewise.record.following import watch_list, with_carried
from sidewise.record.ledger import Entry, Opened, Stated, fold_entries
from tests.builders import found, negative, positive, record, unable
from tests.shoulder import PROTOCOL

BEFORE: dict[str, Any] = {
    "known": {"left": {"tear": True}},
    "duration_weeks": 6,
    "onset": "gradual",
    "pain_0_10": 7,
    "history": {"diabetes": "yes", "cancer": "no", "fever": "yes", "osteoporosis": "unsure"},
    "vitals": {"temperature": 38.6},
}
SIX_WEEKS_ON = datetime(2026, 4, 13, 9, 40, tzinfo=UTC)


def carried(**today: Any) -> Context:
    earlier = record(positive("neer", "left"), **BEFORE)
    data = {"patient": "HERON-1", "examiner": "E2", "examined_at": SIX_WEEKS_ON, **today}
    return Context.model_validate(with_carried(data, earlier, PROTOCOL))


def test_what_lasts_is_carried_and_marked_with_the_visit_and_the_examiner() -> None:
    now = carried()
    assert (now.sex, now.dominant, now.complaint) == ("female", "right", ("left",))
    assert now.known.left.tear
    assert now.answer("diabetes") == "yes"
    assert now.follows is not None
    assert (now.follows.record, now.follows.by, now.follows.on) == ("r1", "E1", "2 Mar 2026")
    assert {"sex", "known.left", "history.diabetes"} <= set(now.follows.carried)


def test_weeks_and_age_are_carried_on_by_the_time_between() -> None:
    assert carried().duration_weeks == 12
    assert carried().age == 58
    later = carried(examined_at=SIX_WEEKS_ON + timedelta(days=730))
    assert later.age == 60


def test_only_a_yes_is_carried_and_nothing_that_passes() -> None:
    now = carried()
    assert [now.answer(q) for q in ("cancer", "fever", "osteoporosis")] == ["not asked"] * 3
    assert (now.pain_0_10, now.vitals) == (None, {})


def test_what_is_stated_today_is_not_carried_over() -> None:
    now = carried(dominant="left", known={"left": {"surgery": True}})
    assert now.dominant == "left"
    assert not now.known.left.tear
    assert now.follows is not None
    assert {"dominant", "known.left"}.isdisjoint(now.follows.carried)


def test_what_two_people_stated_differently_is_not_carried() -> None:
    earlier = record(**BEFORE, disputed={"history.diabetes": ("yes", "no"), "age": (58, 85)})
    data = {"patient": "HERON-1", "examiner": "E2", "examined_at": SIX_WEEKS_ON}
    now = Context.model_validate(with_carried(data, earlier, PROTOCOL))
    assert (now.answer("diabetes"), now.age) == ("not asked", None)


def test_no_finding_is_carried_only_the_items_to_see_again() -> None:
    one = record(
        positive("neer", "left"), negative("hawkins_kennedy", "left"), unable("flexion", "left"),
        found("flexion", "right", "angle", "active", degrees=150),
        found("hands_cleaned", "midline", "choice", choice="no"),
    )  # fmt: skip
    assert list(watch_list(one, PROTOCOL)) == ["flexion", "neer"]


def entry(name: str, deed: Any) -> Entry:
    return Entry(id=name, at=SIX_WEEKS_ON, by="E2", deed=deed)


def test_a_field_stated_anew_is_carried_no_longer() -> None:
    opened = entry("e0", Opened(region="shoulder", context=carried()))
    said = entry("e1", Stated(field="history.diabetes", value="yes"))
    now = fold_entries("r2", [opened, said]).record.context
    assert now.follows is not None
    assert "history.diabetes" not in now.follows.carried
    assert "sex" in now.follows.carried


def test_the_kind_of_visit_can_be_changed_and_disputed() -> None:
    opened = entry("e0", Opened(region="shoulder", context=carried(visit="short")))
    changed = entry("e1", Stated(field="visit", value="stiff"))
    assert fold_entries("r2", [opened]).record.context.visit == "short"
    assert fold_entries("r2", [opened, changed]).record.context.visit == "stiff"
    other = entry("e2", Stated(field="visit", value="weak"))
    # Until it is settled it counts as the fullest: nothing is passed over.
    assert fold_entries("r2", [opened, changed, other]).record.context.visit is None


def test_a_kind_that_the_region_does_not_have_is_refused() -> None:
    with pytest.raises(
        UserErrors, match=r"context\.visit: got \"quick\", expected one of full, sh"
    ):
        check_record(record(visit="quick"), PROTOCOL)
