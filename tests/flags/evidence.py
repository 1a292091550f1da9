"""Least evidence that raises each rule, branch by branch, and every way to doubt a piece of it.

Made from the rules themselves: each leaf of each alternative stands in some evidence. Nothing here
says what the rules should be; the presentations do that.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import cycle, islice
from typing import Any

from sidewise.kinds.mrc import GRADES
from sidewise.kinds.reduced_by_eye import LEFT
from sidewise.reason.judging.rules import (
    AllOf,
    AnyOf,
    Ask,
    AtLeast,
    ContextIs,
    Is,
    Not,
    Rule,
    Unless,
)
from sidewise.record import Record
from tests.shoulder import PROTOCOL

SIDE, OTHER_SIDE = "left", "right"
ORDINARY_VITALS = {
    "temperature": 36.7,
    "heart_rate": 72,
    "respiratory_rate": 14,
    "systolic_pressure": 128,
    "oxygen_saturation": 98,
}
Leaf = tuple[Ask | Is | ContextIs, bool]


@dataclass(frozen=True)
class Piece:
    """One thing stated or found: where, what, and what it would be if nothing were wrong."""

    place: tuple[str, ...]
    value: Any
    ordinary: Any = None


@dataclass(frozen=True)
class Doubt:
    """A piece in doubt: `voiced` where something is recorded that may still mean it."""

    name: str
    piece: Piece
    voiced: bool = True


def ways(rule: Rule, wanted: bool = True) -> list[list[Leaf]]:
    """Sets of leaves that make the rule hold (or fail), each alternative in at least one."""
    match rule:
        case Ask() | Is() | ContextIs():
            return [[(rule, wanted)]]
        case Not(negated=inner):
            return ways(inner, not wanted)
        case Unless(then=then):
            return ways(then, wanted)
        case AllOf(all_of=parts) if wanted:
            return _together([ways(part) for part in parts])
        case AnyOf(any_of=parts) if wanted:
            return [way for part in parts for way in ways(part)]
        case AtLeast(at_least=needed, of=parts) if wanted:
            rounds = [
                list(islice(cycle(parts), start, start + needed)) for start in range(len(parts))
            ]
            return [way for some in rounds for way in _together([ways(part) for part in some])]
        case _:
            raise AssertionError("a rule that is denied as a whole is not in use")


def _together(choices: list[list[list[Leaf]]]) -> list[list[Leaf]]:
    longest = max(map(len, choices))
    columns = [list(islice(cycle(ways_of), longest)) for ways_of in choices]
    return [[leaf for part in row for leaf in part] for row in zip(*columns, strict=True)]


def pieces(leaf: Ask | Is | ContextIs, wanted: bool) -> list[Piece]:
    """What to record so that the leaf holds (or, if it is not wanted, fails)."""
    match leaf:
        case Ask(ask=name):
            said = "yes" if wanted else "no"
            return [Piece(("history", name), said, "no" if wanted else "yes")]
        case ContextIs(context=test):
            tests = test.model_dump(exclude_none=True)
            return [_of_field(name, limit) for name, limit in tests.items()]
        case Is(item=name) if name in PROTOCOL.history_by_id:
            said = leaf.criterion.values[0]  # type: ignore[union-attr]
            return [Piece(("history", name), said, "yes" if said == "no" else "no")]
        case Is(item=name) if name in PROTOCOL.vitals_by_id:
            return [Piece(("vitals", name), _limit(leaf.criterion), ORDINARY_VITALS[name])]
    # What is denied must be denied on both sides.
    sides = (SIDE, OTHER_SIDE) if leaf.sides == "both" or not wanted else (SIDE,)
    return [piece for side in sides for piece in _of_item(leaf, side, wanted)]


def _limit(criterion: Any) -> float:
    return float(criterion.at_least if criterion.at_least is not None else criterion.at_most)


def _of_field(name: str, limit: Any) -> Piece:
    match name:
        case "age_at_least":
            return Piece(("age",), limit, limit - 1)
        case "age_below":
            return Piece(("age",), limit - 1, limit)
        case "duration_weeks_below":
            return Piece(("duration_weeks",), limit / 2, limit)
        case "duration_weeks_over":
            return Piece(("duration_weeks",), limit + 1, limit)
        case "pain_at_least":
            return Piece(("pain_0_10",), limit, limit - 1)
        case "onset":
            return Piece(("onset",), limit, "gradual" if limit == "sudden" else "sudden")
        case "sex":
            return Piece(("sex",), limit, "male" if limit == "female" else "female")
        case "known":
            return Piece(("known", SIDE, limit), True)
        case "complaint":
            return Piece(("complaint",), (SIDE,))
        case "complaint_both":
            return Piece(("complaint",), (SIDE, OTHER_SIDE))
    raise AssertionError(f"no field for {name}")


def _of_item(leaf: Is, side: str, wanted: bool) -> list[Piece]:
    item, criterion = PROTOCOL.by_id[leaf.item], leaf.criterion
    where = side if item.paired else "midline"
    mode = getattr(criterion, "mode", None) if item.modes else None
    if criterion.test in ("side_loss", "side_gain", "active_gap", "vital_gap"):
        return _two_readings(leaf.item, criterion, side)
    bad, good = VALUES[criterion.test](criterion, item)
    value, ordinary = (bad, good) if wanted else (good, bad)
    return [Piece(("finding", leaf.item, where, mode or ""), value, ordinary)]


def _angle(degrees: float) -> dict[str, Any]:
    return {"kind": "angle", "degrees": degrees, "instrument": "goniometer"}


def _two_readings(name: str, criterion: Any, side: str) -> list[Piece]:
    here, there = ("finding", name, side), ("finding", name, OTHER_SIDE)
    if criterion.test == "vital_gap":
        numbers = [{"kind": "vital", "number": n} for n in (120, 120 + criterion.at_least)]
        return [
            Piece((*here, ""), numbers[1], numbers[0]),
            Piece((*there, ""), numbers[0], numbers[1]),
        ]
    if criterion.test == "active_gap":
        return [
            Piece((*here, "active"), _angle(100), _angle(100 + criterion.at_least)),
            Piece((*here, "passive"), _angle(100 + criterion.at_least), _angle(100)),
        ]
    free = min(60.0, PROTOCOL.by_id[name].kind("angle").high)  # type: ignore[union-attr]
    low = max(free - criterion.at_least, 0.0)
    mine, other = (low, free) if criterion.test == "side_loss" else (free, low)
    return [
        Piece((*here, criterion.mode), _angle(mine), _angle(other)),
        Piece((*there, criterion.mode), _angle(other), _angle(mine)),
    ]


def _sign(criterion: Any, item: Any) -> tuple[Any, Any]:
    grades = item.kind("sign").grades
    grade = criterion.at_least or grades[1]
    return {"kind": "sign", "grade": grade}, {"kind": "sign", "grade": grades[0]}


def _result(criterion: Any, _item: Any) -> tuple[Any, Any]:
    aspects = dict.fromkeys(criterion.aspect[:1], True)
    value = {"kind": "result", "result": "positive", **aspects}
    return value, {"kind": "result", "result": "negative"}


def _plain_angle(criterion: Any, item: Any) -> tuple[Any, Any]:
    limits = item.kind("angle")
    far = limits.high if criterion.at_most is not None else limits.low
    return _angle(_limit(criterion)), _angle(far)


def _power(criterion: Any, _item: Any) -> tuple[Any, Any]:
    weak = GRADES[GRADES.index(criterion.below) - 1]
    return {"kind": "mrc", "grade": weak}, {"kind": "mrc", "grade": "5"}


def _one_of(criterion: Any, item: Any) -> tuple[Any, Any]:
    for name in ("reflex", "sensation", "pulse"):
        if item.kind(name):
            ordinary = "weak" if criterion.values == ("normal",) else "normal"
            return {"kind": name, name: criterion.values[0]}, {"kind": name, name: ordinary}
    kind = item.kind("choice")
    other = next(word for word in (*kind.normal, *kind.options) if word not in criterion.values)
    words = [[criterion.values[0]], [other]] if kind.several else [criterion.values[0], other]
    return {"kind": "choice", "choice": words[0]}, {"kind": "choice", "choice": words[1]}


def _grades(kind: str, field: str, none: Any) -> Any:
    def values(criterion: Any, _item: Any) -> tuple[Any, Any]:
        return {"kind": kind, field: criterion.at_least}, {"kind": kind, field: none}

    return values


VALUES: dict[str, Any] = {
    "sign": _sign,
    "result": _result,
    "angle": _plain_angle,
    "power": _power,
    "one_of": _one_of,
    "tenderness": _grades("tenderness", "grade", 0),
    "length": _grades("length", "cm", 0),
    "seconds": lambda c, _i: (
        {"kind": "seconds", "seconds": c.over + 1},
        {"kind": "seconds", "seconds": c.over},
    ),
    "normal": lambda _c, _i: (
        {"kind": "normal_by_eye"},
        {"kind": "angle", "degrees": 20, "instrument": "eye"},
    ),
}
"""For each test: a value that meets it, and one that does not."""


def doubts(piece: Piece) -> Iterator[Doubt]:
    """Every way in which a piece can be uncertain."""
    place = piece.place
    if place[0] == "finding":
        yield from _of_finding(piece)
    elif place[0] == "history":
        yield Doubt("unsure", Piece(place, "unsure"))
        yield Doubt("not asked", Piece(place, None), voiced=False)
        yield Doubt("disputed", Piece(place, ("disputed", piece.value, piece.ordinary)))
        yield Doubt("disputed", Piece(place, ("disputed", piece.ordinary, piece.value)))
    elif place[0] not in ("known", "complaint"):
        yield Doubt("not stated", Piece(place, None), voiced=False)
        yield Doubt("disputed", Piece(place, ("disputed", piece.value, piece.ordinary)))


def _of_finding(piece: Piece) -> Iterator[Doubt]:
    place, value = piece.place, piece.value
    yield Doubt("not examined", Piece(place, None), voiced=False)
    yield Doubt("unable", Piece(place, ("unable", "cannot do it at all")))
    yield Doubt("withheld", Piece(place, ("withheld", "in a collar")))
    yield Doubt("disputed", Piece(place, ("disputed", value, piece.ordinary)))
    if value["kind"] == "result":
        yield Doubt("how not stated", Piece(place, {"kind": "result", "result": "positive"}))
    if value["kind"] == "mrc":
        yield Doubt("limited by pain", Piece(place, {**value, "limited_by_pain": True}))
    for name, words in _ungraded(piece):
        yield Doubt(name, Piece(place, words))


def _ungraded(piece: Piece) -> Iterator[tuple[str, dict[str, Any]]]:
    """The same finding by somebody who neither measured nor graded it."""
    value, item = piece.value, PROTOCOL.by_id[piece.place[1]]
    kind = item.kind(value["kind"])
    if value["kind"] == "mrc" and value["grade"] != "5":
        yield "weak, not graded", {"kind": "mrc", "grade": "reduced"}
        yield "weak or sore", {"kind": "mrc", "grade": "reduced", "limited_by_pain": True}
    if value["kind"] == "sign" and kind.may_be_ungraded and value["grade"] != kind.grades[0]:  # type: ignore[union-attr]
        yield "present, not graded", {"kind": "sign", "grade": "present"}
    if value["kind"] == "choice" and not {*_listed(value["choice"])} & {*kind.normal}:  # type: ignore[union-attr]
        for word in kind.unspecified:  # type: ignore[union-attr]
            several = kind.several  # type: ignore[union-attr]
            yield word, {"kind": "choice", "choice": [word] if several else word}
    less = value["kind"] == "angle" and value["degrees"] < piece.ordinary["degrees"]
    for word in LEFT if less and item.kind("reduced_by_eye") else ():
        yield f"{word} by eye", {"kind": "reduced_by_eye", "range": word}


def _listed(choice: Any) -> list[str]:
    return [choice] if isinstance(choice, str) else list(choice)


def record_of(found: dict[tuple[str, ...], Any], asked: str = "none") -> Record:
    """A record of pieces by place. asked: "none", or "all" for every other answer no."""
    history = dict.fromkeys(PROTOCOL.history_by_id, "no") if asked == "all" else {}
    context: dict[str, Any] = {
        "patient": "STILT-1",
        "examined_at": "2026-03-02T09:40:00+00:00",
        "examiner": "E1",
        "complaint": (SIDE,),
        "history": history,
        "vitals": {},
        "disputed": {},
        "known": {SIDE: {}, OTHER_SIDE: {}},
    }
    findings: list[dict[str, Any]] = []
    for place, value in found.items():
        _enter(place, value, context, findings)
    data = {"id": "swept", "region": "shoulder", "context": context, "findings": findings}
    return Record.model_validate(data)


def _enter(
    place: tuple[str, ...], value: Any, context: dict[str, Any], findings: list[dict[str, Any]]
) -> None:
    if place[0] == "finding":
        findings += _entries(place, value)
        return
    table = context[place[0]] if len(place) == 2 else context
    if place[0] == "known":
        context["known"][place[1]][place[2]] = value
    elif isinstance(value, tuple) and value[:1] == ("disputed",):
        context["disputed"][".".join(place)] = value[1:]
        # As the fold of a ledger has it: a yes goes on warning, all else stands as not stated.
        table.pop(place[-1], None)
        if place[0] == "history" and "yes" in value:
            table[place[-1]] = "yes"
    elif value is None:
        table.pop(place[-1], None)
    else:
        table[place[-1]] = value


def _entries(place: tuple[str, ...], value: Any) -> list[dict[str, Any]]:
    _, item, side, mode = place
    entry: dict[str, Any] = {"item": item, "side": side, "mode": mode or None}
    if value is None:
        return []
    if isinstance(value, dict):
        return [{**entry, "value": value}]
    if value[0] == "disputed":
        return [
            {**entry, "value": one, "examiner": by}
            for one, by in zip(value[1:], ("E1", "E2"), strict=True)
        ]
    return [{**entry, "status": value[0], "reason": value[1]}]
