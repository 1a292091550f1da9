"""One of the item's own list, or several where the item allows it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

from pydantic import model_validator

from sidewise.errors import UserError
from sidewise.ground.language import term
from sidewise.kinds.common.kind import Kind, Limits, TouchEntry, Value
from sidewise.kinds.common.line import Options, Said, Shorthand, fixed_set, one_meaning
from sidewise.kinds.common.table import parts_of_cell
from sidewise.kinds.common.touches import Now, Touch


class ChoiceLimits(Limits):
    """One (or, with `several`, more) of the item's own list; `normal` names the healthy ones.

    `unspecified` names those that say that something is not normal and leave open what: each may
    mean any of the others that are not normal.
    """

    kind: Literal["choice"] = "choice"
    options: tuple[str, ...]
    normal: tuple[str, ...] = ()
    unspecified: tuple[str, ...] = ()
    several: bool = False

    @model_validator(mode="after")
    def _normal_is_listed(self) -> ChoiceLimits:
        unknown = {*self.normal, *self.unspecified} - set(self.options)
        if set(self.normal) & set(self.unspecified):
            raise ValueError("unspecified: something that is not normal")
        if unknown or len(set(self.options)) < 2:
            raise ValueError(f"options: at least two; normal ones must be listed (got {unknown})")
        return self


class ChoiceValue(Value):
    """One of the item's list, or several where the item allows it."""

    kind: Literal["choice"]
    choice: str | tuple[str, ...]

    @property
    def chosen(self) -> tuple[str, ...]:
        """What was chosen, always as a tuple."""
        return (self.choice,) if isinstance(self.choice, str) else self.choice


def _check(value: ChoiceValue, limits: ChoiceLimits) -> UserError | None:
    if len(value.chosen) != 1 and not limits.several:
        return UserError("choice", list(value.chosen), "exactly one choice")
    if not value.chosen:
        return UserError("choice", None, "at least one choice")
    for word in value.chosen:
        if word not in limits.options:
            return UserError("choice", word, f"one of {', '.join(limits.options)}")
    return None


def _is_normal(value: ChoiceValue, limits: ChoiceLimits) -> bool:
    return bool(limits.normal) and set(value.chosen) <= set(limits.normal)


def _read(said: Said, limits: ChoiceLimits) -> Options | None:
    words = said.get("options", ())
    if not words or not set(words) <= set(limits.options):
        return None
    return one_meaning("choice", choice=words[0] if len(words) == 1 else words)


def _write(value: ChoiceValue, _limits: ChoiceLimits) -> Iterator[str]:
    yield " and ".join(value.chosen)


def _touches(limits: ChoiceLimits, now: Now) -> Iterator[Touch]:
    chosen = now.get("choice", ())
    chosen = (chosen,) if isinstance(chosen, str) else tuple(chosen)
    for option in limits.options:
        there, normal = option in chosen, option in limits.normal
        value: Any = _toggled(limits, chosen, option) if limits.several else option
        yield Touch(option, {"kind": "choice", "choice": value}, "", there, normal)


def _toggled(limits: ChoiceLimits, chosen: tuple[str, ...], option: str) -> list[str]:
    if option in limits.normal:
        return [option]
    rest = [word for word in chosen if word not in limits.normal and word != option]
    # The last one cannot be taken away by touching it again: undo does that.
    return rest if option in chosen and rest else [*rest, option]


def _normal(limits: ChoiceLimits) -> dict[str, Any] | None:
    if not limits.normal:
        return None
    return {"choice": [limits.normal[0]] if limits.several else limits.normal[0]}


KIND = Kind(
    limits=ChoiceLimits,
    value=ChoiceValue,
    check=_check,
    is_normal=_is_normal,
    phrase=lambda value, _limits: ", ".join(map(term, value.chosen)),
    line=Shorthand(
        said=fixed_set("options"), read=_read, write=_write, words=lambda limits: limits.options
    ),
    bedside=TouchEntry(touches=_touches, normal=_normal, folds=True),
    criteria=("one_of",),
    cells={"choice": parts_of_cell},
    words=lambda value: value.chosen,
)
