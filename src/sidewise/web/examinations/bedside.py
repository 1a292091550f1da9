"""What every page of one examination shows at its head: who, how far, what must not be missed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from django.apps import apps
from django.http import HttpRequest
from django.middleware.csrf import get_token
from django.utils.safestring import SafeString

from sidewise.ground.language import mark_text, say_text, term
from sidewise.note.header import carried_words, complaint_words, person_words, setting_words
from sidewise.protocol import Item
from sidewise.protocol.visits import VisitKind
from sidewise.reason.judging.flags import flag_book_of
from sidewise.reason.judging.not_looked import not_looked_at
from sidewise.reason.result import RedFlag
from sidewise.record import Record
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.pieces import (
    Look,
    StageTab,
    Strip,
    fill_in,
    row_piece,
    strip_piece,
)
from sidewise.web.examinations.state import Current
from sidewise.web.examinations.statements import DisputeShown, disputes_shown
from sidewise.web.examinations.usual import instrument_now
from sidewise.web.examinations.widgets import END_FEELS, INSTRUMENTS
from sidewise.web.parts import Door, Part

ONE_SIDE = {"right": mark_text("right side"), "left": mark_text("left side")}


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
        return person_words(self.now.record)

    @property
    def complaint(self) -> str:
        """Why the person came."""
        return complaint_words(self.now.record, self.now.protocol)

    @property
    def side_of(self) -> str:
        """The side complained of, for the bar that stays."""
        sides = self.now.record.context.complaint
        if not sides:
            return say_text("side not stated")
        return term(ONE_SIDE[sides[0]]) if len(sides) == 1 else say_text("both sides")

    @property
    def setting(self) -> str:
        """Where, in words."""
        return setting_words(self.now.record.context.setting)

    @property
    def is_open(self) -> bool:
        """Whether this person may write into it now."""
        return self.may_write and not self.is_signed and not self.now.folded.discarded

    @property
    def is_signed(self) -> bool:
        """Whether the current revision is signed."""
        return self.now.record.signed is not None

    @property
    def has_figure(self) -> bool:
        """Whether the region has places of a figure."""
        return bool(self.now.figure.places)

    @property
    def has_atlas(self) -> bool:
        """Whether they can be drawn."""
        return self.now.has_atlas

    @property
    def strip(self) -> Strip:
        """The strip of places, with what is done in each."""
        done = self.now.completeness.done
        core = [entry.id for entry in self.now.protocol.history if entry.core]
        answer = self.now.record.context.answer
        return Strip(
            self.here,
            sum(answer(question) != "not asked" for question in core),
            len(core),
            self.has_figure,
            tuple(StageTab(str(s), s.slug, *done[s.id]) for s in self.now.protocol.stages),
        )

    @property
    def strip_places(self) -> SafeString:
        """The strip as it stands on the page."""
        return fill_in(strip_piece(self.strip), self.examination.pk)

    @property
    def kind(self) -> VisitKind:
        """The kind of visit."""
        return self.now.completeness.kind

    @property
    def carried(self) -> str:
        """What was taken from an earlier visit and not asked again, in words; "" if nothing."""
        return carried_words(self.now.record, self.now.protocol)

    @property
    def raised(self) -> tuple[RedFlag, ...]:
        """Flags raised: shown on every page, whatever else is hidden."""
        return self.now.completeness.raised

    @property
    def not_looked(self) -> tuple[str, ...]:
        """Once the core questions are asked: what nobody has looked at yet, in plain words."""
        if self.now.completeness.not_asked or not self.is_open:
            return ()
        book = flag_book_of(self.now.region)
        flags = self.now.completeness.flags
        return not_looked_at(flags, book, self.now.protocol, self.now.record)

    @property
    def disputes(self) -> tuple[DisputeShown, ...]:
        """Fields of the context with different answers: shown on every page until settled."""
        return disputes_shown(self.now)

    @property
    def beside(self) -> tuple[Door, ...]:
        """What else is entered from here: parts above this one say so themselves."""
        if not self.may_write or self.now.folded.discarded:
            return ()
        parts = (part for part in apps.get_app_configs() if isinstance(part, Part))
        return tuple(door for part in parts for door in part.at_an_examination)

    @property
    def undoable(self) -> str:
        """The entries that one undo takes back."""
        return " ".join(self.now.last_touch)


@dataclass(frozen=True, slots=True)
class BedsidePage:
    """What every page of an examination is given."""

    bed: Bedside
    """Who, how far, what must not be missed, and whether anything can be recorded."""
    examination: Examination
    """The examination, for addresses and the patient's code."""
    record: Record
    """What the ledger amounts to."""
    instrument: str
    """What angles of this patient are read with."""
    behind: bool
    """Whether the examiner stands behind the patient."""
    oob: bool
    """Whether pieces take the place of those on the page: only in the answer to a touch."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryPage(BedsidePage):
    """What a page with fields for findings is given."""

    instruments: tuple[str, ...] = INSTRUMENTS
    """What an angle can be read with."""
    end_feels: tuple[str, ...] = END_FEELS
    """How a movement can end."""


def bedside_page(
    request: HttpRequest, examination: Examination, now: Current, may_write: bool, here: str
) -> BedsidePage:
    """What every page of an examination is given, for one request."""
    return BedsidePage(
        bed=Bedside(examination, now, may_write, here),
        examination=examination,
        record=now.record,
        instrument=instrument_now(request.session, examination),
        behind=request.GET.get("stand") == "behind",
        oob=False,
    )


def rows_shown(
    request: HttpRequest, page: BedsidePage, items: Iterable[Item],
    opened: frozenset[str] = frozenset(), *, swapped: bool = False,
) -> SafeString:  # fmt: skip
    """The rows of these items as they stand on this page, or as they swap into it."""
    bed = page.bed
    closed = Look(bed.is_open, page.instrument, bed.has_figure)
    unfolded = replace(closed, opened=True)
    texts = (row_piece(bed.now, i, unfolded if i.id in opened else closed) for i in items)
    return fill_in("".join(texts), page.examination.pk, get_token(request), swapped=swapped)
