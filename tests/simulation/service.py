"""The real views and store in this process: two workers, one SQLite database in memory, one clock.

A database is put in place as an image (`sqlite3.Connection.deserialize`), which takes no longer
than copying it, so that each seed begins with the same people and records.
"""

from __future__ import annotations

import contextvars
import os
import random
import re
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

PASSWORD = "sandbar curlew lantern"
START = datetime(2026, 3, 2, 9, 40, tzinfo=UTC)
PEOPLE = {"avocet": "clinician", "dunlin": "clinician", "ruff": "clinician"}
"""Owner of both records, a colleague who may write in them, one who may only read."""


class Killed(BaseException):
    """kill -9 of the worker that answers, at this statement."""


@dataclass
class Answer:
    """What the service sent back."""

    status: int
    text: str
    goes_to: str = ""


@dataclass
class Worker:
    """What one process of the service remembers."""

    ledgers: Any
    texts: Any


class Clock:
    """The time of the server; everything that asks for it asks here."""

    def __init__(self) -> None:
        self.at = START

    def now(self) -> datetime:
        """As `timezone.now`."""
        return self.at

    def time(self) -> float:
        """As `time.time`."""
        return self.at.timestamp()


@dataclass
class Kept:
    """A backup: the database as it was, and where its audit ended."""

    image: bytes
    audit_lines: int
    audit_seal: str


@dataclass(frozen=True)
class SignedIn:
    """A browser in which somebody is signed in, and the pages that it has been given."""

    cookies: dict[str, str]
    pages: dict[str, str]


TABLETS = 6


@dataclass
class Service:
    """Answers requests; can be killed, restored and have its clock set."""

    client: Any
    image: bytes
    examinations: list[str]
    patients: list[str]
    accounts: dict[str, int]
    clock: Clock
    workers: list[Worker] = field(default_factory=list)
    texts: list[Any] = field(default_factory=list)
    """What each worker keeps of pages: by everything that they show, so it outlives a seed."""
    signed_in: dict[tuple[int, str], SignedIn] = field(default_factory=dict)
    """By tablet and person: how a seed begins for them."""
    statements_left: int = -1
    between: Callable[[], None] | None = None
    asked: int = 0
    own_key: str = ""

    def begin(self, chance: random.Random) -> None:
        """Everything as before the first request of a seed."""
        from sidewise.web.audit import anchors, head

        self.chance, self.asked = chance, 0
        for path in (anchors.path(), head.path()):
            for each in path.parent.glob(f"{path.name}*"):
                each.unlink()
        self.clock.at = START
        self.use_key("")
        self.put(self.image)
        head.begin_anew(*self.end())

    def put(self, image: bytes) -> None:
        """This database in place of the one that is there; every worker begins anew."""
        from django.db import connection

        connection.connection.deserialize(image)
        self.start()

    def start(self) -> None:
        """Two workers that remember nothing."""
        from sidewise.ground.cache import LastUsed
        from sidewise.web.examinations import pieces, state

        if not self.texts:
            self.texts = [LastUsed(pieces.KEPT) for _ in range(2)]
        self.workers = [Worker(LastUsed(state.KEPT), texts) for texts in self.texts]

    def use_key(self, key: str) -> None:
        """Another signing key in force; empty for the one that this service has."""
        from django.conf import settings

        self.own_key = self.own_key or settings.SECRET_KEY
        settings.SECRET_KEY = key or self.own_key

    def end(self) -> tuple[int, str]:
        """Number and seal of the last line of the audit."""
        from sidewise.web.audit.models import AuditLine

        last = AuditLine.objects.order_by("-number").values_list("number", "seal").first()
        assert last is not None
        return tuple(last)

    def keep(self) -> Kept:
        """A backup of this moment."""
        from django.db import connection

        return Kept(bytes(connection.connection.serialize()), *self.end())

    def restore(self, kept: Kept) -> None:
        """As `sidewise restore --replace` once the rows are proven; the service was stopped."""
        from types import SimpleNamespace

        from sidewise.web.keeping import restore

        self.put(kept.image)
        manifest = SimpleNamespace(audit_lines=kept.audit_lines, audit_seal=kept.audit_seal)
        restore._finish(manifest, None)  # type: ignore[arg-type]

    def ask(
        self, cookies: Any, method: str, path: str, data: Any = None,
        headers: dict[str, str] | None = None, form: bool = False,
    ) -> Answer:  # fmt: skip
        """One request, answered by either worker; `Killed` where that one is killed meanwhile."""
        return contextvars.copy_context().run(
            self._ask, cookies, method, path, data, headers or {}, form
        )

    def _ask(
        self, cookies: Any, method: str, path: str, data: Any, headers: dict[str, str], form: bool
    ) -> Answer:
        from django.db import connection

        self.asked += 1
        number = self.chance.randrange(len(self.workers))
        before, self.client.cookies = self.client.cookies, cookies
        more: dict[str, Any] = {} if form else {"content_type": "application/json"}
        if method == "GET":
            more = {}
        try:
            with self._as_worker(self.workers[number]), connection.execute_wrapper(self._count):
                answer = getattr(self.client, method.lower())(
                    path, data if data is not None else {} if form or method == "GET" else "",
                    headers=headers, **more,
                )  # fmt: skip
        except Killed:
            connection.rollback() if connection.in_atomic_block else None
            fresh, self.statements_left = self.workers[number], -1
            fresh.ledgers.clear()
            raise
        finally:
            self.client.cookies = before
        return Answer(answer.status_code, answer.content.decode(), answer.get("Location", ""))

    @contextmanager
    def _as_worker(self, worker: Worker) -> Iterator[None]:
        from sidewise.web.examinations import pieces, state

        before = state.ledgers, pieces.texts
        state.ledgers, pieces.texts = worker.ledgers, worker.texts
        try:
            yield
        finally:
            state.ledgers, pieces.texts = before

    def _count(self, execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        if self.statements_left == 0:
            raise Killed
        self.statements_left -= self.statements_left > 0
        return execute(sql, params, many, context)

    def sign_in(self, cookies: Any, who: str) -> Answer:
        """Through the page, as a person does."""
        page = self.ask(cookies, "GET", "/sign-in/")
        data = {"username": who, "password": PASSWORD, "csrfmiddlewaretoken": token_in(page.text)}
        return self.ask(cookies, "POST", "/sign-in/", data, form=True)


def token_in(page: str) -> str:
    """The anti-forgery token of a form on a page; empty where there is none."""
    found = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page)
    return found[1] if found else ""


