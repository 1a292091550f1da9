"""Which drawn posture stands for a measured movement."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sidewise.errors import UserError

LOW_LEVELS = {"thigh": -8.0, "buttock": -5.0, "sacrum": 0.0}
"""Levels below the spine, as numbers that grow upwards; L5 is 1, T12 6, T1 17, C7 18."""


REST_LABEL = "arm hanging"


@dataclass(frozen=True, slots=True)
class Choice:
    """The posture `shown` for what was `asked` of a movement.

    `sign` turns what was asked into the atlas's own direction (internal rotation is negative
    there).
    `beyond`: the atlas ends before what was asked, and the last posture is shown; say the number
    beside it.
    """

    movement: str
    asked: float | str
    shown: float | str
    label: str = ""
    sign: float = 1.0
    beyond: bool = False
    hitching: bool = False

    @property
    def drawn(self) -> str:
        """The movement's name in the atlas."""
        return f"{self.movement}, hitching" if self.hitching else self.movement

    @property
    def words(self) -> str:
        """What was measured and, where it differs, what is drawn."""
        label = self.label or self.movement
        if self.movement == "rest" and self.asked == 0 and self.label in ("", REST_LABEL):
            return REST_LABEL
        to = " to" if isinstance(self.shown, str) else ""
        return f"{label}{to} {self.number}"

    @property
    def number(self) -> str:
        """The same without the movement's name: "70 degrees, hitching, drawn at 75"."""
        hitched = ", hitching" if self.hitching else ""
        if isinstance(self.shown, str):
            return f"{self.asked}{hitched}{self._drawn(str(self.asked), self.shown)}"
        asked, shown = _plain(self.asked), _plain(self.shown * self.sign)
        return f"{asked} degrees{hitched}{self._drawn(asked, shown)}"

    def _drawn(self, asked: str, shown: str) -> str:
        if self.movement == "rest":
            return "" if asked == "0" else ", drawn hanging"
        if self.beyond:
            return f", drawn at {shown}, the last posture there is"
        return "" if asked == shown else f", drawn at {shown}"


REST = Choice("rest", 0.0, 0.0, label=REST_LABEL)


@dataclass(frozen=True, slots=True)
class Asked:
    """What is looked for: a movement of the atlas, the label it is spoken of by, and its
    direction.
    """

    movement: str
    label: str
    sign: float


Known = dict[str, tuple[float | str, ...]]


def _plain(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value + 0.0:g}"


def chosen(known: Known, asked: Asked, at: float | str, *, hitching: bool) -> Choice:
    """The nearest of a movement's postures. `known`: the angles or levels of each movement drawn.

    UserError where the movement is not measured so, or the angle is not a number.
    """
    if isinstance(at, str):
        return _at_level(known[asked.movement], asked, at)
    if not math.isfinite(at):
        raise UserError("angle", at, "a number of degrees")
    return _at_angle(known, asked, float(at), hitching=hitching)


def _at_angle(known: Known, asked: Asked, at: float, *, hitching: bool) -> Choice:
    angles = _angles(known[asked.movement])
    if not angles:
        raise UserError(
            asked.movement, at, "a level", f"One of {', '.join(map(str, known[asked.movement]))}."
        )
    wanted = at * asked.sign
    # A movement that starts from the hanging arm has that as its posture at zero.
    if min(angles) > 0 and wanted < min(angles) / 2:
        return Choice("rest", at, 0.0, label=asked.label, beyond=wanted < -min(angles) / 2)
    hitched = _angles(known.get(f"{asked.movement}, hitching", ()))
    if hitching and hitched and min(hitched) / 2 <= wanted <= max(hitched):
        return _nearest(hitched, asked, at, hitching=True)
    return _nearest(angles, asked, at, hitching=False)


def _angles(drawn: tuple[float | str, ...]) -> list[float]:
    return [float(at) for at in drawn if not isinstance(at, str)]


def _nearest(angles: list[float], asked: Asked, at: float, *, hitching: bool) -> Choice:
    wanted = at * asked.sign
    # Of two equally near, the one with less movement: a picture never shows more than was measured.
    shown = min(angles, key=lambda a: (abs(a - wanted), a * asked.sign))
    step = (max(angles) - min(angles)) / max(len(angles) - 1, 1)
    beyond = wanted > max(angles) + step / 2 or (
        min(angles) <= 0 and wanted < min(angles) - step / 2
    )
    return Choice(
        asked.movement, at, shown, asked.label, asked.sign, beyond=beyond, hitching=hitching
    )


def _at_level(drawn: tuple[float | str, ...], asked: Asked, level: str) -> Choice:
    ladder = [name for name in drawn if isinstance(name, str)]
    if not ladder:
        raise UserError(asked.movement, level, "a number of degrees")
    wanted = height(level)
    shown = min(ladder, key=lambda name: (abs(height(name) - wanted), height(name)))
    beyond = wanted > max(map(height, ladder)) + 1
    return Choice(asked.movement, level, shown, asked.label, asked.sign, beyond=beyond)


def height(level: str) -> float:
    """A level of the back as a number that grows upwards. UserError where it is none."""
    if level in LOW_LEVELS:
        return LOW_LEVELS[level]
    above = {"L": 6, "T": 18, "C": 25}
    most = {"L": 5, "T": 12, "C": 7}
    letter, number = level[:1], level[1:]
    if letter in above and number.isdecimal() and 1 <= int(number) <= most[letter]:
        return float(above[letter] - int(number))
    raise UserError("level", level, "thigh, buttock, sacrum, or a vertebra such as L3 or T7")
