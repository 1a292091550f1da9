"""Odd input is refused or held in words: never a bare error, never lost in silence."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from sidewise.web.accounts import throttle
from sidewise.web.examinations.models import HeldEntry, LedgerEntry
from tests.safe.conftest import Clinic, entry
from tests.safe.stores import Store
from tests.safe.test_queue import send


def touch(clinic: Clinic, body: str) -> Any:
    url = reverse("touch", args=[clinic.examination.pk])
    return clinic.client("owner").post(url, body, content_type="application/json")


@pytest.mark.django_db
@pytest.mark.parametrize("at", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00"])
def test_a_time_at_the_edge_of_the_calendar_is_refused(clinic: Clinic, at: str) -> None:
    answer = touch(clinic, json.dumps({"entries": [{**entry(), "at": at}]}))
    assert answer.status_code == 422
    assert "Set the clock of this device." in answer.content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize("where", ["whole", "deed", "entries"])
def test_deep_json_is_refused(clinic: Clinic, where: str) -> None:
    deep = "[" * 50_000 + "]" * 50_000
    body = {"whole": deep, "deed": f'{{"entries": [{{"id": "a", "deed": {deep}}}]}}',
            "entries": f'{{"entries": {deep}}}'}[where]  # fmt: skip
    assert touch(clinic, body).status_code in (400, 422)


@pytest.mark.django_db
def test_yes_is_no_angle(clinic: Clinic) -> None:
    one = entry()
    one["deed"]["finding"] = {"item": "flexion", "side": "left", "mode": "active",
                              "value": {"kind": "angle", "degrees": True}}  # fmt: skip
    assert touch(clinic, json.dumps({"entries": [one]})).status_code == 422
    assert LedgerEntry.objects.count() == 1


@pytest.mark.django_db
def test_another_content_under_an_id_that_is_taken_is_held(clinic: Clinic) -> None:
    """It was called stored, and dropped."""
    assert send(clinic, entry(name="a", result="negative")).json()["stored"] == ["a"]
    answer = send(clinic, entry(name="a", result="positive")).json()
    assert (answer["stored"], answer["held"]) == ([], ["a"])
    assert HeldEntry.objects.get().entry["deed"]["finding"]["value"]["result"] == "positive"


@pytest.mark.django_db
def test_one_id_twice_in_one_sending_counts_once(clinic: Clinic) -> None:
    one = entry(name="a")
    assert touch(clinic, json.dumps({"entries": [one, one]})).status_code == 200
    assert LedgerEntry.objects.filter(entry_id="a").count() == 1


@pytest.mark.django_db
@pytest.mark.parametrize("letter", ["\u202e", "\u202a", "\u2066", "\u2069"])
def test_a_note_whose_direction_is_turned_is_refused(clinic: Clinic, letter: str) -> None:
    one = entry()
    one["deed"]["finding"]["note"] = f"no {letter}pain"
    answer = touch(clinic, json.dumps({"entries": [one]}))
    assert answer.status_code == 422
    assert "turns the direction of text" in answer.content.decode()


@pytest.mark.django_db
def test_a_clock_set_back_locks_nobody_out() -> None:
    counted = throttle.buckets("dunlin", "203.0.113.7", None)
    tomorrow = timezone.now() + timedelta(days=1)
    for _ in range(throttle.FREE_TRIES + 3):
        throttle.count_failure(counted, tomorrow)
    assert throttle.wait_s(counted, tomorrow) > 0
    assert throttle.wait_s(counted) == 0


def test_of_many_tries_at_once_no_more_are_listened_to_than_are_free(store: Store) -> None:
    """Counted before the password is looked at; the slow hash would let all of them through."""
    waits = store.step("tries_at_once", number=24)
    assert len(waits) == 24
    assert waits.count(0) == throttle.FREE_TRIES


@pytest.mark.django_db
def test_a_right_password_gives_its_try_back() -> None:
    counted = throttle.buckets("dunlin", "203.0.113.7", None)
    for _ in range(throttle.FREE_TRIES_ADDRESS + 5):
        taken = throttle.take(counted)
        assert taken.wait_s == 0
        throttle.forget(counted, taken)


@pytest.mark.django_db
@pytest.mark.parametrize("field", ["examined_at", "age", "onset_weeks", "patient", "known.left"])
@pytest.mark.parametrize(
    "value", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "2026-02-30", 1e308, [[]]]
)
def test_an_odd_date_or_number_stated_of_the_context_is_refused(
    clinic: Clinic, field: str, value: Any
) -> None:
    """No page has a field for a date any more; what a script may state is tried instead."""
    deed = {"do": "state", "field": field, "value": value, "replaces": []}
    one = {"id": "odd", "at": "2026-03-02T09:40:00+00:00", "deed": deed}
    assert touch(clinic, json.dumps({"entries": [one]})).status_code == 422
    held = send(clinic, one).json()
    assert (held["stored"], held["held"]) == ([], ["odd"])
