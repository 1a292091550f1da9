"""One patient of the invented clinic, whose supervisor lets a student examine as well."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

from sidewise.web.accounts.models import Role, User
from sidewise.web.supervised.models import LearnerVisit
from tests.web.cast import Cast, person, sign, tender, touch

CONSENT = {"student": "s01", "how": "spoken", "minutes": "60", "told": "on"}


@dataclass
class Ward(Cast):
    """The cast of a patient, with two students, a teacher and an administrator."""

    student: User = field(default_factory=lambda: person("s01", Role.STUDENT))
    other: User = field(default_factory=lambda: person("s02", Role.STUDENT))
    teacher: User = field(default_factory=lambda: person("teacher", Role.TEACHER))
    administrator: User = field(default_factory=lambda: person("admin", Role.ADMINISTRATOR))

    @property
    def door(self) -> str:
        """The supervisor's page of learners at the examination."""
        return f"/learners/of/{self.examination.pk}/"

    @property
    def visit(self) -> LearnerVisit:
        """The visit as it is kept."""
        return LearnerVisit.objects.select_related("examination").get()

    @property
    def room(self) -> str:
        """The visit as the student opens it."""
        return f"/learners/{self.visit.key}/"

    def begin(self, **more: str) -> Any:
        """The supervisor lets the student in."""
        return self.client("owner").post(self.door, {**CONSENT, **more})

    def find(self, who: str = "student", stage: str = "feel", **sent: str) -> Any:
        """What the student types or presses on the page of a stage."""
        client = self.client(who)
        page = client.get(f"{self.room}?stage={stage}").content.decode()
        (seen, *_) = re.findall(r'name="seen" value="(\d+)"', page) or ["0"]
        return client.post(f"{self.room}?stage={stage}", {"seen": seen, **sent})

    def feel(self, grade: int, side: str = "left", item: str = "acj_tenderness") -> Any:
        """The student presses a grade of tenderness."""
        return self.find(value=f'{item} {side}|{{"kind":"tenderness","grade":{grade}}}')

    def hand_in(self) -> Any:
        """The student is done."""
        return self.client("student").post(f"{self.room}hand-in/")

    def sign(self, grade: int = 2, side: str = "left") -> None:
        """The supervisor finds a tenderness of their own, and signs."""
        client = self.client("owner")
        touch(client, self.examination, tender(grade, side, "acj_tenderness"))
        assert sign(client, self.examination).status_code == 302

    def to_the_end(self) -> None:
        """Begun, examined by both, handed in, signed and countersigned."""
        self.begin()
        self.feel(0)
        self.hand_in()
        self.sign()
        answer = self.client("owner").post(f"{self.room}countersign/", {"remark": "Press harder."})
        assert answer.status_code == 302
