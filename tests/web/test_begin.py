"""A new patient and the first page: what stands chosen, and what never goes on to another."""

from __future__ import annotations

from typing import Any

import pytest

from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.rows import row_of
from sidewise.web.examinations.state import current
from sidewise.web.patients.forms import next_code
from sidewise.web.patients.models import Patient
from tests.shoulder import PROTOCOL
from tests.web.cast import sign, tender, touch
from tests.web.test_visit_kinds import begin


@pytest.mark.parametrize(
    ("codes", "suggested"),
    [
        (("HERON-9",), "HERON-10"),
        (("HERON-09",), "HERON-10"),
        (("HERON-007",), "HERON-008"),
        (("KNOT-4", "KNOT-3"), "KNOT-5"),
        (("RUFF",), ""),
        (("RUFF 12345",), ""),
    ],
)
def test_the_code_of_a_new_patient_counts_on_from_the_last(
    cast: Any, codes: tuple[str, ...], suggested: str
) -> None:
    for code in codes:
        Patient.objects.create(code=code, owner=cast.stranger)
    assert next_code(cast.stranger) == suggested
    page = cast.client("stranger").get("/patients/new/").content.decode()
    assert ("Counted on from your last patient" in page) is bool(suggested)
    assert f'value="{suggested}"' in page or not suggested


def test_no_code_is_suggested_from_somebody_elses_patients(cast: Any) -> None:
    assert next_code(cast.owner) == "HERON-2"
    assert next_code(cast.colleague) == ""


def test_the_setting_of_the_last_examination_stands_chosen_and_says_so(cast: Any) -> None:
    address = f"/patients/{cast.patient.key}/examine/"
    begin(cast, setting="emergency")
    page = cast.client("owner").get(address).content.decode()
    assert '<option value="emergency" selected>' in page
    assert "Your usual or last setting; change it." in page
    # What is true of one patient never stands chosen for the next.
    assert 'name="sex" value="female" checked' not in page
    assert 'name="complaint" value="left" checked' not in page


def test_an_examination_begins_with_the_history(cast: Any) -> None:
    answer = cast.client("owner").post(f"/patients/{cast.patient.key}/examine/", {"age": "58"})
    assert answer["Location"].endswith("/history/#core")


def test_the_instrument_chosen_for_one_patient_is_not_that_of_the_next(cast: Any) -> None:
    client = cast.client("owner")
    other = Patient.objects.create(code="DUNLIN-4", owner=cast.owner)
    client.post(f"/patients/{other.key}/examine/", {"age": "58"})
    second = Examination.objects.get(patient=other)
    again = cast.open()
    client.post(f"/examinations/{cast.examination.pk}/instrument/", {"instrument": "goniometer"})
    chosen = {
        visit.pk: client.get(f"/examinations/{visit.pk}/stage/move/").context["instrument"]
        for visit in (cast.examination, again, second)
    }
    assert chosen == {cast.examination.pk: "goniometer", again.pk: "goniometer", second.pk: "eye"}


# --- none of these ---


def _none(cast: Any, who: str = "owner") -> Any:
    address = f"/examinations/{cast.examination.pk}/history/answer/"
    page = cast.client(who).get(f"/examinations/{cast.examination.pk}/history/")
    shown = page.context["none"].answers
    return cast.client(who).post(address, {"answers": shown})


CORE = tuple(question.id for question in PROTOCOL.history if question.core)


def test_none_of_these_writes_ten_answers_attributed_and_undone_together(cast: Any) -> None:
    assert len(CORE) == 10
    assert _none(cast, "colleague").status_code == 302
    now = current(cast.examination)
    assert now.record.context.history == dict.fromkeys(CORE, "no")
    stated = [entry for entry in now.entries if entry.id in now.last_touch]
    assert [entry.by for entry in stated] == ["COLLEAGUE"] * 10
    page = cast.client("owner").get(f"/examinations/{cast.examination.pk}/history/")
    assert page.content.decode().count('value="no" aria-pressed="true"') == 10
    form = {"undo": " ".join(now.last_touch)}
    cast.client("owner").post(f"/examinations/{cast.examination.pk}/record/", form)
    assert current(cast.examination).record.context.history == {}


def test_none_of_these_never_touches_an_answer_that_stands(cast: Any) -> None:
    address = f"/examinations/{cast.examination.pk}/history/answer/"
    for question, answer in (("fever", "yes"), ("cancer", "unsure")):
        cast.client("owner").post(address, {"state": f"history.{question}", "answer": answer})
    page = cast.client("owner").get(f"/examinations/{cast.examination.pk}/history/")
    shown = page.context["none"]
    assert {question.id for question in shown.questions} == set(CORE) - {"fever", "cancer"}
    assert "none of the other 8" in page.content.decode()
    _none(cast)
    history = cast.record.context.history
    assert (history["fever"], history["cancer"]) == ("yes", "unsure")
    assert [history[question] for question in CORE].count("no") == 8


def test_none_of_these_answers_only_what_its_form_named(cast: Any) -> None:
    """A yes that stood when the page was made, and was taken back since, becomes no no."""
    address = f"/examinations/{cast.examination.pk}/history/answer/"
    client = cast.client("owner")
    client.post(address, {"state": "history.fever", "answer": "yes"})
    shown = client.get(f"/examinations/{cast.examination.pk}/history/").context["none"].answers
    undo = " ".join(current(cast.examination).last_touch)
    cast.client("colleague").post(f"/examinations/{cast.examination.pk}/record/", {"undo": undo})
    client.post(address, {"answers": shown})
    history = cast.record.context.history
    assert "fever" not in history
    assert set(history) == set(CORE) - {"fever"}


def test_nothing_is_answered_before_a_hand_has_touched_it(cast: Any) -> None:
    page = cast.client("owner").get(f"/examinations/{cast.examination.pk}/history/")
    assert cast.record.context.history == {}
    assert 'value="no" aria-pressed="true"' not in page.content.decode()
    signed = cast.client("owner")
    sign(signed, cast.examination)
    assert _none(cast).status_code == 404


# --- a follow-up ---


def test_as_then_is_offered_for_judgements_and_never_for_measurements(cast: Any) -> None:
    angle = {"item": "flexion", "side": "left", "mode": "active",
             "value": {"kind": "angle", "degrees": 100, "instrument": "eye"}}  # fmt: skip
    touch(cast.client("owner"), cast.examination, tender(2), tender(0, "right"), angle)
    sign(cast.client("owner"), cast.examination)
    visit = begin(cast, visit="follow_up")
    now = current(visit)
    assert now.record.findings == ()
    sore, flexion = (row_of(now, PROTOCOL.item(n)) for n in ("coracoid_tenderness", "flexion"))
    assert flexion.again == ""
    assert (
        "last time, 2 Mar 2026: 100"
        in cast.client("owner").get(f"/examinations/{visit.pk}/stage/move/").content.decode()
    )
    form = {"findings": str(sore.again)}
    cast.client("owner").post(f"/examinations/{visit.pk}/record/", form)
    found = current(visit).record.findings
    assert {(f.side, f.value.grade, f.together) for f in found} == {
        ("left", 2, False), ("right", 0, False),
    }  # fmt: skip
    # What was normal then is on no list to be written again in one touch with others.
    page = cast.client("owner").get(f"/examinations/{visit.pk}/stage/feel/").content.decode()
    assert page.count("as then") <= 1


def test_as_then_is_not_offered_where_nothing_is_followed(cast: Any) -> None:
    touch(cast.client("owner"), cast.examination, tender(2))
    assert row_of(current(cast.open()), PROTOCOL.item("coracoid_tenderness")).again == ""
