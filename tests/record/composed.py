"""Composes lines as people write them, with what each means written down beside; knows no parser.

The orders of side, name, value and qualifier are common practice, no source. What is meant is made
from the same choices as the words, never from the line.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from random import Random
from typing import Any

from sidewise.record import Finding


@dataclass(frozen=True)
class Composed:
    """A line and what its writer means, all of it."""

    line: str
    meant: tuple[Finding, ...]


RESULTS = {
    "positive": ("pos", "positive", "+", "+ve"),
    "negative": ("neg", "negative", "-ve"),
    "equivocal": ("equivocal", "equiv", "+/-"),
}
PAINFUL = {
    "Neer": "neer", "Neer's sign": "neer", "Hawkins": "hawkins_kennedy", "Yocum": "yocum",
    "Hawkins-Kennedy": "hawkins_kennedy", "Jobe": "empty_can", "empty can": "empty_can",
    "full can": "full_can", "Speed's": "speed", "Speed test": "speed", "Yergason": "yergason",
    "O'Brien": "active_compression", "lift-off": "lift_off", "Gerber": "lift_off",
    "belly press": "belly_press", "bear hug": "bear_hug", "scarf test": "cross_body",
    "Spurling": "spurling", "drop arm": "drop_arm", "Paxinos": "paxinos", "crank": "crank",
    "apprehension": "apprehension", "Patte": "hornblower", "Whipple": "whipple", "Kim": "kim",
    "jerk": "jerk", "anterior slide": "anterior_slide", "upper cut": "upper_cut",
}  # fmt: skip
WEAK = ("empty_can", "full_can", "lift_off", "belly_press", "bear_hug", "hornblower", "whipple")
ANGLES = {
    "flexion": "flexion", "FF": "flexion", "forward flexion": "flexion", "fwd flex": "flexion",
    "abd": "abduction", "abduction": "abduction", "ER": "external_rotation_at_side",
    "ext rot": "external_rotation_at_side", "ER at 90": "external_rotation_at_90",
    "IR at 90": "internal_rotation_at_90", "scaption": "scaption",
}  # fmt: skip
MODES = {"active": ("active", "act", "AROM"), "passive": ("passive", "pass", "PROM")}
FEELS = ("firm", "hard", "empty", "springy")
LEVELS = ("T4", "T8", "T12", "L3", "sacrum", "buttock")
BACK = ("HBB", "hand behind back", "IR", "hand up back")
TENDER = {
    "ACJ": "acj_tenderness", "AC joint": "acj_tenderness", "SCJ": "scj_tenderness",
    "bicipital groove": "groove_tenderness", "GT": "greater_tuberosity_tenderness",
    "coracoid": "coracoid_tenderness", "trapezius": "trapezius_tenderness",
}  # fmt: skip
POWER = {
    "abd": "abduction_power", "ER": "external_rotation_power", "IR": "internal_rotation_power",
    "biceps": "biceps_power", "triceps": "triceps_power", "serratus": "serratus_power",
    "grip": "grip_power", "middle deltoid": "deltoid_middle_power",
}  # fmt: skip
GRADES = ("0", "1", "2", "3", "4-", "4", "4+", "5")
SKIN = {f"C{n}": f"dermatome_c{n}" for n in (4, 5, 6, 7, 8)} | {"T1": "dermatome_t1"}
FELT = ("normal", "reduced", "absent")
JERKS = {"biceps jerk": "biceps_reflex", "BJ": "biceps_reflex", "TJ": "triceps_reflex",
         "supinator jerk": "brachioradialis_reflex"}  # fmt: skip
PULSES = {"radial pulse": "radial_pulse", "brachial pulse": "brachial_pulse"}
SIGNS = {"ACJ swelling": "acj_swelling", "winging at rest": "winging_rest",
         "bruising": "bruising"}  # fmt: skip
SIDE_WORDS = {"right": ("R", "right", "rt"), "left": ("L", "left", "lt")}
OTHER = {"right": "left", "left": "right"}


class Writer:
    """Somebody who writes; every choice comes from the seed."""

    def __init__(self, seed: int) -> None:
        self.dice = Random(seed)

    def one(self, among: Any) -> Any:
        """One of several."""
        return self.dice.choice(list(among))

    def side(self) -> tuple[str, str]:
        """A side and a word for it."""
        side = self.one(SIDE_WORDS)
        return side, self.one(SIDE_WORDS[side])

    def line(self) -> Composed:
        """One line of one to three sentences."""
        pieces = [self.one(SENTENCES)(self) for _ in range(self.one((1, 1, 1, 2, 3)))]
        joint = self.one(("; ", ". ", "\n"))
        seen: dict[Any, Composed] = {}
        for piece in pieces:
            # Nobody states the same place twice.
            if not {f.place for f in piece.meant} & set(seen):
                seen |= {finding.place: piece for finding in piece.meant}
        kept = list(dict.fromkeys(seen.values()))
        return Composed(joint.join(p.line for p in kept), tuple(f for p in kept for f in p.meant))


def found(item: str, side: str, kind: str, mode: str | None = None, **value: Any) -> Finding:
    """A finding as plain data would make it."""
    return Finding.model_validate(
        {"item": item, "side": side, "mode": mode, "value": {"kind": kind, **value}}
    )


def arranged(by: Writer, name: str, side: str, value: str) -> str:
    """A name, a side and what was found, in an order in which people write them."""
    full = "right" if side.lower().startswith("r") else "left"
    return str(by.one((
        f"{name} {side} {value}", f"{side} {name} {value}", f"{name}: {side} {value}",
        f"{name} {value} {side}", f"{name} {value} on the {full}", f"{name} {value} ({side})",
        f"{name} = {value} {side}", f"on the {full} {name} {value}",
    )))  # fmt: skip


def a_result(by: Writer) -> Composed:
    """A manoeuvre with its result, sometimes with what it reproduced."""
    name = by.one(PAINFUL)
    item, result = PAINFUL[name], by.one(RESULTS)
    side, word = by.side()
    said, value = by.one(RESULTS[result]), {"result": result}
    if result == "positive" and item in WEAK and by.one((True, False)):
        said, value = f"{said} {by.one(('weak', 'weakness'))}", {**value, "weakness": True}
    if result == "positive" and by.one((True, False)):
        said, value = f"{said} {by.one(('pain', 'painful', 'with pain'))}", {**value, "pain": True}
    elif result != "equivocal" and by.one((True, False)):
        said, value = f"{said} no pain", {**value, "pain": False}
    before = by.one((True, False, False)) and len(value) == 1
    line = f"{said} {name} {word}" if before else arranged(by, name, word, said)
    if value.get("result") == "positive" and value.get("pain") is False and len(value) == 2:
        # Positive with nothing reproduced is refused as a slip; not what is tried here.
        return a_result(by)
    return Composed(line, (found(item, side, "result", **value),))


def both_results(by: Writer) -> Composed:
    """A result of each side, or one of both."""
    name = by.one(PAINFUL)
    item = PAINFUL[name]
    one, other = by.one(RESULTS), by.one(RESULTS)
    side, word = by.side()
    second = by.one(SIDE_WORDS[OTHER[side]])
    a, b = by.one(RESULTS[one]), by.one(RESULTS[other])
    if by.one((True, False, False)):
        meant = tuple(found(item, s, "result", result=one) for s in SIDE_WORDS)
        return Composed(f"{name} {a} {by.one(('bilat', 'both', 'R and L', 'B'))}", meant)
    line = by.one(
        (
            f"{name} {word} {a}, {second} {b}",
            f"{name} {word} {a} {second} {b}",
            f"{name} {a} {word}, {b} {second}",
            f"{word} {name} {a}, {second} {name} {b}",
        )
    )
    return Composed(line, (found(item, side, "result", result=one),
                           found(item, OTHER[side], "result", result=other)))  # fmt: skip


def several(by: Writer) -> Composed:
    """Several manoeuvres of one side, named in a row."""
    names = by.dice.sample([n for n in PAINFUL if "test" not in n], 3)
    side, word = by.side()
    if len({PAINFUL[name] for name in names}) < 3:
        return several(by)
    if by.one((True, False)):
        result = by.one(RESULTS)
        said = by.one(RESULTS[result])
        line = by.one((f"{names[0]} and {names[1]} {said} {word}",
                       f"{names[0]} & {names[1]} {word} {said}",
                       f"{names[0]}/{names[1]} {said} {word}"))  # fmt: skip
        meant = tuple(found(PAINFUL[n], side, "result", result=result) for n in names[:2])
        return Composed(line, meant)
    results = [by.one(("positive", "negative")) for _ in names]
    results[0] = "positive"
    marks = [by.one(("+", "pos")) if r == "positive" else by.one(("-ve", "neg")) for r in results]
    if by.one((True, False)):
        marks = ["+" if r == "positive" else "-" for r in results]
    head = by.one((f"{word} ", f"{side.capitalize()}: ", f"{word}: "))
    line = head + ", ".join(f"{name} {mark}" for name, mark in zip(names, marks, strict=True))
    meant = tuple(found(PAINFUL[name], side, "result", result=result)
                  for name, result in zip(names, results, strict=True))  # fmt: skip
    return Composed(line, meant)


def no_side(by: Writer) -> Composed:
    """A result whose side was left out: meant of one, to be asked."""
    name = by.one(PAINFUL)
    result = by.one(RESULTS)
    meant = found(PAINFUL[name], by.one(SIDE_WORDS), "result", result=result)
    return Composed(f"{name} {by.one(RESULTS[result])}", (meant,))


def degrees(by: Writer, item: str) -> tuple[str, float]:
    """A reading and how it is written: whole, with a point, with a comma."""
    whole = by.dice.randint(10, 85 if "rotation" in item else 170)
    half = by.one(("", "", ".5", ",5"))
    return f"{whole}{half}{by.one(('', '', '°', ' deg'))}", whole + (0.5 if half else 0)


def an_angle(by: Writer) -> Composed:
    """A movement with its mode, its degrees and sometimes more."""
    name, mode = by.one(ANGLES), by.one(MODES)
    item, (said, number) = ANGLES[name], degrees(by, ANGLES[name])
    side, word = by.side()
    how = by.one(MODES[mode])
    value: dict[str, Any] = {"degrees": number}
    if by.one((True, False, False)):
        said, value = f"{said} {by.one(('pain', 'painful'))}", {**value, "pain": True}
    if mode == "passive" and by.one((True, False)):
        feel = by.one(FEELS)
        said, value = f"{said}{by.one((' ', ', '))}{feel}", {**value, "end_feel": feel}
    line = by.one((f"{how} {name} {word} {said}", f"{name} {how} {word} {said}",
                   f"{name} {word} {how} {said}", f"{word} {name} {how} {said}",
                   f"{word} {how} {name} {said}", f"{how} {name} {said} {word}"))  # fmt: skip
    return Composed(line, (found(item, side, "angle", mode, **value),))


def two_angles(by: Writer) -> Composed:
    """A movement of both sides."""
    name, mode = by.one(ANGLES), by.one(MODES)
    item, how = ANGLES[name], by.one(MODES[mode])
    a, b = by.dice.randint(10, 85), by.dice.randint(10, 85)
    line = by.one((f"{name} {how} R {a}, L {b}", f"{name} {how} R {a} L {b}",
                   f"{how} {name} R {a}, L {b}", f"{name} {how} R/L {a}/{b}",
                   f"{name} {how} {a} R, {b} L", f"{name} R {how} {a}, L {how} {b}"))  # fmt: skip
    return Composed(line, (found(item, "right", "angle", mode, degrees=a),
                           found(item, "left", "angle", mode, degrees=b)))  # fmt: skip


def no_mode(by: Writer) -> Composed:
    """A movement whose mode was left out."""
    name = by.one(ANGLES)
    side, word = by.side()
    number = by.dice.randint(10, 85)
    line = by.one((f"{name} {word} {number}", f"{word} {name} {number}"))
    return Composed(line, (found(ANGLES[name], side, "angle", by.one(MODES), degrees=number),))


def by_eye(by: Writer) -> Composed:
    """A movement judged by eye."""
    name, mode = by.one(ANGLES), by.one(MODES)
    side, word = by.side()
    how = by.one(MODES[mode])
    if by.one((True, False)):
        said = by.one(("full", "normal", "full range", "full ROM"))
        value: dict[str, Any] = {"kind": "normal_by_eye"}
    else:
        said = by.one(("reduced", "about half", "restricted", "half range"))
        range_left = "about half" if "half" in said else "reduced"
        value = {"kind": "reduced_by_eye", "range": range_left}
    line = by.one((f"{name} {how} {word} {said}", f"{word} {how} {name} {said}",
                   f"{name} {word} {how} {said}", f"{said} {how} {name} {word}"))  # fmt: skip
    return Composed(line, (found(ANGLES[name], side, mode=mode, **value),))


def a_level(by: Writer) -> Composed:
    """The hand up the back."""
    mode, level, name = by.one(MODES), by.one(LEVELS), by.one(BACK)
    side, word = by.side()
    how, to = by.one(MODES[mode]), by.one(("", "to "))
    line = by.one((f"{name} {how} {word} {to}{level}", f"{how} {name} {word} {to}{level}",
                   f"{word} {name} {to}{level} {how}"))  # fmt: skip
    item = "internal_rotation_behind_back"
    return Composed(line, (found(item, side, "level", mode, level=level),))


def an_arc(by: Writer) -> Composed:
    """A painful arc."""
    side, word = by.side()
    low = by.dice.randint(50, 80)
    high = low + by.dice.randint(20, 60)
    said = f"{low}{by.one(('-', ' to ', ' - '))}{high}"
    line = by.one((f"painful arc {word} {said}", f"{word} painful arc {said}", f"arc {said} {word}",
                   f"arc of pain {said} {word}"))  # fmt: skip
    if by.one((True, False, False)):
        return Composed(f"no painful arc {word}", (found("painful_arc", side, "arc",
                                                         painless=True),))  # fmt: skip
    return Composed(line, (found("painful_arc", side, "arc", **{"from": low, "to": high}),))


def a_tender_place(by: Writer) -> Composed:
    """A place pressed, with its grade or without."""
    name = by.one(TENDER)
    side, word = by.side()
    if by.one((True, False, False)):
        line = by.one(
            (
                f"{name} not tender {word}",
                f"no {name} tenderness {word}",
                f"{word} {name} non-tender",
                f"no tenderness over the {name} {word}",
            )
        )
        return Composed(line, (found(TENDER[name], side, "tenderness", grade=0),))
    grade = by.dice.randint(1, 3)
    value: dict[str, Any] = {"grade": grade}
    said = by.one(("", f" {grade}"))
    if said and by.one((True, False)):
        said, value = f"{said} familiar", {**value, "familiar": True}
    line = by.one((f"{name} tender {word}{said}", f"tender {name} {word}{said}",
                   f"{word} {name} tender{said}", f"tender over the {name} {word}{said}",
                   f"{name} tenderness {word}{said or ' tender'}"))  # fmt: skip
    return Composed(line, (found(TENDER[name], side, "tenderness", **value),))


def a_power(by: Writer) -> Composed:
    """A grade of power, said as one."""
    name, grade = by.one(POWER), by.one(GRADES)
    side, word = by.side()
    said = by.one((f"{grade}/5", f"{grade}", f"{grade}"))
    head = by.one((f"MRC {name}", f"power {name}", f"{name} power", f"resisted {name}",
                   f"power: {name}"))  # fmt: skip
    if said.endswith("/5"):
        head = by.one((head, name))
    value: dict[str, Any] = {"grade": grade}
    if by.one((True, False, False)):
        said, value = f"{said} pain", {**value, "limited_by_pain": True}
    line = by.one((f"{head} {word} {said}", f"{head} {said} {word}"))
    return Composed(line, (found(POWER[name], side, "mrc", **value),))


def a_force(by: Writer) -> Composed:
    """A force; small ones with a bare N may be grades."""
    name = by.one(("abd", "ER", "IR"))
    side, word = by.side()
    newtons = by.one((3, 5, 40, 85.5, 120))
    said = f"{newtons:g}".replace(".", by.one((".", ",")))
    value = found(POWER[name], side, "force", newtons=newtons, instrument=None)
    return Composed(f"power {name} {word} {said} {by.one(('N', 'newtons'))}", (value,))


def a_nerve(by: Writer) -> Composed:
    """Sensation, a reflex or a pulse."""
    side, word = by.side()
    which = by.one(("skin", "jerk", "pulse"))
    if which == "skin":
        level, felt = by.one(SKIN), by.one(FELT)
        head, to = by.one((("SLT", "light touch"), ("sensation", None), ("pinprick", "pinprick")))
        meant = found(SKIN[level], side, "sensation", sensation=felt, to=to)
        name, said = f"{head} {level}", felt
    elif which == "jerk":
        name, said = by.one(JERKS), by.one(("normal", "reduced", "absent", "brisk"))
        meant = found(JERKS[name], side, "reflex", reflex=said)
    else:
        name, said = by.one(PULSES), by.one(("normal", "weak", "absent"))
        meant = found(PULSES[name], side, "pulse", pulse=said)
    line = by.one((f"{name} {word} {said}", f"{word} {name} {said}", f"{name} {said} {word}",
                   f"{said} {name} {word}"))  # fmt: skip
    return Composed(line, (meant,))


def a_sign(by: Writer) -> Composed:
    """Something seen, or denied."""
    name, grade = by.one(SIGNS), by.one(("absent", "slight", "marked"))
    side, word = by.side()
    if grade == "absent":
        line = by.one((f"no {name} {word}", f"{name} {word} absent"))
    else:
        line = by.one((f"{name} {word} {grade}", f"{word} {name} {grade}"))
    return Composed(line, (found(SIGNS[name], side, "sign", grade=grade),))


def not_done(by: Writer) -> Composed:
    """A side that was not examined, sometimes with what was found on the other."""
    name = by.one(PAINFUL)
    item = PAINFUL[name]
    side, word = by.side()
    said = by.one(("not done", "not ex", "not examined"))
    status: dict[str, Any] = {"status": "not examined"}
    if by.one((True, False)):
        reason = by.one(("too stiff", "too sore", "in a sling"))
        kind = by.one(("unable", "withheld"))
        said, status = f"{kind} {reason}", {"status": kind, "reason": reason}
    first = Finding.model_validate({"item": item, "side": side, **status})
    if by.one((True, False)):
        return Composed(by.one((f"{name} {word} {said}", f"{word} {name} {said}")), (first,))
    result = by.one(RESULTS)
    second, mark = by.one(SIDE_WORDS[OTHER[side]]), by.one(RESULTS[result])
    line = by.one((f"{name} {word} {said}, {second} {mark}",
                   f"{name} {word} {said} {second} {mark}",
                   f"{name} {second} {mark}, {word} {said}"))  # fmt: skip
    return Composed(line, (first, found(item, OTHER[side], "result", result=result)))


SENTENCES: tuple[Callable[[Writer], Composed], ...] = (
    a_result, a_result, both_results, both_results, several, several, no_side, an_angle, an_angle,
    two_angles, no_mode, by_eye, a_level, an_arc, a_tender_place, a_power, a_power, a_force,
    a_nerve, a_sign, not_done, not_done,
)  # fmt: skip


def composed(seed: int, number: int) -> list[Composed]:
    """So many lines, the same for the same seed."""
    by = Writer(seed)
    return [by.line() for _ in range(number)]
