"""A cast of people around one patient of the invented clinic, and a quick password hasher."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache, cached_property
from pathlib import Path
from typing import Any
from uuid import uuid4

import django
import pytest

django.setup()

from django.test import Client  # noqa: E402

from tests import setup_postgres  # noqa: E402
from tests.builders import BASE  # noqa: E402
from tests.safe.stores import Store  # noqa: E402

PASSWORD = "sandbar curlew lantern"
WHEN = datetime(2026, 3, 2, 9, 40, tzinfo=UTC)


@pytest.fixture(autouse=True)
def quick_hasher(settings: Any) -> None:
    """Argon2 is slow on purpose; one test looks at the real setting."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@dataclass
class Clinic:
    """PLOVER-2's owner, a colleague who may write, one who may read, and everybody else."""

    owner: Any
    colleague: Any
    reader: Any
    stranger: Any
    teacher: Any
    student: Any
    administrator: Any
    patient: Any
    examination: Any
    sitting: Any

    def person(self, name: str) -> Any:
        """A member of the cast by name; nobody for a visitor without an account."""
        return None if name == "nobody" else getattr(self, name)

    @cached_property
    def practised(self) -> Practised:
        """The teacher's class with the student in it; made where a test asks for it."""
        return make_practice(self.teacher, self.student)

    @cached_property
    def visit(self) -> Any:
        """A visit of the student at the examination, which lasts; made where it is asked for."""
        from sidewise.web.supervised.store import begin_visit

        return begin_visit(self.examination, self.owner, self.student.username, "spoken", 60)

    def client(self, name: str) -> Client:
        """A browser in which that person is signed in."""
        client = Client(raise_request_exception=False)
        if (person := self.person(name)) is not None:
            client.force_login(person)
        return client


def make_person(name: str, role: str, **more: Any) -> Any:
    """An account with the usual test password."""
    from sidewise.web.accounts.models import User

    user = User(username=name, role=role, code=name.upper(), **more)
    user.set_password(PASSWORD)
    user.save()
    return user


def make_examination(patient: Any, user: Any, **context: Any) -> Any:
    """An open examination of a patient."""
    from sidewise.record import Context
    from sidewise.web.examinations.store import open_examination

    about = {**BASE, "patient": patient.code, "examiner": user.signs_as, **context}
    whole = Context.model_validate(about)
    return open_examination(patient, user, "shoulder", whole, uuid4().hex, WHEN)


def make_sitting(teacher: Any) -> Any:
    """A sitting of the teacher with one settled table, as the store keeps it."""
    from sidewise.teaching.report.marks_apart import open_sheet
    from sidewise.web.marks.store import begin_sitting

    rows = [f"{n},look,E1,{10 + n},20,pass" for n in range(1, 4)]
    text = "\n".join(["student,station,examiner,mark,maximum,global_rating", *rows])
    return begin_sitting(teacher, "teaching week", open_sheet("week.csv", text.encode()), "0" * 64)


@dataclass(frozen=True)
class Practised:
    """A class of the teacher, what is set for it, and the student's attempt at it."""

    study_class: Any
    assignment: Any
    attempt: Any


@cache
def case_files() -> tuple[bytes, bytes]:
    """A simulated case and its truth: the same each time, so drawn once."""
    from sidewise.practice import practice_case
    from sidewise.practice.case_file import case_text, truth_text
    from tests.shoulder import SHOULDER

    made = practice_case(SHOULDER, 7)
    return case_text(made).encode(), truth_text(made, SHOULDER).encode()


def make_practice(teacher: Any, student: Any) -> Practised:
    """The student is in the class and has begun what is set, with one question asked."""
    from sidewise.practice.room import Ask
    from sidewise.web.classes.store import add_members, begin_class, set_work
    from sidewise.web.practice import store

    case = store.keep_case(*case_files(), teacher, "by hand")
    made = begin_class(teacher, "teaching week", "shoulder")
    add_members(made, [student.username], "")
    what = {"case": str(case.key), "hints": "some"}
    one = set_work(made, teacher, "A stiff shoulder", "", date(2099, 3, 6), store.KIND, what)
    attempt = store.begin_assigned(student, one)
    store.take(store.opened(attempt), Ask(question="onset"), 0)
    return Practised(made, one, attempt)


def make_clinic() -> Clinic:
    """The cast, one patient and one open examination."""
    from sidewise.web.patients.models import Patient, Share

    roles = {"owner": "clinician", "colleague": "clinician", "reader": "clinician",
             "stranger": "clinician", "teacher": "teacher", "student": "student",
             "administrator": "administrator"}  # fmt: skip
    cast = {name: make_person(name, role) for name, role in roles.items()}
    patient = Patient.objects.create(code="PLOVER-2", owner=cast["owner"])
    Share.objects.create(patient=patient, user=cast["colleague"], may_write=True)
    Share.objects.create(patient=patient, user=cast["reader"])
    return Clinic(
        **cast, patient=patient, examination=make_examination(patient, cast["owner"]),
        sitting=make_sitting(cast["teacher"]),
    )  # fmt: skip


@pytest.fixture
def clinic(db: None) -> Clinic:
    """The cast in a fresh database."""
    return make_clinic()


def entry(item: str = "hawkins_kennedy", side: str = "left", result: str = "positive",
          name: str | None = None, **deed: Any) -> dict[str, Any]:  # fmt: skip
    """A queued touch as the browser sends it."""
    finding = {"item": item, "side": side, "value": {"kind": "result", "result": result}}
    return {"id": name or uuid4().hex, "at": WHEN.isoformat(),
            "deed": {"do": "found", "finding": finding, **deed}}  # fmt: skip


@pytest.fixture(scope="session")
def cluster() -> Iterator[Any]:
    """One PostgreSQL for the session; skipped with the reason where there are no binaries."""
    binaries = setup_postgres.find_binaries()
    if binaries is None:
        pytest.skip("no PostgreSQL binaries here")
    with setup_postgres.cluster(binaries) as server:
        yield server


STORES = ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)]


@pytest.fixture(params=STORES)
def store(request: Any, tmp_path: Path) -> Store:
    """An empty store of each kind."""
    home = tmp_path / "home"
    home.mkdir()
    if request.param == "sqlite":
        return Store(home)
    server = request.getfixturevalue("cluster")
    return Store(home, server.create(f"s{uuid4().hex}"), server)
