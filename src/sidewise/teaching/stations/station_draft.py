"""A first draft of a station from items of a region, to be rewritten by its author."""

from __future__ import annotations

from collections.abc import Sequence

from sidewise.errors import UserError
from sidewise.knowledge.region import Region
from sidewise.protocol import Item, protocol_of
from sidewise.teaching.stations.station import SheetStep, Station, StepKind

WEIGHTS = {"essential": 2.0, "flag": 3.0, "optional": 1.0}
"""Points of a step by the role of its item (our judgement: a start, which the author changes)."""
OPENING = ("greets", "Says who they are, what they will do and why, and asks for consent")
MANNER = ("warns", "Warns before what may hurt, watches the face, and stops when asked")
CLOSING = ("closes", "Says what was found and what comes next, and helps the patient to dress")


def draft_station(
    region: Region, items: Sequence[str], *, name: str, minutes: float = 8.0, actor: str = ""
) -> Station:
    """A station that examines these items, in the order of the protocol. UserError for no item.

    actor: the sheet of a simulated patient, where there is one. Steps, weights and what a good
    performance shows come from the protocol; task and instructions say what is still to be written.
    """
    chosen = _items(region, items)
    stages = protocol_of(region).stages
    steps = tuple(_steps(chosen, stages[0].id, stages[-1].id))
    label = region.label
    return Station(
        id=name,
        title=f"Examination of the {label}: {', '.join(dict.fromkeys(i.stage for i in chosen))}",
        region=region.id,
        domain="examination",
        minutes=minutes,
        strain=max((item.soreness for item in chosen), default=0),
        candidate=(
            f"This patient comes because of a painful {label}. Examine "
            f"{_listed([item.label for item in chosen])}, on both sides where there are two, and "
            "say aloud what you find. You do not have to take a history."
        ),
        examiner=(
            "Watch; do not prompt or teach. Mark what you see, not what you would have expected. "
            "If the patient says STOP, the examination ends and the time is written down."
        ),
        actor=actor,
        good=tuple(_brief(f"{item.label}: {item.how}") for item in chosen),
        skills=tuple(dict.fromkeys(item.group for item in chosen)),
        total=sum(step.weight for step in steps),
        steps=steps,
    )


def _items(region: Region, names: Sequence[str]) -> list[Item]:
    if not names:
        raise UserError("items", "none", f"items of the {region.label}")
    known = {item.id: item for item in protocol_of(region).items}
    strange = [name for name in names if name not in known]
    if strange:
        raise UserError("items", ", ".join(strange), f"items of the {region.label}",
                        f"See `sidewise sources --region {region.id}`.")  # fmt: skip
    return [item for name, item in known.items() if name in set(names)]


def _steps(items: Sequence[Item], first: str, last: str) -> list[SheetStep]:
    opening, manner, closing = (
        _courtesy(*OPENING, "step", first), _courtesy(*MANNER, "manner", ""),
        _courtesy(*CLOSING, "step", last),
    )  # fmt: skip
    examined = [
        SheetStep(
            id=item.id[:40],
            text=f"{item.label[:1].upper()}{item.label[1:]}"[:300],
            kind="both sides" if item.paired else "step",
            weight=WEIGHTS[item.role],
            item=item.id,
            stage=item.stage,
            skill=item.group,
        )
        for item in items
    ]
    return [opening, *examined, manner, closing]


def _courtesy(name: str, text: str, kind: StepKind, stage: str) -> SheetStep:
    return SheetStep(id=name, text=text, kind=kind, stage=stage, skill="manner")


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _brief(text: str) -> str:
    """The first sentences of a text that fit into a line of the sheet."""
    if len(text) <= 300:
        return text
    cut = text[:300]
    return cut[: cut.rfind(". ") + 1] or f"{cut[:297]}..."
