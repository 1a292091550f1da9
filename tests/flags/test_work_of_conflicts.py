"""The work of judging grows with the number of conflicts, not with the ways of settling them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from sidewise.reason.judging import judge as module
from sidewise.reason.judging.flags import red_flags
from sidewise.reason.judging.judge import Judge
from sidewise.reason.judging.rules import Is, leaves
from sidewise.record import Record
from tests.flags.evidence import PROTOCOL, pieces, record_of
from tests.flags.judged import BOOK


def places_of_rules() -> dict[tuple[str, ...], tuple[Any, Any]]:
    """Places that the rules read, each with a value that speaks for a rule and one that is not."""
    found: dict[tuple[str, ...], tuple[Any, Any]] = {}
    for rule in BOOK.flags:
        for leaf in leaves(rule.when):
            if isinstance(leaf, Is) and leaf.item in PROTOCOL.by_id:
                for piece in pieces(leaf, True):
                    found.setdefault(piece.place, (piece.value, piece.ordinary))
    return found


PLACES = places_of_rules()


def with_conflicts(number: int) -> Record:
    """The same hundred places examined, so many of them twice and differently."""
    found: dict[tuple[str, ...], Any] = {}
    for place, (speaks, ordinary) in list(PLACES.items())[:100]:
        disputed = len(found) < number
        found[place] = ("disputed", speaks, ordinary) if disputed else ordinary
    return record_of(found)


def evaluations(record: Record, monkeypatch: pytest.MonkeyPatch) -> int:
    """How often any criterion is judged."""
    count = 0

    def counted(test: Callable[..., Any]) -> Callable[..., Any]:
        def judged(*args: Any) -> Any:
            nonlocal count
            count += 1
            return test(*args)

        return judged

    with monkeypatch.context() as patch:
        patch.setattr(module, "JUDGES", {n: counted(t) for n, t in module.JUDGES.items()})
        red_flags(Judge(PROTOCOL, record), BOOK)
    return count


def test_a_hundred_conflicts_cost_no_more_than_a_few_judgements_each(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    counts = {n: evaluations(with_conflicts(n), monkeypatch) for n in (0, 1, 16, 100)}
    assert [len(with_conflicts(n).conflicts) for n in (1, 16, 100)] == [1, 16, 100]
    assert counts[0] > 300
    # Each disputed place is judged by each of its two values wherever a leaf reads it: at most
    # three more judgements for each leaf and side, of which a place has a few.
    leaves_of_a_place = 12
    for number in (1, 16, 100):
        assert counts[number] - counts[0] <= 3 * leaves_of_a_place * number
    # The first conflicts of a record cost as much each as the last.
    assert counts[100] - counts[0] <= 100 * 2 * max(1, (counts[16] - counts[0]) / 16)


def test_many_examiners_who_each_say_something_else_are_heard_each_once() -> None:
    values = [{"kind": "angle", "degrees": d, "instrument": "goniometer"} for d in range(0, 180, 2)]
    place = ("external_rotation_at_side", "left", "passive")
    entries = [
        {"item": place[0], "side": side, "mode": "passive", "value": value, "examiner": f"E{n}"}
        for side in ("left", "right")
        for n, value in enumerate(values)
        if value["degrees"] <= 90
    ]
    data = record_of({}).model_dump() | {"findings": entries}
    crowd = Record.model_validate(data)
    assert [len(conflict.findings) for conflict in crowd.conflicts] == [46, 46]
    assert "posterior_dislocation" in {f.flag for f in red_flags(Judge(PROTOCOL, crowd), BOOK)}
