"""Whether a criterion can ever be met by an item: misfits are refused when knowledge is loaded."""

from __future__ import annotations

from sidewise.protocol import criteria as c
from sidewise.protocol.kinds import ChoiceKind, ResultKind, SignKind
from sidewise.protocol.model import HistoryItem, Item, VitalSign

NEEDS: dict[str, tuple[str, ...]] = {
    "sign": ("sign",),
    "tenderness": ("tenderness",),
    "result": ("result",),
    "angle": ("angle",),
    "side_loss": ("angle",),
    "side_gain": ("angle",),
    "active_gap": ("angle",),
    "movement_pain": ("angle", "level"),
    "end_feel": ("angle",),
    "arc": ("arc",),
    "power": ("mrc",),
    "one_of": ("choice", "reflex", "sensation", "pulse"),
    "level_loss": ("level",),
    "count": ("count",),
    "length": ("length",),
    "seconds": ("seconds",),
    "vital": ("vital",),
    "vital_gap": ("vital",),
    "place": ("place",),
}


def misfit(criterion: c.Criterion, target: Item | HistoryItem | VitalSign) -> str | None:
    """Why the criterion cannot speak about the target, or None if it can."""
    if isinstance(target, HistoryItem):
        return None if criterion.test == "answer" else f"{criterion.test} asked of a question"
    if isinstance(target, VitalSign):
        return None if criterion.test == "vital" else f"{criterion.test} asked of a vital sign"
    if criterion.test == "normal":
        return _mode_misfit(criterion, target)
    kinds = NEEDS.get(criterion.test, ())
    if not any(target.kind(name) for name in kinds):
        return f"{criterion.test} needs a value of kind {' or '.join(kinds) or 'answer'}"
    return _words_misfit(criterion, target)


def _words_misfit(criterion: c.Criterion, item: Item) -> str | None:
    """Words of the criterion that the item's own lists do not have."""
    if isinstance(criterion, c.Sign) and criterion.at_least:
        kind = item.kind("sign")
        assert isinstance(kind, SignKind)
        return _missing((criterion.at_least,), kind.grades)
    if isinstance(criterion, c.Result):
        kind = item.kind("result")
        assert isinstance(kind, ResultKind)
        return _missing(criterion.aspect, kind.aspects) or _missing(criterion.where, kind.places)
    if isinstance(criterion, c.OneOf):
        kind = item.kind("choice")
        return _missing(criterion.values, kind.options) if isinstance(kind, ChoiceKind) else None
    return _mode_misfit(criterion, item)


def _mode_misfit(criterion: c.Criterion, item: Item) -> str | None:
    mode = getattr(criterion, "mode", None)
    if mode and item.modes and mode not in item.modes:
        return f"mode {mode} is not one of {', '.join(item.modes)}"
    return None


def _missing(words: tuple[str, ...], known: tuple[str, ...]) -> str | None:
    unknown = [word for word in words if word not in known]
    return f"{unknown} not among {list(known)}" if unknown else None
