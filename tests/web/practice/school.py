"""A class with people of different rights, and how a test plays a case."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.test import Client

from sidewise.web.accounts.models import Role, User
from sidewise.web.classes import store as classes
from sidewise.web.classes.models import ClassMember, ClassShare, StudyClass
from sidewise.web.practice import store
from sidewise.web.practice.models import PracticeAttempt
from tests.web.cast import person


@dataclass
class School:
    """One class of a teacher, shared with two; one student in it, one in another class."""

    owner: User = field(default_factory=lambda: person("teacher", Role.TEACHER))
    colleague: User = field(default_factory=lambda: person("colleague", Role.TEACHER))
    reader: User = field(default_factory=lambda: person("reader", Role.TEACHER))
    stranger: User = field(default_factory=lambda: person("stranger", Role.TEACHER))
    clinician: User = field(default_factory=lambda: person("clinician", Role.CLINICIAN))
    administrator: User = field(default_factory=lambda: person("admin", Role.ADMINISTRATOR))
    student: User = field(default_factory=lambda: person("s01", Role.STUDENT))
    other: User = field(default_factory=lambda: person("s02", Role.STUDENT))

    def __post_init__(self) -> None:
        self.study_class: StudyClass = classes.begin_class(self.owner, "spring", "shoulder")
        ClassShare.objects.create(study_class=self.study_class, user=self.colleague, may_write=True)
        ClassShare.objects.create(study_class=self.study_class, user=self.reader)
        ClassMember.objects.create(study_class=self.study_class, student=self.student)
        elsewhere = classes.begin_class(self.stranger, "autumn", "shoulder")
        ClassMember.objects.create(study_class=elsewhere, student=self.other)

    @property
    def address(self) -> str:
        """The class as its teacher sees it."""
        return f"/classes/{self.study_class.key}/"

    @property
    def practice(self) -> str:
        """What the class practised."""
        return f"/practice/class/{self.study_class.key}/"

    def client(self, who: str) -> Client:
        """A browser in which `who` is signed in."""
        client = Client()
        client.force_login(getattr(self, who))
        return client

    def set_case(self, **more: Any) -> Any:
        """A case set for the class."""
        what = {"present": [], "absent": [], "flags": [], "seed": 7, "difficulty": "usual",
                "hints": "some"}  # fmt: skip
        values = {"title": "A stiff shoulder", "group": "", "due": date(2099, 3, 6), "what": what}
        return classes.set_work(self.study_class, self.owner, kind=store.KIND, **values | more)

    def begin(self, who: str = "student") -> Room:
        """A student begins a case of their own."""
        client = self.client(who)
        answer = client.post("/practice/", {"difficulty": "usual", "hints": "some"})
        return Room(client, answer["Location"])


@dataclass
class Room:
    """One student's browser in one case."""

    client: Client
    address: str

    @property
    def row(self) -> PracticeAttempt:
        """The attempt as it is kept."""
        return PracticeAttempt.objects.get(key=self.address.split("/")[2])

    def text(self, stage: str = "history") -> str:
        """The page of one stage."""
        return self.client.get(f"{self.address}?stage={stage}").content.decode()

    def step(self, what: str, stage: str = "history", **more: Any) -> Any:
        """A button of the newest page is pressed."""
        seen = more.pop("seen", self.row.steps.count())
        return self.client.post(f"{self.address}?stage={stage}", {"step": what, "seen": seen,
                                                                  **more})  # fmt: skip

    def think(self, percent: int = 20, **more: Any) -> Any:
        """The same chance is stated of every group."""
        page = self.client.get(f"{self.address}think/").content.decode()
        names = re.findall(r'name="(chance\.[^"]+)"', page)
        (seen,) = re.findall(r'name="seen" value="(\d+)"', page)
        stated = {name: str(percent) for name in names}
        return self.client.post(f"{self.address}think/", {"seen": seen, **stated, **more})

    def finish(self, **more: Any) -> Any:
        """The case is ended."""
        return self.think(end="1", plan="Look again in a week.", **more)
