"""The invented clinic on one machine: loads the examples, prints a one-time way in, serves.

Data of the demonstration stand in a folder of their own, so that they never mix with patients.
"""

from __future__ import annotations

import os
import webbrowser
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from threading import Thread, Timer
from typing import Any

from sidewise.ground.extras import missing_modules
from sidewise.web.demo_class import load_class
from sidewise.web.serving import listening

OWNER = "clinic"
EXAMINER = "E1"
LEFT_OPEN = 2
"""The latest examinations of the clinic stay drafts, so that there is something to go on with."""
SIGNED_AFTER_MINUTES = 15


def serve_clinic(examples: Path, *, port: int, open_browser: bool) -> None:
    """Set up, load the invented clinic, print the address and serve it until Ctrl-C."""
    prepare("demo")
    owner = clinic_owner()
    loaded = load_clinic(examples, owner)
    print(f"The invented clinic: {loaded} examinations loaded.")
    if absent := missing_modules("marks"):
        print(f"Without tables of marks (not installed: {', '.join(absent)}).")
        print("Add them with: python -m pip install 'sidewise[marks]'")
    else:
        load_marks(examples, owner)
    Thread(target=load_class, args=(owner,), daemon=True).start()
    print("The class of five is being made; its finished cases come in within a minute.")
    serve(port=port, open_browser=open_browser, owner=owner)


def prepare(folder: str = "") -> None:
    """Point the program at its data folder and bring the database up to date."""
    from sidewise.web.home import home

    if folder:
        os.environ["SIDEWISE_HOME"] = str(home() / folder)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "sidewise.web.settings")
    (home() / "static").mkdir(exist_ok=True)
    from sidewise.web.keeping.shell import store

    with store("sidewise serve"):
        from sidewise.web.keeping.place import hold_for_life

        hold_for_life("sidewise serve")


def clinic_owner() -> Any:
    """Who examines and teaches in the demonstration: no password, a one-time way in from here."""
    from sidewise.web.accounts.models import Role, User

    owner, made = User.objects.get_or_create(
        username=OWNER, defaults={"role": Role.CLINICIAN, "code": EXAMINER}
    )
    if made:
        owner.set_unusable_password()
    if made or Role.TEACHER not in owner.also:
        owner.also = [*owner.also, Role.TEACHER.value]
        owner.save()
    return owner


def load_clinic(examples: Path, owner: Any) -> int:
    """Every example that is not there yet, as a ledger; how many examinations there are now."""
    from sidewise.web.examinations.models import Examination

    for path in example_files(examples):
        load_example(path, owner)
    _sign_all_but_the_latest(owner)
    return Examination.objects.filter(patient__owner=owner).count()


SHEETS = {
    "The teaching week": "teaching_week_marks.csv",
    "A sheet as somebody kept it": "telling/wide_sheet.csv",
}
"""Titles of the invented sittings, and their tables; the second waits to be settled."""


def load_marks(examples: Path, owner: Any) -> int:
    """The sittings that are not there yet; how many there are now."""
    from sidewise.teaching.report.marks_apart import open_sheet
    from sidewise.web.marks.models import KeptSitting
    from sidewise.web.marks.reading import digest_of
    from sidewise.web.marks.store import begin_sitting

    for title, name in SHEETS.items():
        path = examples / "marks" / name
        if path.exists() and not KeptSitting.objects.filter(owner=owner, title=title).exists():
            data = path.read_bytes()
            begin_sitting(owner, title, open_sheet(path.name, data), digest_of(data))
    return KeptSitting.objects.filter(owner=owner).count()


def example_files(examples: Path) -> list[Path]:
    """Examinations, then visits, by name."""
    return [*sorted(examples.glob("*.json")), *sorted((examples / "visits").glob("*.json"))]


def load_example(path: Path, owner: Any) -> None:
    """One example as a patient with a ledger; nothing happens if that visit is there."""
    from sidewise.record import read_record
    from sidewise.regions import regions
    from sidewise.web.examinations.models import Examination
    from sidewise.web.examinations.store import append, open_examination
    from sidewise.web.patients.models import Patient

    record = read_record(path, regions())
    context = record.context
    patient, _ = Patient.objects.get_or_create(code=context.patient, owner=owner)
    there = Examination.objects.filter(patient=patient, examined_at=context.examined_at)
    if patient.owner_id != owner.pk or there.exists():
        return
    at = context.examined_at
    opened = open_examination(patient, owner, record.region, context, f"{record.id}-open", at)
    append(opened, list(_entries(record, at)))


def _entries(record: Any, at: Any) -> Iterator[Any]:
    from sidewise.record.ledger import Concluded, Entry, Found

    by = record.context.examiner
    for number, finding in enumerate(record.findings):
        later = at + timedelta(seconds=number)
        yield Entry(id=f"{record.id}-{number}", at=later, by=by, deed=Found(finding=finding))
    after = at + timedelta(minutes=10)
    if record.conclusion.impression or record.conclusion.plan:
        deed = Concluded(conclusion=record.conclusion)
        yield Entry(id=f"{record.id}-words", at=after, by=by, deed=deed)


def _sign_all_but_the_latest(owner: Any) -> None:
    from sidewise.record.ledger import Entry, Signed
    from sidewise.web.examinations.models import Examination
    from sidewise.web.examinations.state import current
    from sidewise.web.examinations.store import append

    loaded = Examination.objects.filter(patient__owner=owner, created_by=owner)
    for examination in loaded.filter(entries__entry_id__endswith="-open")[LEFT_OPEN:]:
        record = current(examination).record
        if record.signed is None and not record.conflicts:
            at = record.context.examined_at + timedelta(minutes=SIGNED_AFTER_MINUTES)
            by = record.context.examiner
            append(examination, [Entry(id=f"{record.id}-signed", at=at, by=by, deed=Signed())])


def serve(*, port: int, open_browser: bool, owner: Any = None) -> None:
    """Serve on this machine only until Ctrl-C; the next free port when this one is taken."""
    from django.core.wsgi import get_wsgi_application

    from sidewise.reason.weighing.warm_up import ready_soon
    from sidewise.regions import every_region

    server = listening(get_wsgi_application(), port)
    address = f"http://127.0.0.1:{server.server_address[1]}/"
    enter = address + way_in(owner).removeprefix("/")
    try:
        _say(address, enter)
        ready_soon(every_region)
        if open_browser:
            Timer(0.3, webbrowser.open, [enter]).start()
        server.serve_forever()
    except KeyboardInterrupt:
        print("\nStopped. What was saved is kept.")
    finally:
        server.server_close()


def _say(address: str, enter: str) -> None:
    print(f"Ready at {address}")
    if enter != address:
        print(f"Sign in once, from this machine, at {enter}")
    print("Stop with Ctrl-C.", flush=True)


def way_in(owner: Any) -> str:
    """A path that signs `owner` in once; for one's own program, the link that sets a password."""
    from sidewise.web.accounts.first_run import ensure_owner, one_time_entry

    link = one_time_entry(owner) if owner is not None else ensure_owner()
    return "/" if link is None else link.path
