"""What nobody has looked at or asked yet, in plain words: one line in place of many open flags."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from sidewise.protocol import Protocol
from sidewise.reason.judging.flags import FlagBook
from sidewise.reason.result import RedFlag
from sidewise.record import Record


def not_looked_at(
    flags: Iterable[RedFlag], book: FlagBook, protocol: Protocol, record: Record
) -> tuple[str, ...]:
    """Plain words for what flags that nothing calls for still turn on.

    Flags that can wait for the next visit are left out. A word is named while nothing that it
    stands for has been looked at, a group of questions while none of it has been asked.
    """
    open_words = {
        word
        for flag in flags
        if flag.status == "not excluded" and not flag.called_for and flag.urgency != "soon"
        for word in flag.missing
    }
    return (*_looks(open_words, book, protocol, record), *_asks(open_words, protocol, record))


def _looks(
    open_words: set[str], book: FlagBook, protocol: Protocol, record: Record
) -> Iterator[str]:
    done = {finding.item for finding in record.findings if finding.status != "not examined"}
    done |= record.context.vitals.keys()
    labels = {name: item.label for name, item in protocol.by_id.items()}
    labels |= {name: vital.label for name, vital in protocol.vitals_by_id.items()}
    for plain, names in book.plain_words.items():
        if done.isdisjoint(names) and any(labels[name] in open_words for name in names):
            yield plain


def _asks(open_words: set[str], protocol: Protocol, record: Record) -> Iterator[str]:
    answered = {
        question for question, said in record.context.history.items() if said != "not asked"
    }
    groups: dict[str, list[str]] = {}
    for question in protocol.history:
        if question.label in open_words:
            groups.setdefault(question.group, []).append(question.id)
    asked = {q.group for q in protocol.history if q.id in answered}
    if left := [group for group in groups if group not in asked]:
        yield f"questions on {', '.join(left)}"
