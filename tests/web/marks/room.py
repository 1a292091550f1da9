"""A teaching room: one sitting of a small invented examination and people with different rights."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from sidewise.web.accounts.models import Role, User
from sidewise.web.marks import analysis
from sidewise.web.marks.models import KeptSitting, Settlement, SittingShare
from tests.web.cast import person

STATIONS = ("look", "feel", "move", "power")
WORDS = ("fail", "borderline", "pass", "good")


def score(student: int, station: int) -> int:
    """An invented mark out of 20: better students earn more, with some unevenness."""
    return min(20, 5 + student + (3 * student + 5 * station) % 4)


def long_sheet(students: int = 12, cells: dict[tuple[int, str], str] | None = None) -> bytes:
    """A sheet with our own headings: a row for each student at each station."""
    rows = ["student,station,examiner,mark,maximum,global_rating"]
    for i in range(1, students + 1):
        for k, station in enumerate(STATIONS):
            got = (cells or {}).get((i, station), str(score(i, k)))
            word = WORDS[min(3, score(i, k) // 5)]
            rows.append(f"S{i:02d},{station},E{k % 3 + 1},{got},20,{word}")
    return ("\n".join(rows) + "\n").encode()


def wide_sheet(students: int = 12) -> bytes:
    """A messy sheet: a title, maxima, an absence, totals, and no examiner."""
    rows = ["Practical day on the island,,,,,", ",,,,,", "Candidate,Look,Feel,Move,Power,Total",
            "Max,20,20,20,20,80"]  # fmt: skip
    for i in range(1, students + 1):
        marks = [str(score(i, k)) for k in range(4)]
        if i == 3:
            marks[1] = "ABS"
        rows.append(",".join([f"S{i:02d}", *marks, ""]))
    rows.append("Total,,,,,")
    return ("\n".join(rows) + "\n").encode()


@dataclass
class Room:
    """A sitting, its owner, colleagues who may settle or read, and everybody else."""

    owner: User = field(default_factory=lambda: person("teacher", Role.TEACHER))
    colleague: User = field(default_factory=lambda: person("colleague", Role.TEACHER))
    reader: User = field(default_factory=lambda: person("reader", Role.TEACHER))
    stranger: User = field(default_factory=lambda: person("stranger", Role.TEACHER))
    student: User = field(default_factory=lambda: person("s01", Role.STUDENT))
    clinician: User = field(default_factory=lambda: person("clinician", Role.CLINICIAN))
    administrator: User = field(default_factory=lambda: person("admin", Role.ADMINISTRATOR))

    def __post_init__(self) -> None:
        self.sitting = self.bring(long_sheet())
        SittingShare.objects.create(sitting=self.sitting, user=self.colleague, may_write=True)
        SittingShare.objects.create(sitting=self.sitting, user=self.reader)

    def client(self, who: str) -> Client:
        """A browser in which `who` is signed in."""
        client = Client()
        client.force_login(getattr(self, who))
        return client

    def bring(self, data: bytes, title: str = "teaching week") -> KeptSitting:
        """Another sitting, brought through the page by the owner."""
        before = set(KeptSitting.objects.values_list("pk", flat=True))
        answer = send(self.client("owner"), data, title)
        assert answer.status_code == 302, told(answer)
        return KeptSitting.objects.exclude(pk__in=before).get()

    @property
    def address(self) -> str:
        """The address of the sitting."""
        return f"/marks/{self.sitting.key}/"

    @property
    def latest(self) -> Settlement:
        """The version that holds."""
        return self.sitting.settlements.order_by("-number")[0]


def send(client: Client, data: bytes, title: str = "teaching week", name: str = "week.csv") -> Any:
    """A sheet dropped on the page."""
    return client.post("/marks/", {"title": title, "sheet": SimpleUploadedFile(name, data)})


def told(answer: Any) -> list[dict[str, str]]:
    """The errors that a page shows, each by its four parts."""
    text = answer.content.decode()
    found = []
    for block in re.findall(r"<li><dl>(.*?)</dl></li>", text, re.S):
        pairs = re.findall(r"<dt>(.*?)</dt><dd>(.*?)</dd>", block, re.S)
        found.append(dict(pairs))
    return found


def finish() -> None:
    """Wait for every analysis that is under way."""
    for thread in list(analysis._threads.values()):
        thread.join()


def shown(client: Client, address: str) -> Any:
    """A page with its results; waits for an analysis that is under way."""
    answer = client.get(address, follow=True)
    if answer.status_code == 202:
        finish()
        answer = client.get(address, follow=True)
    return answer


def filled(answer: Any, **changes: Any) -> dict[str, Any]:
    """What the form of a page would send as it stands, with changes."""
    form = answer.context["form"]
    data: dict[str, Any] = {}
    for bound in form:
        value = bound.value()
        if value is not False and value not in (None, ""):
            data[bound.name] = "on" if value is True else value
    data.update(changes)
    return {name: value for name, value in data.items() if value is not None}
