"""Whether a criterion can ever be met by an item: misfits are refused when knowledge is loaded."""

from __future__ import annotations

from sidewise.kinds import KINDS
from sidewise.kinds.choice import ChoiceLimits
from sidewise.kinds.result import ResultLimits
from sidewise.kinds.sign import SignLimits
from sidewise.protocol import criteria as c
from sidewise.protocol.model import HistoryItem, Item, VitalSign

NEEDS: dict[str, tuple[str, ...]] = {
    test: tuple(name for name, kind in KINDS.items() if test in kind.criteria)
    for test in dict.fromkeys(test for kind in KINDS.values() for test in kind.criteria)
}
"""The kinds of value that each criterion can be asked of: each kind says so itself."""
OF_NO_KIND = {"answer", "normal"}
"""Asked of a history item, and of whatever was found."""
# A criterion that no kind answers, or a kind that names none of the set, is no silent matter.
assert set(NEEDS) | OF_NO_KIND == set(c.TESTS)


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


def negative_threshold(criterion: c.Criterion) -> str | None:
    """A threshold below zero, which tells nothing, by its name and number; None without one."""
    for name, limit in criterion.model_dump(exclude_defaults=True).items():
        if isinstance(limit, int | float) and not isinstance(limit, bool) and limit < 0:
            return f"{name} {limit:g}, below zero"
    return None


def _words_misfit(criterion: c.Criterion, item: Item) -> str | None:
    """Words of the criterion that the item's own lists do not have."""
    if isinstance(criterion, c.Sign):
        kind = item.kind("sign")
        if not isinstance(kind, SignLimits):
            return None
        needed = (criterion.at_least,) if criterion.at_least else ()
        return _missing(needed, kind.grades) or _missing(criterion.where, kind.places)
    if isinstance(criterion, c.Result):
        kind = item.kind("result")
        assert isinstance(kind, ResultLimits)
        return (
            _missing(criterion.aspect, kind.aspects)
            or _missing(criterion.without, kind.region_aspects)
            or _missing(criterion.where, kind.places)
        )
    if isinstance(criterion, c.OneOf):
        kind = item.kind("choice")
        return _missing(criterion.values, kind.options) if isinstance(kind, ChoiceLimits) else None
    return _mode_misfit(criterion, item)


def _mode_misfit(criterion: c.Criterion, item: Item) -> str | None:
    mode = getattr(criterion, "mode", None)
    if mode and item.modes and mode not in item.modes:
        return f"mode {mode} is not one of {', '.join(item.modes)}"
    return None


def _missing(words: tuple[str, ...], known: tuple[str, ...]) -> str | None:
    unknown = [word for word in words if word not in known]
    return f"{unknown} not among {list(known)}" if unknown else None
