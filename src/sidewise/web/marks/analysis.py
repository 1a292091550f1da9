"""Analyses of kept tables: worked out beside the requests, remembered by table and answers.

An analysis takes seconds. A page that needs one starts it and says so; the answer comes when it is
asked for again. The key names all that it depends on: the settlement (which is never changed), the
one before it, and how many rows were erased from either table since.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from threading import Lock, Thread
from time import monotonic
from typing import TYPE_CHECKING
from uuid import UUID

from django.utils import timezone

from sidewise.errors import UserError, UserErrors
from sidewise.ground.cache import LastUsed
from sidewise.teaching.tables.sheet_grid import Grid
from sidewise.web.marks.models import Settlement
from sidewise.web.marks.store import Answers, erased_rows, grid_of

if TYPE_CHECKING:
    from sidewise.teaching.report.printout import HeldBefore, PrintedSitting

MOST_WAITING = 8
"""Analyses that are under way or wait for their turn, over all sittings of this process."""
SOON_S = 0.4
logger = logging.getLogger("sidewise.marks")
Key = tuple[UUID, int, int]


@dataclass(frozen=True, slots=True)
class Outcome:
    """A finished analysis: printed, or the errors that say why there is none."""

    printed: PrintedSitting | None = None
    errors: tuple[UserError, ...] = ()


@dataclass(frozen=True, slots=True)
class UnderWay:
    """An analysis that is not done yet: for how many seconds; whether too many wait to begin it."""

    seconds: int
    too_many: bool = False


_done: LastUsed[Key, Outcome] = LastUsed(16)
_begun: dict[Key, float] = {}
_threads: dict[Key, Thread] = {}
_guard, _one_at_a_time = Lock(), Lock()


def analysis_of(settlement: Settlement) -> Outcome | UnderWay:
    """The analysis under this settlement; it is begun where it is not there."""
    before = _before(settlement)
    key = (settlement.pk, erased_rows(settlement.sheet), erased_rows(before.sheet) if before else 0)
    if (known := _done.get(key)) is not None:
        return known
    thread = _begin(key, settlement, before)
    if thread is None:
        return UnderWay(0, too_many=True)
    thread.join(SOON_S)
    known = _done.get(key)
    return known if known is not None else UnderWay(int(monotonic() - _begun.get(key, monotonic())))


def _before(settlement: Settlement) -> Settlement | None:
    rows = Settlement.objects.filter(sitting=settlement.sitting).select_related("sheet")
    return rows.filter(number=settlement.number - 1).first()


def _begin(key: Key, settlement: Settlement, before: Settlement | None) -> Thread | None:
    with _guard:
        if key in _threads:
            return _threads[key]
        if len(_threads) >= MOST_WAITING:
            return None
        # All that is needed is read here: the thread asks nothing of the database.
        work = _Work(
            key, grid_of(settlement.sheet), {**settlement.answers, "by": settlement.by},
            rests_on(settlement), grid_of(before.sheet) if before else None,
            before.answers if before else {},
        )  # fmt: skip
        thread = Thread(target=work.run, name="marks analysis", daemon=True)
        _threads[key], _begun[key] = thread, monotonic()
    thread.start()
    return thread


def rests_on(settlement: Settlement) -> str:
    """Which table and which answers, in words."""
    sheet = settlement.sheet
    return (
        f"Rests on table {sheet.number} ({sheet.name}, kept {_day(sheet.at)} by {sheet.by}) as "
        f"settled in version {settlement.number} on {_day(settlement.at)} by {settlement.by}: "
        f"{settlement.reason}."
    )


def _day(at: object) -> str:
    return f"{at:%d %b %Y}".lstrip("0")


@dataclass(frozen=True, slots=True)
class _Work:
    """One analysis with all it needs."""

    key: Key
    grid: Grid
    words: Answers
    rests_on: str
    grid_before: Grid | None
    words_before: Answers

    def run(self) -> None:
        """Work it out, one at a time, and remember what came of it."""
        try:
            with _one_at_a_time:
                _done.put(self.key, self._outcome())
        except Exception:
            # A bug or a lost process: the page asks again; the log has what happened.
            logger.exception("an analysis of marks failed")
            error = UserError("the analysis", "an unexpected end", "a result",
                              "Tell whoever runs the service; the table is kept.")  # fmt: skip
            _done.put(self.key, Outcome(errors=(error,)))
        finally:
            with _guard:
                _threads.pop(self.key, None)
                _begun.pop(self.key, None)

    def _outcome(self) -> Outcome:
        from sidewise.teaching.report import marks_apart
        from sidewise.teaching.report.printout import HeldBefore

        before: HeldBefore | None = None
        if self.grid_before is not None:
            before = HeldBefore(self.grid_before, self.words_before, str(self.words["by"]))
        today = timezone.localdate()
        try:
            printed = marks_apart.print_apart(self.grid, self.words, before, self.rests_on, today)
        except UserErrors as errors:
            return Outcome(errors=tuple(errors.errors))
        except UserError as error:
            return Outcome(errors=(error,))
        return Outcome(printed)
