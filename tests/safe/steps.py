"""Things done to a store in a process of its own: `python -m tests.safe.steps NAME JSON`."""

from __future__ import annotations

import json
import sys
from typing import Any


def seed(patients: int = 3, touches: int = 5) -> dict[str, Any]:
    """People, patients, examinations with touches, a student; what there is afterwards."""
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    from sidewise.record.ledger import Entry
    from sidewise.web.accounts import factor
    from sidewise.web.accounts.queue_key import queue_key
    from sidewise.web.examinations.store import append
    from sidewise.web.patients.models import Patient
    from tests.safe.conftest import entry, make_examination, make_person

    owner = make_person("owner", "clinician", also=["administrator"])
    make_person("student", "student")
    factor.begin(owner)
    queue_key(owner)
    for number in range(patients):
        patient = Patient.objects.create(code=f"TERN-{number}", owner=owner)
        examination = make_examination(patient, owner)
        touched = [entry(name=f"e{number}.{n}", note=None) for n in range(touches)]
        entries = [Entry.model_validate({**e, "by": "OWNER"}) for e in _plain(touched)]
        append(examination, entries)
    return state()


def _plain(entries: list[dict[str, Any]]) -> list[dict[str, Any]]:
    for one in entries:
        one["deed"].pop("note")
    return entries


def state() -> dict[str, Any]:
    """Every kept row as a digest, and some counts in plain numbers."""
    from django.apps import apps

    from sidewise.web.audit.models import AuditLine
    from sidewise.web.examinations.models import Examination, LedgerEntry
    from sidewise.web.examinations.store import folded
    from sidewise.web.keeping.tables import digest, kept_models, rows
    from sidewise.web.patients.models import Patient

    return {
        "patients": sorted(Patient.objects.values_list("code", flat=True)),
        "entries": LedgerEntry.objects.count(),
        "audit": AuditLine.objects.count(),
        "folded": {str(e.pk): len(folded(e).record.findings) for e in Examination.objects.all()},
        "tables": {
            m._meta.label_lower: digest(rows(m, "default"))
            for m in kept_models(apps)
            if m._meta.label_lower != "audit.auditline"
        },
    }


def seed_more() -> int:
    """One more patient with a touch; how many entries there are."""
    from sidewise.record.ledger import Entry
    from sidewise.web.accounts.models import User
    from sidewise.web.examinations.models import LedgerEntry
    from sidewise.web.examinations.store import append
    from sidewise.web.patients.models import Patient
    from tests.safe.conftest import entry, make_examination

    owner = User.objects.get(username="owner")
    examination = make_examination(Patient.objects.create(code="SANDERLING-1", owner=owner), owner)
    (touched,) = _plain([entry(name="later", note=None)])
    append(examination, [Entry.model_validate({**touched, "by": "OWNER"})])
    return LedgerEntry.objects.count()


def erase_patient(code: str) -> dict[str, Any]:
    """Erase one patient for good."""
    from sidewise.web.keeping.erasure import erase_patient
    from sidewise.web.patients.models import Patient

    erase_patient(Patient.objects.get(code=code), "owner")
    return state()


def factor_opens() -> bool:
    """Whether the sealed secret of the second factor can be read here."""
    from sidewise.errors import UserError
    from sidewise.web.accounts.factor import secret_of
    from sidewise.web.accounts.models import Factor

    try:
        return len(secret_of(Factor.objects.get())) == 32
    except UserError:
        return False


def rooms(tablets: int) -> dict[str, Any]:
    """A signed-in clinician with an open examination for each tablet."""
    from django.conf import settings
    from django.core.management import call_command
    from django.test import Client

    call_command("migrate", verbosity=0)
    from sidewise.web.patients.models import Patient
    from tests.safe.conftest import make_examination, make_person

    owner = make_person("owner", "clinician", also=["administrator"])
    patients = [Patient.objects.create(code=f"TERN-{n}", owner=owner) for n in range(tablets)]
    client = Client()
    client.force_login(owner)
    return {
        "session": client.cookies[settings.SESSION_COOKIE_NAME].value,
        "examinations": [str(make_examination(patient, owner).pk) for patient in patients],
    }


def ledger() -> dict[str, Any]:
    """Every entry that came from a tablet, and whether the chain is whole."""
    from sidewise.web.audit.chain import verify
    from sidewise.web.audit.models import AuditLine
    from sidewise.web.examinations.models import LedgerEntry

    names = LedgerEntry.objects.filter(entry_id__startswith="tablet")
    return {
        "entries": list(names.values_list("entry_id", flat=True)),
        "broken": verify({}).broken,
        "writes": AuditLine.objects.filter(act="write", what__startswith="examination:").count(),
    }


def deeds(examination: str) -> list[dict[str, Any]]:
    """The deeds of one ledger, oldest first."""
    from sidewise.web.examinations.models import LedgerEntry

    rows = LedgerEntry.objects.filter(examination=examination).order_by("pk")
    return list(rows.values_list("deed", flat=True))


def conflicts(examination: str) -> int:
    """How many contradictions a person has to settle."""
    from sidewise.web.examinations.models import Examination
    from sidewise.web.examinations.store import folded

    return len(folded(Examination.objects.get(pk=examination)).record.conflicts)


def sign(examination: str) -> bool:
    """Somebody signs meanwhile."""
    from sidewise.record.ledger import Entry, Signed
    from sidewise.web.examinations.models import Examination
    from sidewise.web.examinations.store import append
    from tests.safe.conftest import WHEN

    entry = Entry(id="meanwhile", at=WHEN, by="OWNER", deed=Signed())
    return append(Examination.objects.get(pk=examination), [entry]).record.signed is not None


