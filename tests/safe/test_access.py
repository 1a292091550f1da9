"""Who may open what: every view of the program, by every method, for each of the cast.

The expectations are read from the table in docs/access.md, so the table is what is tested.
"""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from sidewise.figure.sheets import fingerprint
from sidewise.practice.room import Finish
from sidewise.protocol.figure import atlas_of
from sidewise.record.ledger import Amended, Entry, Found, Signed
from sidewise.regions import regions
from sidewise.web.accounts.models import Factor
from sidewise.web.examinations.store import append
from sidewise.web.practice.store import opened, take
from tests.builders import angle
from tests.safe.conftest import WHEN, Clinic, make_examination

PAGE = Path(__file__).parents[2] / "docs" / "access.md"
CAST = ("nobody", "student", "teacher", "administrator", "stranger", "reader", "colleague", "owner")
METHODS = ("GET", "POST")
NOT_OURS = ("admin",)
STUDENTS_OWN = ("learner-room", "learner-hand-in", "learner-told", "learner-erase")


def views(patterns: list[Any] | None = None, route: str = "") -> Iterator[tuple[str, list[str]]]:
    """Every named view with the names of what its address takes."""
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        here = route + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from views(pattern.url_patterns, here)
        elif isinstance(pattern, URLPattern):
            assert pattern.name, f"{here} has no name"
            yield pattern.name, re.findall(r"<(?:\w+:)?(\w+)>", here)


def arguments(names: list[str], clinic: Clinic) -> dict[str, Any]:
    """An existing patient, examination, person ... for each part of an address."""
    known = {
        "pk": clinic.examination.pk, "key": clinic.patient.key, "stage": "special-tests",
        "item": "hawkins_kennedy", "user_id": clinic.student.pk, "token": "x" * 43,
        "session_id": getattr(clinic.owner.signed_in.first(), "pk", 0), "number": 1, "side": "left",
        "other": clinic.examination.pk, "region_id": "shoulder", "name": "front-rest-0",
        "digest": fingerprint(atlas_of(regions()["shoulder"])),
        "sitting": clinic.sitting.key, "what": "data", "kind": "csv",
        "paper": "letter.pdf",
    }  # fmt: skip
    if {"study_class", "assignment", "attempt"} & set(names):
        practised = clinic.practised
        known |= {"study_class": practised.study_class.key, "attempt": practised.attempt.key,
                  "assignment": practised.assignment.key}  # fmt: skip
    if "case" in names:
        known["case"] = clinic.practised.attempt.case.key
    if "visit" in names:
        known["visit"] = clinic.visit.key
    return {name: known[name] for name in names}


def outcome(client: Client, method: str, url: str, query: str = "") -> str:
    """What happened, in the words of the table."""
    if method == "GET":
        response = client.get(url + query)
    else:
        response = client.post(url, json.dumps({}), content_type="application/json")
        if response.status_code in (301, 302) and "sign-in" not in response["Location"]:
            return "yes"
    if response.status_code == 401:
        return "sign in"
    if response.status_code == 302 and response["Location"].startswith("/sign-in/?next="):
        return "sign in"
    if response.status_code in (403, 404):
        return str(response.status_code)
    if response.status_code == 405:
        return "-"
    assert response.status_code < 500, (method, url, response.status_code)
    return "yes"


def table() -> dict[tuple[str, str], dict[str, str]]:
    """The rows of docs/access.md by view and method."""
    rows = {}
    for line in PAGE.read_text().splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if len(cells) == 2 + len(CAST) and cells[1] in METHODS:
            rows[cells[0].strip("`"), cells[1]] = dict(zip(CAST, cells[2:], strict=True))
    return rows


@pytest.fixture
def signed(clinic: Clinic) -> Clinic:
    """The same cast; the examination was signed once and is open again, there is a second visit,
    and the owner has a session on another device and a second factor."""
    about = {"at": WHEN, "by": "OWNER"}
    when = (WHEN + timedelta(days=60)).isoformat()
    later = make_examination(clinic.patient, clinic.owner, examined_at=when)
    for number, visit in enumerate((clinic.examination, later)):
        bent = angle("external_rotation_at_side", "left", 20 + 10 * number, instrument="goniometer")
        append(visit, [Entry(id=f"v{number}", deed=Found(finding=bent), **about)])
    append(
        clinic.examination,
        [
            Entry(id="s", deed=Signed(), **about),
            Entry(id="a", deed=Amended(reason="left and right"), **about),
        ],
    )
    clinic.client("owner")
    Factor.objects.create(user=clinic.owner, sealed=b"", confirmed_at=WHEN)
    end_case(clinic.practised.attempt)
    return clinic


