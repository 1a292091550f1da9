"""When the meaning is worked out: one weighing at a time, always of the newest state.

Weighing is pure computing, so a second one in the same process would only make both slower and
take the processor from touches. Requests that wait hold neither a lock nor a transaction of the
database, and only a few may wait at all: the others are told to ask again, so that a thread is
always left for a touch.
"""

from __future__ import annotations

from threading import BoundedSemaphore, Lock

from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.state import Current, current

MOST_WAITING = 2
"""Of the four threads that a worker has, how many may be busy with meanings or wait for one."""
_one_at_a_time = Lock()
_waiting = BoundedSemaphore(MOST_WAITING)


def weighed(examination: Examination) -> Current:
    """The newest state with its meaning known; waits for as long as that takes."""
    now = current(examination)
    if now.is_weighed:
        return now
    with _one_at_a_time:
        # What was asked about may be superseded by a touch stored while this waited.
        now = current(examination)
        now.interpretation()
    return now


def weighed_soon(examination: Examination) -> Current | None:
    """The same, or None where too many wait already and this one should ask again."""
    now = current(examination)
    if now.is_weighed:
        return now
    if not _waiting.acquire(blocking=False):
        return None
    try:
        return weighed(examination)
    finally:
        _waiting.release()