def end_sessions(who: str) -> int:
    """An administrator ends every session of a person."""
    from sidewise.web.accounts import sessions
    from sidewise.web.accounts.models import User

    return sessions.end_sessions(User.objects.get(username=who))


def person(who: str, role: str) -> int:
    """One more account."""
    from sidewise.web.accounts.models import User
    from tests.safe.conftest import make_person

    known = User.objects.filter(username=who).first()
    return int((known or make_person(who, role)).pk)


def fill() -> int:
    """A row in every bound table that `seed` leaves empty."""
    from django.utils import timezone

    from sidewise.web.accounts import links
    from sidewise.web.accounts.models import Identity, KnownDevice, OneTimeLink, RecoveryCode, User
    from sidewise.web.examinations.models import Examination, HeldEntry, MovedVisit
    from sidewise.web.keeping.models import Erased, Hold
    from sidewise.web.patients.models import Patient, Share
    from tests.safe.conftest import entry, make_person

    owner = User.objects.get(username="owner")
    colleague = make_person("colleague", "clinician")
    patient = Patient.objects.get(code="TERN-0")
    Share.objects.create(patient=patient, user=colleague, may_write=True)
    Hold.objects.create(patient=patient, reason="court 12", set_by="owner")
    Erased.objects.create(kind="patient", number="1", digest="0" * 64, by="owner")
    KnownDevice.objects.create(user=owner, digest="1" * 64, since=timezone.now())
    RecoveryCode.objects.create(user=owner, digest="2" * 64)
    Identity.objects.create(user=owner, issuer="https://id.example", subject="owner")
    links.make(colleague, OneTimeLink.Purpose.PASSWORD)
    late = entry(name="late")
    examination = Examination.objects.first()
    HeldEntry.objects.create(
        examination=examination, entry_id="late", by=owner, entry=late, why="It was late."
    )
    MovedVisit.objects.create(
        patient=patient, visit=examination, moved_to=patient, examined_at=timezone.now(),
        was_signed=False, by="OWNER", at=timezone.now(), reason="the wrong chart was open",
    )  # fmt: skip
    mark()
    practise()
    supervise()
    return 18


def practise() -> str:
    """A class with a colleague, a student, a code, and a case begun; the key of the attempt."""
    from sidewise.web.accounts.models import User
    from sidewise.web.classes.models import ClassShare
    from sidewise.web.classes.store import make_codes
    from tests.safe.conftest import make_person, make_practice

    known = {one.username: one for one in User.objects.all()}
    teacher = known.get("teacher") or make_person("teacher", "teacher")
    colleague = known.get("second") or make_person("second", "teacher")
    made = make_practice(teacher, make_person("3", "student"))
    ClassShare.objects.create(study_class=made.study_class, user=colleague)
    make_codes(made.study_class, 1, "")
    return str(made.attempt.key)


def supervise() -> str:
    """A student at a patient, with a finding; the key of the visit."""
    from sidewise.web.accounts.models import User
    from sidewise.web.examinations.models import Examination
    from sidewise.web.supervised import store

    owner = User.objects.get(username="owner")
    examination = Examination.objects.filter(state=Examination.State.DRAFT).first()
    assert examination is not None
    visit = store.begin_visit(examination, owner, "student", "spoken", 60)
    value = {"kind": "tenderness", "grade": 2}
    store.add(visit, [{"found": {"item": "acj_tenderness", "side": "left", "value": value}}], 0)
    return str(visit.key)


def mark() -> str:
    """A sitting of a teacher, shared, with one student's account said; its key."""
    from sidewise.web.marks.models import SittingShare
    from sidewise.web.marks.store import tie_accounts
    from tests.safe.conftest import make_person, make_sitting

    sitting = make_sitting(make_person("teacher", "teacher"))
    make_person("2", "student")
    SittingShare.objects.create(sitting=sitting, user=make_person("second", "teacher"))
    assert tie_accounts(sitting) == 1
    return str(sitting.key)


def verify_each(files: list[str]) -> list[list[str]]:
    """What verify names in each of these databases, put in place one by one."""
    import shutil
    from pathlib import Path

    from django.db import connection

    from sidewise.errors import UserError
    from sidewise.web.keeping.shell import store
    from sidewise.web.keeping.verification import verify_all

    place = Path(str(connection.settings_dict["NAME"]))
    found = []
    for file in files:
        connection.close()
        for tail in ("-wal", "-shm"):
            place.with_name(place.name + tail).unlink(missing_ok=True)
        shutil.copy(file, place)
        try:
            with store("tests"):
                report = verify_all({})
            found.append([problem.message for problem in report.problems])
        except UserError as error:
            found.append([error.message])
    return found


def tries_at_once(number: int) -> list[int]:
    """So many tries to sign in from one place at one moment; how long each has to wait."""
    from concurrent.futures import ThreadPoolExecutor
    from threading import Barrier

    from django.core.management import call_command
    from django.db import connection

    call_command("migrate", verbosity=0)
    from sidewise.web.accounts import throttle

    counted = throttle.buckets("dunlin", "203.0.113.7", None)
    begin = Barrier(number)

    def attempt(_: int) -> int:
        begin.wait()
        try:
            return throttle.take(counted).wait_s
        finally:
            connection.close()

    with ThreadPoolExecutor(number) as pool:
        return list(pool.map(attempt, range(number)))


ALL = (
    tries_at_once, fill, mark, verify_each, seed, seed_more, state, erase_patient, factor_opens,
    practise, supervise, rooms, ledger, deeds, conflicts, sign, end_sessions, person,
)  # fmt: skip
STEPS = {f.__name__: f for f in ALL}

if __name__ == "__main__":
    import django

    django.setup()
    answer = STEPS[sys.argv[1]](**json.loads(sys.argv[2]))
    print(json.dumps(answer))
