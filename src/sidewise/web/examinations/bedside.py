"""What every page of one examination shows at its head: who, how far, what must not be missed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest

from sidewise.note.text import SETTINGS, SEX, complaint_words
from sidewise.protocol import Stage
from sidewise.reason.result import RedFlag
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.rows import slug
from sidewise.web.examinations.state import Current


@dataclass(frozen=True, slots=True)
class StageTab:
    """One stage in the strip: its name and how many of how many are done."""

    label: str
    slug: str
    done: int
    of: int

    @property
    def complete(self) -> bool:
        """Whether everything essential and every flag-screening item has an entry."""
        return self.done == self.of


@dataclass(frozen=True, slots=True)
class Bedside:
    """The head of the page, from the examination as it stands."""

    examination: Examination
    now: Current
    may_write: bool
    here: str

    @property
    def who(self) -> str:
        """Age, sex and handedness, as far as known."""
        c = self.now.record.context
        age = "age not stated" if c.age is None else ("90+" if c.age > 89 else str(c.age))
        handed = f"{c.dominant}-handed" if c.dominant else "handedness not stated"
        return ", ".join(filter(None, (age, SEX.get(c.sex or "", ""), handed)))

    @property
    def complaint(self) -> str:
        """Why the person came."""
        return complaint_words(self.now.record, self.now.protocol)

    @property
    def setting(self) -> str:
        """Where, in words."""
        return SETTINGS.get(self.now.record.context.setting or "", "setting not stated")

    @property
    def is_open(self) -> bool:
        """Whether this person may write into it now."""
        return self.may_write and not self.is_signed and not self.now.folded.discarded

    @property
    def is_signed(self) -> bool:
        """Whether the present revision is signed."""
        return self.now.record.signed is not None

    @property
    def tabs(self) -> list[StageTab]:
        """The strip of stages."""
        done = self.now.completeness.done
        return [StageTab(str(stage), slug(stage), *done[stage]) for stage in Stage]

    @property
    def asked(self) -> tuple[int, int]:
        """Core questions asked, of how many."""
        core = [entry.id for entry in self.now.protocol.history if entry.core]
        answered = [q for q in core if self.now.record.context.answer(q) != "not asked"]
        return len(answered), len(core)

    @property
    def raised(self) -> tuple[RedFlag, ...]:
        """Flags raised: shown on every page, whatever else is hidden."""
        return self.now.completeness.raised

    @property
    def undoable(self) -> str:
        """The entries that one undo takes back."""
        return " ".join(self.now.last_touch)


def bedside_context(
    request: HttpRequest, examination: Examination, now: Current, may_write: bool, here: str
) -> dict[str, Any]:
    """What every template of an examination is given."""
    return {
        "bed": Bedside(examination, now, may_write, here),
        "examination": examination,
        "record": now.record,
        "instrument": request.session.get("instrument", "eye"),
        "behind": request.GET.get("stand") == "behind",
    }
