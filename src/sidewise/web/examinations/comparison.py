"""Two visits place by place: the words of each, and whether they are the same."""

from __future__ import annotations

from dataclasses import dataclass

from sidewise.note.phrases import place_phrase
from sidewise.protocol import Item
from sidewise.reason.judging.called_for import places
from sidewise.web.examinations.state import Current


@dataclass(frozen=True, slots=True)
class ComparedPlace:
    """One item on one side at two visits."""

    label: str
    side: str
    earlier: str
    later: str

    @property
    def changed(self) -> bool:
        """Whether both were examined and the words differ; an item left out has not changed."""
        return self.earlier != self.later and "not examined" not in (self.earlier, self.later)


def compare_visits(earlier: Current, later: Current) -> list[ComparedPlace]:
    """Every place where either visit has something, in the protocol's order."""
    touched = {f.item for now in (earlier, later) for f in now.record.findings}
    return [
        _line(earlier, later, item, side, mode)
        for item in later.protocol.items
        if item.id in touched
        for side, mode in places(item)
    ]


def _line(
    earlier: Current, later: Current, item: Item, side: str, mode: str | None
) -> ComparedPlace:
    words = (place_phrase(now.record, item, side, mode) for now in (earlier, later))
    where = "" if side == "midline" else f"patient's {side}"
    label = f"{item.label}, {mode}" if mode else item.label
    return ComparedPlace(label, where, *words)
