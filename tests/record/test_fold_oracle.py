"""The fold against its specification, six lines long, on ledgers that nobody would think of."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from sidewise.record.ledger import ContextSet, Entry, Found, Opened, Stated, Undone, fold_entries
from sidewise.record.model import Context, Finding
from tests.builders import BASE

WHEN = datetime(2026, 3, 2, 9, 40, tzinfo=UTC)


def standing(entries: list[Entry], kind: type[Found] | type[Stated]) -> set[str]:
    """What stands: never taken back, and covered by nothing that was not taken back."""
    covers: dict[str, set[str]] = {}
    for one in (e for e in entries if isinstance(e.deed, kind)):
        named = {old for old in one.deed.replaces if old in covers}
        covers[one.id] = named.union(*(covers[old] for old in named))
    kept = set(covers) - taken_back(entries)
    return {name for name in kept if not any(name in covers[other] for other in kept)}


def taken_back(entries: list[Entry]) -> set[str]:
    """Named by an undo; or a statement that a change of the whole field came after."""
    gone = {name for e in entries if isinstance(e.deed, Undone) for name in e.deed.entries}
    for place, entry in enumerate(entries):
        if isinstance(entry.deed, ContextSet):
            before = (e for e in entries[:place] if isinstance(e.deed, Stated))
            gone |= {e.id for e in before if e.deed.field in entry.deed.changes}
    return gone


def entry(name: str, deed: Any) -> Entry:
    return Entry(id=name, at=WHEN, by="E1", deed=deed)


def opened() -> Entry:
    return entry("open", Opened(region="shoulder", context=Context.model_validate(BASE)))


def found(name: str, replaces: tuple[str, ...] = ()) -> Entry:
    finding = {"item": "hawkins_kennedy", "side": "left",
               "value": {"kind": "result", "result": "positive"}}  # fmt: skip
    return entry(name, Found(finding=Finding.model_validate(finding), replaces=replaces))


def undo(name: str, *entries: str) -> Entry:
    return entry(name, Undone(entries=entries))


def live(*entries: Entry) -> list[str]:
    return list(fold_entries("r", [opened(), *entries]).holders)


def test_what_was_taken_back_does_not_return() -> None:
    """e2 takes the place of e1; e1 is taken back, then e2: nothing is left."""
    ledger = [found("e1"), found("e2", ("e1",)), undo("u1", "e1"), undo("u2", "e2")]
    assert live(*ledger) == []


def test_what_was_replaced_returns_when_its_successor_is_taken_back() -> None:
    assert live(found("e1"), found("e2", ("e1",)), undo("u", "e2")) == ["e1"]


def test_taking_back_the_middle_of_a_chain_brings_nothing_up() -> None:
    ledger = [found("e1"), found("e2", ("e1",)), found("e3", ("e2",)), undo("u", "e2")]
    assert live(*ledger) == ["e3"]


def test_what_two_replaced_returns_only_when_both_are_taken_back() -> None:
    two = [found("e1"), found("e2", ("e1",)), found("e3", ("e1",))]
    assert live(*two, undo("u2", "e2")) == ["e3"]
    assert live(*two, undo("u2", "e2"), undo("u3", "e3")) == ["e1"]


def test_an_entry_that_arrives_after_its_undo_stays_taken_back() -> None:
    assert live(undo("u", "e1"), found("e1")) == []


class Ledgers(RuleBasedStateMachine):
    """Findings, statements, undos and changes of the context in any order."""

    def __init__(self) -> None:
        super().__init__()
        self.entries = [opened()]

    def _add(self, deed: Any) -> None:
        self.entries.append(entry(f"e{len(self.entries)}", deed))

    def _some(self, data: Any) -> tuple[str, ...]:
        # One beyond the end, too: what is not there yet can be named.
        names = st.integers(1, len(self.entries) + 1).map(lambda n: f"e{n}")
        return tuple(data.draw(st.lists(names, max_size=3)))

    @rule(data=st.data())
    def find(self, data: Any) -> None:
        """A finding that names any entries."""
        replaces = self._some(data)
        self._add(found("x", replaces).deed)

    @rule(data=st.data(), field=st.sampled_from(["age", "pain_0_10"]), value=st.integers(0, 9))
    def state(self, data: Any, field: str, value: int) -> None:
        """A statement that names any entries."""
        self._add(Stated(field=field, value=value + 20 * (field == "age"),
                         replaces=self._some(data)))  # fmt: skip

    @rule(data=st.data())
    def undo(self, data: Any) -> None:
        """Any entries are taken back."""
        self._add(Undone(entries=self._some(data)))

    @rule(value=st.integers(0, 10))
    def set_context(self, value: int) -> None:
        """A field is set as ledgers of before did it."""
        self._add(ContextSet(changes={"pain_0_10": value}))

    @invariant()
    def as_specified(self) -> None:
        """The fold holds what the specification says, and in the order of arrival."""
        folded = fold_entries("r", self.entries)
        order = [e.id for e in self.entries]
        for kind, held in ((Found, folded.holders), (Stated, folded.statements)):
            assert set(held) == standing(self.entries, kind)
            assert sorted(held, key=order.index) == list(held)


TestLedgers = Ledgers.TestCase
TestLedgers.settings = settings(max_examples=150, stateful_step_count=25)


@pytest.mark.slow
def test_twenty_thousand_random_ledgers_agree() -> None:
    """Seeded, so that it repeats."""
    import random

    for seed in range(20_000):
        chance, entries = random.Random(seed), [opened()]
        for number in range(1, 9):
            some = tuple(f"e{chance.randint(1, number)}" for _ in range(chance.randint(0, 2)))
            one = undo("x", *some) if chance.random() < 0.4 else found("x", some)
            entries.append(entry(f"e{number}", one.deed))
        assert set(fold_entries("r", entries).holders) == standing(entries, Found), seed
