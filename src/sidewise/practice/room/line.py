"""A typed line of the terminal as steps: "feel left ac joint", "chances frozen 80%, rest 3%".

A name is an id, a name the trade uses in a typed line, or the beginnings of words of the label; one
that could be two things is refused with both.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from sidewise.errors import UserError
from sidewise.practice.chances import chance_of_words
from sidewise.practice.room.attempt import Ask, Examine, Finish, Hint, Measure, State, Step
from sidewise.practice.room.place import Room, flag_choices, verb_of
from sidewise.protocol.model import nearest_names
from sidewise.record import OTHER
from sidewise.record.line.words import line_words_of

HELP = """\
ask QUESTION | ask onset        a question of the history: ask night pain
measure SIGN                    a vital sign: measure temperature
prepare                         hands, consent and exposure, before anybody is touched
look, feel, move, test, see to  SIDE ITEM [active|passive|resisted] [at PLACE]
                                SIDE: left, right, both; painful, other
chances NAME CHANCE, ...        0% to 100% or a word; rest is all not named:
                                chances frozen likely, rest 3%
next ITEM because WHY           what you would do next, and why; remembered
beware FLAG, ...                what must not be missed; remembered
why | flags                     a hint: what next, or what must not be missed
finish [flags FLAG, ...] [plan TEXT]
"""
SIDES = {"left": "left", "l": "left", "right": "right", "r": "right", "both": "both"}
MODES = ("active", "passive", "resisted")
VERBS = ("look", "feel", "move", "test", "see to")
REST = "rest"
FEWEST_LETTERS = 2


def parse_line(room: Room, line: str) -> tuple[Step, ...]:
    """The steps of a line; UserError for what names nothing, or more than one thing."""
    text = " ".join(line.split())
    for verb in VERBS:
        if text.lower().startswith(f"{verb} "):
            return (_examine(room, verb, text[len(verb) + 1 :]),)
    word, _, rest = text.partition(" ")
    match word.lower():
        case "prepare":
            return tuple(Examine(do="see to", item=name) for name in room.to_see_to_first)
        case "ask":
            return (Ask(question=_question(room, rest)),)
        case "measure":
            vitals = {one.id: one.label for one in room.protocol.vitals}
            return (Measure(vital=found_name(rest, vitals, "a vital sign")),)
        case "chances":
            return (_chances(room, rest),)
        case "next":
            return (_next(room, rest),)
        case "beware":
            return (State(not_to_miss=_flags(room, rest)),)
        case "why":
            return (Hint(kind="next"),)
        case "flags":
            return (Hint(kind="flags"),)
        case "finish":
            return (_finish(room, rest),)
    raise UserError("line", line, "a line that begins with what you do", "Type help for the words.")


def _question(room: Room, text: str) -> str:
    known = {"onset": "how it began"} | {one.id: one.label for one in room.protocol.history}
    return found_name(text, known, "a question of the history")


def _examine(room: Room, verb: str, text: str) -> Examine:
    words, _, place = text.partition(" at ")
    side, mode, left = "", None, []
    for word in words.split():
        lower = word.lower()
        if not side and (found := _side(room, lower)):
            side = found
        elif mode is None and lower in MODES:
            mode = lower
        else:
            left.append(word)
    item = _item(room, verb, " ".join(left))
    data: dict[str, Any] = {"do": verb, "item": item, "side": side, "mode": mode}
    return Examine.model_validate({**data, "place": place.strip() or None})


def _side(room: Room, word: str) -> str:
    complaint = room.context.complaint
    if word == "painful":
        return complaint[0] if len(complaint) == 1 else "both"
    if word == "other" and len(complaint) == 1:
        return OTHER[complaint[0]]
    return SIDES.get(word, "")


def _item(room: Room, verb: str, text: str) -> str:
    """The item: one that is done so, if any has the name; "feel ac joint" is none that is seen."""
    protocol = room.protocol
    if text in protocol.by_id:
        return text
    own = {one.id: one.label for one in protocol.items if verb_of(protocol, one) == verb}
    every = {one.id: one.label for one in protocol.items}
    phrase = line_words_of(room.region).subjects.match(text, 0, len(text))
    if phrase is not None and phrase.end == len(text):
        meant = [name for name in phrase.meaning.items if name in own] or phrase.meaning.items
        if len(meant) == 1:
            return str(meant[0])
    known = own if _matches(text, own) else every
    return found_name(text, known, "an item of the protocol")


def found_name(text: str, known: Mapping[str, str], what: str) -> str:
    """The id that a text names; UserError where it names none, or several."""
    name = text.strip()
    if name in known:
        return name
    found = _matches(name, known)
    exact = [one for one in found if known[one].lower() == name.lower()]
    if len(exact) == 1 or len(found) == 1:
        return (exact or found)[0]
    if found:
        shown = ", ".join(found[:5]) + (" ..." if len(found) > 5 else "")
        raise UserError("name", name, f"one of {shown}", "Say which, by its id or more words.")
    raise UserError("name", name, what, nearest_names(name, known))


def _matches(text: str, known: Mapping[str, str]) -> list[str]:
    """Ids with, for every word of the text, a word in id or label that begins so."""
    words = [word.lower() for word in re.findall(r"\w+", text)]
    if not words or max(map(len, words)) < FEWEST_LETTERS:
        return []
    return [name for name, label in known.items() if _begins(words, f"{name} {label}")]


def _begins(words: Iterable[str], text: str) -> bool:
    there = re.findall(r"[a-z0-9]+", text.lower())
    return all(any(one.startswith(word) for one in there) for word in words)


def _chances(room: Room, text: str) -> State:
    labels = {group.id: group.label for group in room.groups}
    chances: dict[str, float] = {}
    words: dict[str, str] = {}
    rest: tuple[float, str] | None = None
    for part in text.split(","):
        name, chance, word = _one_chance(part.strip())
        if name == REST:
            rest = (chance, word)
            continue
        group = found_name(name, labels, f"one of {', '.join(labels)}")
        chances[group] = chance
        if word:
            words[group] = word
    if rest is not None:
        others = [group for group in labels if group not in chances]
        chances |= dict.fromkeys(others, rest[0])
        words |= dict.fromkeys(others, rest[1]) if rest[1] else {}
    return State(chances=chances, words=words)


def _one_chance(part: str) -> tuple[str, float, str]:
    """Name, chance and word of one part: "frozen 80%", "tear very likely"."""
    if found := re.fullmatch(r"(.+?)\s+(\d+(?:\.\d+)?)\s*%", part):
        percent = float(found[2])
        if percent > 100:
            raise UserError(f"chance of {found[1]}", f"{found[2]}%", "0% to 100%")
        return found[1], percent / 100, ""
    name, _, word = part.partition(" ")
    return name, chance_of_words(word.strip().lower()), word.strip().lower()


def _next(room: Room, text: str) -> State:
    name, _, why = text.partition(" because ")
    known = {one.id: one.label for one in room.protocol.items}
    known |= {one.id: one.label for one in room.protocol.history}
    item = found_name(name, known, "an item or a question")
    return State(next_item=item, because=why.strip())


def _flags(room: Room, text: str) -> tuple[str, ...]:
    known = dict(flag_choices(room.region))
    return tuple(found_name(one, known, "a flag") for one in text.split(",") if one.strip())


def _finish(room: Room, text: str) -> Finish:
    found = re.fullmatch(r"(?:flags (?P<flags>.*?))?\s*(?:plan (?P<plan>.*))?", text)
    if found is None:
        raise UserError("finish", text, "finish [flags FLAG, ...] [plan TEXT]")
    return Finish(flags=_flags(room, found["flags"] or ""), plan=(found["plan"] or "").strip())
