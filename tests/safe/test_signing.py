"""One signs what one has seen: anything newer is shown first, raised flags are named one by one."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from sidewise.errors import UserError
from sidewise.note import note_html, note_text
from sidewise.record.ledger import Entry, Signed, ledger_digest, signatures_that_do_not_fit
from sidewise.web.examinations.models import LedgerEntry
from sidewise.web.examinations.state import current
from sidewise.web.examinations.store import append, entries_of
from tests.safe.conftest import WHEN, Clinic, entry
from tests.safe.test_queue import send

pytestmark = pytest.mark.django_db


def page_of(client: Client, clinic: Clinic) -> str:
    return client.get(reverse("sign", args=[clinic.examination.pk])).content.decode()


def form_of(page: str, *, flags: bool = True) -> dict[str, Any]:
    """What the page would send, with every flag it shows ticked and arranged, or none."""
    seen = re.search(r'name="seen" value="([^"]*)"', page)
    assert seen
    shown = re.findall(r'name="flag" value="([^"]*)"', page)
    return {"seen": seen[1], "sign": "1", "impression": "All well.", "plan": "",
            "flag": shown if flags else [],
            **{f"not_arranged.{flag}": "a test" for flag in shown}}  # fmt: skip


def signed(clinic: Clinic) -> bool:
    return current(clinic.examination).record.signed is not None


def press(client: Client, clinic: Clinic, form: dict[str, Any]) -> Any:
    return client.post(reverse("sign", args=[clinic.examination.pk]), form)


def absent_pulse(name: str) -> dict[str, Any]:
    one = entry(name=name)
    one["deed"]["finding"] = {"item": "radial_pulse", "side": "left",
                              "value": {"kind": "pulse", "pulse": "absent"}}  # fmt: skip
    return one


def test_what_came_after_the_page_was_opened_is_shown_before_it_can_be_signed(
    clinic: Clinic,
) -> None:
    owner = clinic.client("owner")
    form = form_of(page_of(owner, clinic))
    send(clinic, absent_pulse("p1"), who="colleague")
    # Even a form that names the flag it cannot have shown: the entry itself was not seen.
    form["flag"] = [flag.flag for flag in current(clinic.examination).completeness.raised]
    answer = press(owner, clinic, form)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert not signed(clinic)
    newer = page[page.index('id="newer"') :]
    assert "pulse" in newer[:600]
    assert "(COLLEAGUE)" in newer[:600]
    assert "All well." in page
    assert press(owner, clinic, form_of(page)).status_code == 302
    assert signed(clinic)


@pytest.mark.parametrize("seen", ["", "1", "0." + "0" * 64, "1." + "0" * 64, "99." + "a" * 64])
def test_a_form_that_does_not_say_what_it_showed_signs_nothing(clinic: Clinic, seen: str) -> None:
    form = form_of(page_of(clinic.client("owner"), clinic)) | {"seen": seen}
    assert press(clinic.client("owner"), clinic, form).status_code == 422
    assert not signed(clinic)


def test_each_raised_flag_is_acknowledged_by_name(clinic: Clinic) -> None:
    send(clinic, absent_pulse("p1"))
    owner = clinic.client("owner")
    raised = current(clinic.examination).completeness.raised
    assert raised, "an absent pulse raises a flag"
    without = press(owner, clinic, form_of(page_of(owner, clinic), flags=False))
    assert without.status_code == 422
    assert raised[0].label in without.content.decode()
    assert not signed(clinic)
    assert press(owner, clinic, form_of(page_of(owner, clinic))).status_code == 302
    deed = LedgerEntry.objects.get(deed__do="sign").deed
    assert deed["flags"] == [flag.flag for flag in raised]


def with_follow_up(form: dict[str, Any], **said: str) -> dict[str, Any]:
    """The form, of each raised flag saying this and nothing else."""
    flags = form["flag"]
    kept = {name: value for name, value in form.items() if not name.startswith("not_arranged.")}
    return kept | {f"{part}.{flag}": text for flag in flags for part, text in said.items()}


ALL_THREE = {"who": "E1", "by_when": "today, 18:00", "told": "surgeon on call"}


@pytest.mark.parametrize(
    "said",
    [{}, {"who": "E1", "told": "surgeon"}, {"not_arranged": "   "},
     ALL_THREE | {"not_arranged": "refused"}],
)  # fmt: skip
def test_a_raised_flag_is_not_signed_without_its_follow_up(
    clinic: Clinic, said: dict[str, str]
) -> None:
    send(clinic, absent_pulse("p1"))
    owner = clinic.client("owner")
    answer = press(owner, clinic, with_follow_up(form_of(page_of(owner, clinic)), **said))
    assert answer.status_code == 422
    assert "who follows it up, by when, and who was told" in answer.content.decode()
    assert not signed(clinic)


def test_what_was_typed_of_a_follow_up_is_kept_when_it_is_refused(clinic: Clinic) -> None:
    send(clinic, absent_pulse("p1"))
    owner = clinic.client("owner")
    form = with_follow_up(form_of(page_of(owner, clinic)), who="Sister Teal")
    assert 'value="Sister Teal"' in press(owner, clinic, form).content.decode()


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        (ALL_THREE, "followed up by E1, by when: today, 18:00; told: surgeon on call"),
        (
            {"not_arranged": "the patient declines, risk explained"},
            "follow-up not arranged, because the patient declines, risk explained",
        ),
    ],
)
def test_the_follow_up_stands_in_signature_note_page_and_file(
    clinic: Clinic, said: dict[str, str], sentence: str
) -> None:
    send(clinic, absent_pulse("p1"))
    owner = clinic.client("owner")
    form = with_follow_up(form_of(page_of(owner, clinic)), **said)
    assert press(owner, clinic, form).status_code == 302
    now = current(clinic.examination)
    assert now.record.signed is not None
    follow_up = now.record.signed.follow_up or ()
    assert [one.flag for one in follow_up] == [f.flag for f in now.completeness.raised]
    result = now.interpretation()
    one_line = " ".join(note_text(now.record, result, now.region).split())
    assert sentence in one_line
    assert sentence in note_html(now.record, result, now.region)
    assert result.to_json()["followed_up"][0]["flag"] == follow_up[0].flag
    page = owner.get(reverse("note", args=[clinic.examination.pk])).content.decode()
    assert sentence in page
    file = owner.get(reverse("file", args=[clinic.examination.pk])).content.decode()
    assert next(iter(said.values())) in file


def test_a_signature_of_before_says_that_no_follow_up_was_stated(clinic: Clinic) -> None:
    send(clinic, absent_pulse("p1"))
    entries = entries_of(clinic.examination)
    when = entries[-1].at
    append(clinic.examination, [Entry(id="old", at=when, by="OWNER", deed=Signed())])
    now = current(clinic.examination)
    text = note_text(now.record, now.interpretation(), now.region)
    assert "FOLLOW-UP of the raised flags: not stated." in text


def test_a_signature_holds_the_ledgers_digest_and_the_account(clinic: Clinic) -> None:
    owner = clinic.client("owner")
    press(owner, clinic, form_of(page_of(owner, clinic)))
    *before, last = entries_of(clinic.examination)
    assert isinstance(last.deed, Signed)
    assert last.deed.ledger == ledger_digest(before)
    assert last.deed.account == clinic.owner.pk
    assert LedgerEntry.objects.get(entry_id=last.id).account == clinic.owner.pk


def test_a_signature_keeps_what_was_said_and_the_pages_say_what_would_be_said_otherwise(
    clinic: Clinic, monkeypatch: pytest.MonkeyPatch
) -> None:
    owner = clinic.client("owner")
    press(owner, clinic, form_of(page_of(owner, clinic)))
    now = current(clinic.examination)
    assert now.record.signed is not None
    said = now.record.signed.said
    assert said is not None
    assert said.knowledge == now.interpretation().knowledge_version
    note = reverse("note", args=[clinic.examination.pk])
    visits = reverse("patient", args=[clinic.examination.patient.key])
    for page in (note, visits):
        assert "said otherwise" not in owner.get(page).content.decode()
    # The knowledge changes; what was signed stays as it was.
    monkeypatch.setattr(
        "sidewise.web.examinations.essentials.knowledge_version", lambda _region: "later"
    )
    assert "nothing would be said otherwise" in owner.get(note).content.decode()
    assert "said otherwise now" in owner.get(visits).content.decode()
    assert signatures_that_do_not_fit(entries_of(clinic.examination)) == []


def test_what_slips_in_at_the_last_moment_is_not_signed(clinic: Clinic) -> None:
    """Between the look and the lock: the store compares again."""
    before = entries_of(clinic.examination)
    send(clinic, absent_pulse("p1"))
    late = Entry(id="s", at=WHEN, by="OWNER", deed=Signed(ledger=ledger_digest(before)))
    with pytest.raises(UserError, match="something recorded since"):
        append(clinic.examination, [late])
    assert not signed(clinic)


def test_a_signature_over_other_entries_is_found(clinic: Clinic) -> None:
    opened = entries_of(clinic.examination)[0]
    other = opened.model_copy(update={"by": "SOMEBODY"})
    sign = Entry(id="s", at=WHEN, by="OWNER", deed=Signed(ledger=ledger_digest([opened])))
    assert signatures_that_do_not_fit([opened, sign]) == []
    assert signatures_that_do_not_fit([other, sign]) == ["s"]


def test_the_digest_is_the_same_however_the_time_was_written() -> None:
    one = Entry.model_validate({"id": "s", "at": "2026-03-02T10:40:00+01:00", "by": "OWNER",
                                "deed": {"do": "sign"}})  # fmt: skip
    other = one.model_copy(update={"at": WHEN})
    assert ledger_digest([one]) == ledger_digest([other])


def test_a_draft_is_kept_without_any_of_this(clinic: Clinic) -> None:
    form = {"impression": "Stiff.", "plan": "", "keep": "1"}
    assert press(clinic.client("owner"), clinic, form).status_code == 302
    assert current(clinic.examination).record.conclusion.impression == "Stiff."