def end_case(row: Any) -> None:
    """The student's case is ended, so that what came of it can be asked for."""
    found = opened(row)
    chances = {group.id: 0.1 for group in found.room.groups}
    take(found, Finish(chances=chances, flags=(), plan=""), len(found.attempt.taken))


def measured(clinic: Clinic) -> dict[tuple[str, str], dict[str, str]]:
    """What each of the cast gets from each view by each method."""
    found: dict[tuple[str, str], dict[str, str]] = {}
    clients = {who: clinic.client(who) for who in CAST}
    for name, names in sorted({(n, tuple(a)) for n, a in views()}):
        url = reverse(name, kwargs=arguments(list(names), clinic))
        for method in METHODS:
            got = {who: undone(clinic, clients[who], method, url) for who in CAST}
            # A method that the view does not know is no row of the table.
            if "-" not in got.values():
                found[name, method] = got
    return found


def undone(clinic: Clinic, client: Client, method: str, url: str) -> str:
    """The outcome, with whatever the view did, to the store or to the browser, taken back."""
    cookies = copy.deepcopy(client.cookies)
    with transaction.atomic():
        pk = clinic.examination.pk
        got = outcome(client, method, url, f"?a={pk}&b={pk}")
        transaction.set_rollback(True)
    client.cookies = cookies
    return got


def test_every_view_lets_in_whom_the_table_says(signed: Clinic) -> None:
    found, expected = measured(signed), table()
    lines = [
        f"| `{name}` | {method} | " + " | ".join(got[who] for who in CAST) + " |"
        for (name, method), got in found.items()
        if expected.get((name, method)) != got
    ]
    assert not lines, "not as docs/access.md says; what happened:\n" + "\n".join(lines)
    assert set(expected) == set(found), sorted(set(expected) - set(found))
    assert len(found) >= 40
    assert len({name for name, _ in found}) == len({name for name, _ in views()})


def test_the_table_lets_no_student_teacher_or_administrator_near_a_patient() -> None:
    """The rule behind the table, said once more: a slip in a row shows here."""
    rows, swept = table(), 0
    for name, names in views():
        for method in METHODS:
            if {"pk", "key"} & set(names) and (row := rows.get((name, method))):
                for who in ("student", "teacher", "administrator", "stranger"):
                    assert row[who] == "404", (name, method, who)
                    swept += 1
    assert swept >= 90


def test_the_table_lets_nobody_but_a_teacher_near_the_marks_of_students() -> None:
    rows, swept = table(), 0
    for name, names in views():
        for method in METHODS:
            if "sitting" in names and (row := rows.get((name, method))):
                assert row["teacher"] == "yes", (name, method)
                for who in set(CAST) - {"nobody", "teacher"}:
                    assert row[who] == "404", (name, method, who)
                    swept += 1
    assert swept >= 100


def test_the_table_lets_only_a_teacher_near_a_class_and_only_the_student_into_the_room() -> None:
    """What came of a case is the one page that both see."""
    rows, swept = table(), 0
    for name, names in views():
        for method in METHODS:
            row = rows.get((name, method))
            if row is None or not {"study_class", "assignment", "attempt"} & set(names):
                continue
            seen = {who for who in CAST if row[who] == "yes"}
            both = {"student", "teacher"} if name == "practice-result" else {"student"}
            # Nothing that is set is named here to be withdrawn.
            teacher = set() if name == "class-withdraw" else {"teacher"}
            assert seen == (teacher if "study_class" in names else both), (name, method)
            swept += 1
    assert swept >= 15


def test_the_table_keeps_a_students_visit_to_the_student_and_whoever_may_write() -> None:
    """What the student sees of a patient no clinician opens as theirs, and the other way round."""
    rows, swept = table(), 0
    for name, names in views():
        for method in METHODS:
            row = rows.get((name, method))
            if row is None or "visit" not in names:
                continue
            seen = {who for who in CAST if row[who] == "yes"}
            # Nothing is told of a visit that lasts.
            student = set() if name in ("learner-told", "learner-erase") else {"student"}
            of_student = name in STUDENTS_OWN
            assert seen == (student if of_student else {"owner", "colleague"}), (name, method)
            swept += 1
    assert swept == 9


def test_a_clinician_who_becomes_a_student_sees_no_patient_of_theirs(clinic: Clinic) -> None:
    clinic.owner.role = "student"
    clinic.owner.also = ["clinician"]
    clinic.owner.save()
    client = clinic.client("owner")
    assert client.get(reverse("patient", args=[clinic.patient.key])).status_code == 404
    assert "PLOVER-2" not in client.get(reverse("today")).content.decode()


def test_the_table_opens_to_visitors_only_the_views_of_signing_in() -> None:
    public = {name for (name, _), row in table().items() if row["nobody"] == "yes"}
    assert public == {"sign-in", "sign-in-code", "sign-out", "health", "offline"}
