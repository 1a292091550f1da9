"""Pieces of the page that are rendered once and kept: a row that looks the same is the same text.

What belongs to one request (the examination's address, the form's token, whether the piece takes
the place of one on the page) stands in a kept text as a random word of this process, and is
filled in last. A piece is kept under everything else that it shows; nothing is ever patched.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from secrets import token_hex
from typing import Any
from uuid import UUID, uuid4

from django.template import Context, Template
from django.template.loader import get_template
from django.utils.safestring import SafeString, mark_safe

from sidewise.ground.cache import LastUsed
from sidewise.ground.language import language
from sidewise.protocol import Item, Protocol
from sidewise.reason.judging.called_for import places
from sidewise.web.examinations.rows import Row, last_words, row_of
from sidewise.web.examinations.state import Current
from sidewise.web.examinations.widgets import END_FEELS, INSTRUMENTS
from sidewise.web.pages import checked_values

KEPT = 3000
"""Pieces kept by one process, a few kilobytes each."""
TOKEN, SWAP = token_hex(32), token_hex(16)
SWAPPED = ' hx-swap-oob="true"'


@dataclass(frozen=True, slots=True)
class StageTab:
    """One stage in the strip: its name and how many of how many are done."""

    label: str
    slug: str
    done: int
    of: int

    @property
    def complete(self) -> bool:
        """Whether everything essential, screening a flag or called for has an entry."""
        return self.done == self.of


@dataclass(frozen=True, slots=True)
class Strip:
    """The places one can go to in an examination."""

    here: str
    asked: int
    core: int
    has_figure: bool
    tabs: tuple[StageTab, ...]


@dataclass(frozen=True, slots=True)
class _Nobody:
    """Stands for the examination in a kept text."""

    pk: UUID


@dataclass(frozen=True, slots=True)
class Look:
    """What a row takes from the page it stands on."""

    is_open: bool
    instrument: str
    has_figure: bool
    opened: bool = False


@dataclass(frozen=True, slots=True)
class StripContext:
    """What the template of the strip's places is given."""

    strip: Strip
    """The places with their counts."""
    examination: _Nobody
    """For addresses."""


@dataclass(frozen=True, slots=True)
class RowContext:
    """What the template of a row is given."""

    row: Row
    """The item across the mirror."""
    bed: Look
    """Whether anything can be recorded."""
    instrument: str
    """What angles are read with in this sitting."""
    examination: _Nobody
    """For addresses."""
    csrf_token: str
    """For forms."""
    oob: str
    """The mark of a piece that takes the place of the one on the page."""
    instruments: tuple[str, ...] = INSTRUMENTS
    """What an angle can be read with."""
    end_feels: tuple[str, ...] = END_FEELS
    """How a movement can end."""
    all_structures: tuple[str, ...] = ()
    """Where something can be, for an item that takes a place."""
    full: bool = False
    """A row is never the full entry; that is the item's panel."""


NOBODY = _Nobody(uuid4())
texts: LastUsed[Hashable, tuple[object, str]] = LastUsed(KEPT)
"""Texts by everything that they show, each with what must live as long."""


def fill_in(text: str, pk: UUID, token: str = "", *, swapped: bool = False) -> SafeString:
    """A kept text as it is sent: whose examination, whose form, and whether it swaps."""
    return mark_safe(  # The random words are plain hex, so they stand unescaped in the text.
        text.replace(TOKEN, token)
        .replace(str(NOBODY.pk), str(pk))
        .replace(SWAP, SWAPPED if swapped else "")
    )


def row_piece(now: Current, item: Item, look: Look) -> str:
    """The row of an item as a text to fill; worked out only where nothing like it is kept."""
    instrument = look.instrument if item.kind("angle") else ""
    key = ("row", id(now.protocol), item.id, look.is_open, look.opened, instrument,
           now.withheld.wholly(item), now.completeness.called.get(item.id),
           now.completeness.kind.has(item), _last_time(now, item),
           _stands(now, item))  # fmt: skip
    return kept_text(key, now.protocol, lambda: _row(now, item, look))


def strip_piece(strip: Strip) -> str:
    """The places of the strip as a text to fill."""
    context = StripContext(strip, NOBODY)
    return kept_text(strip, None, lambda: render_text("examinations/strip_places.html", context))


def _stands(now: Current, item: Item) -> Hashable:
    """Everything recorded of the item, and the context it is read in; None where nothing is."""
    found = now.held_of.get(item.id)
    return (now.record.id, now.context_entry, found) if found else None


def _last_time(now: Current, item: Item) -> Hashable:
    """What stood at the item's places at the visit that this one follows; None for any other."""
    if now.record.context.follows is None:
        return None
    return tuple(last_words(now, (item.id, side, mode)) for side, mode in places(item))


def _row(now: Current, item: Item, look: Look) -> str:
    row = row_of(now, item, opened=look.opened)
    context = RowContext(row, look, look.instrument, NOBODY, TOKEN, SWAP,
                         all_structures=structure_labels(now.protocol))  # fmt: skip
    return render_text("examinations/row.html", context)


def structure_labels(protocol: Protocol) -> tuple[str, ...]:
    """The region's structures by name."""
    return tuple(structure.label for structure in protocol.structures)


def render_text(template: str, context: Any) -> str:
    """A template with the fields of a context class and nothing else."""
    # The engine's own template: the one around it would add what belongs to one request.
    engine: Template = get_template(template).template  # type: ignore[attr-defined]
    return engine.render(Context(checked_values(context)))


def kept_text(key: Hashable, holder: object, make: Callable[[], str]) -> str:
    """The text under this key; `holder` is kept alive with it, so that its id stays its own."""
    key = (key, language())
    known = texts.get(key) or texts.put(key, (holder, make()))
    return known[1]