def make_service() -> Service:
    """Set Django up over a database in memory, with people and two open examinations."""
    folder = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
    os.environ["SIDEWISE_HOME"] = tempfile.mkdtemp(prefix="sidewise-simulation-", dir=folder)
    os.environ["DJANGO_SETTINGS_MODULE"] = "sidewise.web.settings"
    os.environ.pop("SIDEWISE_DATABASE_URL", None)
    os.environ["SIDEWISE_LOG_LEVEL"] = "CRITICAL"
    import logging

    import django
    from django.conf import settings

    settings.DATABASES["default"]["NAME"] = ":memory:"
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.ALLOWED_HOSTS = [*settings.ALLOWED_HOSTS, "testserver"]
    django.setup()
    logging.disable(logging.CRITICAL)
    clock = Clock()
    _take_clock(clock)
    from sidewise.web.keeping.upkeep import bring_up_to_date

    bring_up_to_date()
    from django.test import Client

    client = Client(enforce_csrf_checks=True, raise_request_exception=False)
    accounts, patients, examinations = _people()
    from django.db import connection

    image = bytes(connection.connection.serialize())
    service = Service(client, image, examinations, patients, accounts, clock)
    _let_in_between(service)
    _remember_standings()
    _sign_everybody_in(service)
    return service


def _sign_everybody_in(service: Service) -> None:
    """Each person on each tablet, once for all seeds: a sign-in takes as long as five touches."""
    from http.cookies import SimpleCookie

    from django.db import connection

    service.begin(random.Random(0))
    for tablet in range(TABLETS):
        for who in PEOPLE:
            cookies: SimpleCookie = SimpleCookie()
            assert service.sign_in(cookies, who).status == 302
            addresses = [f"/examinations/{pk}/held/" for pk in service.examinations]
            pages = {a: service.ask(cookies, "GET", a).text for a in addresses}
            kept = {name: morsel.value for name, morsel in cookies.items()}
            service.signed_in[tablet, who] = SignedIn(kept, pages)
    service.image = bytes(connection.connection.serialize())


def _remember_standings() -> None:
    """The flags of a record are worked out once for all seeds in which its findings are the same.

    They depend on context and findings alone; their law is tested where it is kept.
    """
    from sidewise.ground.cache import LastUsed
    from sidewise.web.examinations import state

    real, known = state.standing, LastUsed[Any, Any](1500)

    def remembered(record: Any, region: Any, before: Any = None) -> Any:
        findings = tuple(finding.model_dump_json() for finding in record.findings)
        key = (record.id, record.context.model_dump_json(), findings)
        return known.get(key) or known.put(key, real(record, region, before))

    state.standing = remembered


def _let_in_between(service: Service) -> None:
    """Between what a view has read and the lock under which it writes, another may write."""
    from django.db import connection

    from sidewise.web.examinations import store

    real = store.add

    def add(*args: Any, **more: Any) -> Any:
        if service.between is not None and not connection.in_atomic_block:
            service.between()
        return real(*args, **more)

    store.add = add


def _people() -> tuple[dict[str, int], list[str], list[str]]:
    from sidewise.record import Context
    from sidewise.web.accounts.models import User
    from sidewise.web.examinations.store import open_examination
    from sidewise.web.patients.models import Patient, Share
    from tests.builders import BASE

    users = []
    for name, role in PEOPLE.items():
        user = User(username=name, role=role, code=name.upper())
        user.set_password(PASSWORD)
        user.save()
        users.append(user)
    owner, colleague, reader = users
    patients, examinations = [], []
    for number in range(2):
        patient = Patient.objects.create(code=f"KNOT-{number + 1}", owner=owner)
        Share.objects.create(patient=patient, user=colleague, may_write=True)
        Share.objects.create(patient=patient, user=reader)
        about = {**BASE, "patient": patient.code, "examiner": owner.signs_as}
        context = Context.model_validate(about)
        made = open_examination(patient, owner, "shoulder", context, f"open{number}", START)
        patients.append(str(patient.key))
        examinations.append(str(made.pk))
    return {user.username: user.pk for user in users}, patients, examinations


def _take_clock(clock: Clock) -> None:
    """Every place of the service that asks for the time is given the seed's clock."""
    from django.utils import timezone

    from sidewise.web.accounts import sessions, signing_in, views

    timezone.now = clock.now
    for module in (sessions, signing_in, views):
        module.time = clock.time
    import django.contrib.sessions.backends.base as base

    base.timezone.now = clock.now
    import django.http.response as response

    del base, response


@contextmanager
def seeded_chance(chance: random.Random) -> Iterator[None]:
    """Keys, tokens and ids come from the seed, so that a seed replays to the letter."""
    real, real_in_random = os.urandom, random._urandom  # type: ignore[attr-defined]
    os.urandom = random._urandom = chance.randbytes  # type: ignore[attr-defined,assignment]
    try:
        yield
    finally:
        os.urandom, random._urandom = real, real_in_random  # type: ignore[attr-defined]
