"""What a teacher may wish of a case, and why some wishes contradict one another."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sidewise.errors import UserError, UserErrors
from sidewise.evidence.conditions import Condition, Conditions
from sidewise.ground.settings import SETTINGS
from sidewise.practice.ways import PatientWays
from sidewise.protocol.model import nearest_names

DIFFICULTIES = ("easy", "usual", "hard")
ADULT, OLDEST = 18, 100
NONE = "none"


@dataclass(frozen=True, slots=True)
class CaseWishes:
    """What the case must and must not have; everything else is drawn.

    present: ids of conditions, or "id:level" with the level's words. absent: ids, or "others" for
    every condition not asked for. flags: ids of flags that must stand, or "none".
    """

    present: tuple[str, ...] = ()
    absent: tuple[str, ...] = ()
    flags: tuple[str, ...] = ()
    age: int | None = None
    setting: str | None = None
    difficulty: str = "usual"


@dataclass(frozen=True, slots=True)
class Fixed:
    """Levels that each condition may have on the complaining side, by id."""

    levels: dict[str, tuple[int, ...]]


def settled_wishes(wishes: CaseWishes, conditions: Conditions, ways: PatientWays) -> Fixed:
    """The levels allowed; UserErrors that name every contradiction and every unknown word."""
    faults = [
        *_unknown(wishes, conditions, ways), *_out_of_range(wishes), *_contradictions(wishes, ways),
    ]  # fmt: skip
    if faults:
        raise UserErrors(faults)
    known = {one.id: one for one in conditions.network}
    levels: dict[str, tuple[int, ...]] = {}
    if "others" in wishes.absent:
        levels = dict.fromkeys(known, (0,))
    for name in wishes.absent:
        if name != "others":
            levels[name] = (0,)
    for text in wishes.present:
        name, _, level = text.partition(":")
        one = known[name]
        levels[name] = (one.levels.index(level),) if level else tuple(range(1, len(one.levels)))
    return Fixed(levels)


def _unknown(wishes: CaseWishes, conditions: Conditions, ways: PatientWays) -> Iterator[UserError]:
    known: dict[str, Condition] = {one.id: one for one in conditions.network}
    for text in (*wishes.present, *(one for one in wishes.absent if one != "others")):
        name, _, level = text.partition(":")
        if name not in known:
            yield UserError("condition", name, "a condition that can be drawn",
                            nearest_names(name, known))  # fmt: skip
        elif level and level not in known[name].levels[1:]:
            yield UserError(f"condition {name}", level,
                            f"one of {', '.join(known[name].levels[1:])}")  # fmt: skip
    for flag in wishes.flags:
        if flag != NONE and flag not in ways.flags:
            yield UserError("flag", flag, f"one of {', '.join(ways.flags)}, or none")


def _out_of_range(wishes: CaseWishes) -> Iterator[UserError]:
    if wishes.age is not None and not ADULT <= wishes.age <= OLDEST:
        yield UserError("age", wishes.age, f"years from {ADULT} to {OLDEST}",
                        "No figure of the network holds for children.")  # fmt: skip
    if wishes.setting is not None and wishes.setting not in SETTINGS:
        yield UserError("setting", wishes.setting, f"one of {', '.join(SETTINGS)}")
    if wishes.difficulty not in DIFFICULTIES:
        yield UserError("difficulty", wishes.difficulty, f"one of {', '.join(DIFFICULTIES)}")


def _contradictions(wishes: CaseWishes, ways: PatientWays) -> Iterator[UserError]:
    named = [text.partition(":")[0] for text in wishes.present]
    for name in named:
        if name in wishes.absent:
            yield UserError(f"condition {name}", "both present and absent", "one of the two")
        if named.count(name) > 1:
            yield UserError(f"condition {name}", "asked for twice", "each condition once")
        least = ways.conditions[name].never_below if name in ways.conditions else 0
        if least and wishes.age is not None and wishes.age < least:
            yield UserError("age", wishes.age, f"at least {least} with {name}",
                            "It is not seen in younger people.")  # fmt: skip
    if NONE in wishes.flags and len(wishes.flags) > 1:
        yield UserError("flag", ", ".join(wishes.flags), "flags, or none", "Not both.")
