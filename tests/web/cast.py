"""A cast of people for the pages, and a small invented interpretation."""

from __future__ import annotations

import dataclasses
import json
import re
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

from django.test import Client

from sidewise.ground.provenance import Mark, Provenance
from sidewise.note.completeness import completeness
from sidewise.reason.result import (
    Because,
    ConditionPosterior,
    Interpretation,
    LevelPosterior,
    Next,
    SidePosteriors,
)
from sidewise.record import Context, Record
from sidewise.web.accounts.models import Role, User
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.state import current
from sidewise.web.examinations.store import open_examination
from sidewise.web.patients.models import Patient, Share
from tests.builders import BASE
from tests.shoulder import SHOULDER

PASSWORD = "a quiet tidal island"
STUDY = Provenance(Mark.OUR_JUDGEMENT, "an invented study")


def hand_made(record: Record) -> Interpretation:
    """A small interpretation in the shape of the real one: numbers invented, flags real."""
    because = Because("neer", "left", "neer_pain", "Neer: pain", "present", 0.7, "studies", False,
                      (STUDY,))  # fmt: skip
    condition = _filled(
        ConditionPosterior, condition="cuff", label="rotator cuff and bursa", side="left",
        levels=(LevelPosterior("pain without tear", 0.3, 0.6, 0.4, 0.8),), prior=0.3,
        posterior=0.6, low=0.4, high=0.8, because=(because,), mind_changer=None,
        prior_sources=(STUDY,), note="",
    )  # fmt: skip
    todo = Next("speed", "left", "Speed", 0.31, 0.33, 0.93, 1, None, "Sitting.", "In front.")
    return _filled(
        Interpretation, record=record.id, region=record.region, setting="primary",
        cautions=("Not a diagnosis.",), red_flags=completeness(record, SHOULDER).flags,
        sides={"left": SidePosteriors((condition,)), "right": SidePosteriors(())},
        whole_person=SidePosteriors(()), next=(todo,), evidence_percentile=None,
        knowledge_version="test", visit="full",
    )  # fmt: skip


def _filled(kind: Any, **known: Any) -> Any:
    """The dataclass with these fields; every list that is not named is empty."""
    return kind(**{field.name: known.get(field.name, ()) for field in dataclasses.fields(kind)})


def person(name: str, role: str = Role.CLINICIAN) -> User:
    """Somebody who can sign in."""
    return User.objects.create_user(name, password=PASSWORD, role=role, code=name.upper())


@dataclass
class Cast:
    """One patient, one open examination, and four people with different rights."""

    owner: User = field(default_factory=lambda: person("owner"))
    colleague: User = field(default_factory=lambda: person("colleague"))
    reader: User = field(default_factory=lambda: person("reader"))
    stranger: User = field(default_factory=lambda: person("stranger"))

    def __post_init__(self) -> None:
        self.patient = Patient.objects.create(code="HERON-1", owner=self.owner)
        Share.objects.create(patient=self.patient, user=self.colleague, may_write=True)
        Share.objects.create(patient=self.patient, user=self.reader)
        self.examination = self.open()

    def open(self, **context: Any) -> Examination:
        """Another examination of the patient."""
        made = Context.model_validate({**BASE, "examiner": "OWNER", **context})
        at = datetime.now(UTC)
        return open_examination(self.patient, self.owner, "shoulder", made, uuid4().hex, at)

    def client(self, who: str) -> Client:
        """A browser in which `who` is signed in."""
        client = Client()
        client.force_login(getattr(self, who))
        return client

    @property
    def record(self) -> Record:
        """The examination as it stands."""
        return current(self.examination).record


def touch(client: Client, examination: Examination, *findings: Any, **more: Any) -> Any:
    """Findings sent as a script sends them, by one touch."""
    stem = more.get("stem") or uuid4().hex
    entries = [
        {"id": f"{stem}.{number}", "at": "2026-03-02T09:41:00Z",
         "deed": {"do": "found", "finding": finding, "replaces": more.get("replaces", [])}}
        for number, finding in enumerate(findings)
    ]  # fmt: skip
    return send(client, examination, entries)


def send(client: Client, examination: Examination, entries: Any) -> Any:
    """Entries as a script sends them."""
    body = json.dumps({"entries": entries})
    address = f"/examinations/{examination.pk}/touch/"
    return client.post(address, body, content_type="application/json", HTTP_HX_REQUEST="true")


def tender(grade: int = 0, side: str = "left", item: str = "coracoid_tenderness") -> dict[str, Any]:
    """A tenderness finding as a script sends it."""
    return {"item": item, "side": side, "value": {"kind": "tenderness", "grade": grade}}


def sign(client: Client, examination: Examination) -> Any:
    """The page of the signature is opened, every raised flag ticked and arranged, and signed."""
    address = f"/examinations/{examination.pk}/sign/"
    page = client.get(address).content.decode()
    (seen,) = re.findall(r'name="seen" value="([^"]*)"', page)
    flags = re.findall(r'name="flag" value="([^"]*)"', page)
    arranged = {f"{part}.{flag}": "E1, today" for flag in flags for part in ARRANGED}
    return client.post(address, {"sign": "1", "seen": seen, "flag": flags, **arranged})


ARRANGED = ("who", "by_when", "told")
