"""Every finding that can be written as a line reads back the same; junk never becomes a finding."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from sidewise.kinds import NAMES as KIND_NAMES
from sidewise.kinds.mrc import GRADES as MRC_GRADES
from sidewise.kinds.reduced_by_eye import LEFT
from sidewise.protocol import Item
from sidewise.record import Finding
from sidewise.record.line import line_words_of as words_of_region
from sidewise.record.line import read_line, write_line
from tests.shoulder import PROTOCOL, SHOULDER

NOTE = 'as "before"; no more, \\ and\nno less'


def places(item: Item) -> list[tuple[str, str | None]]:
    sides = ("right", "left") if item.paired else ("midline",)
    return [(side, mode) for side in sides for mode in item.modes or (None,)]


def numbers(kind: Any) -> tuple[float, ...]:
    low, high = getattr(kind, "low", 0), kind.high
    return (low, high, (low + high) / 3, round((low + high) / 2))


def own_words(kind: Any) -> list[str]:
    return [*getattr(kind, "grades", ()), *getattr(kind, "options", ())]


def values(kind: Any) -> Iterator[dict[str, Any]]:
    """Every word a kind can take, and its numbers at both ends and between."""
    match kind.kind:
        case "sign":
            yield from ({"grade": word} for word in kind.grades)
            if kind.may_be_ungraded:
                yield {"grade": "present"}
            yield from ({"grade": kind.grades[-1], "place": place} for place in kind.places)
            if not kind.places:
                yield {"grade": kind.grades[-1], "place": NOTE}
        case "normal_by_eye":
            yield from ({}, {"pain": True}, {"pain": False})
        case "reduced_by_eye":
            yield from ({"range": word} for word in LEFT)
            yield {"range": LEFT[0], "pain": True, "end_feel": "not reached"}
            yield {"range": LEFT[-1], "pain": False, "end_feel": "springy"}
        case "tenderness":
            yield from ({"grade": g, "familiar": f} for g in range(4) for f in (None, True, False))
        case "angle":
            yield from ({"degrees": number} for number in numbers(kind))
            yield {"degrees": kind.low, "pain": True, "end_feel": "not reached",
                   "instrument": "eye", "position": NOTE, "sd": 2.5}  # fmt: skip
            yield {"degrees": kind.high, "pain": False, "end_feel": "empty", "instrument": "phone"}
        case "arc":
            yield {"painless": True}
            yield {"painful": True}
            yield {"from": kind.low, "to": kind.high}
            yield {"from": 70.5, "to": 110}
        case "level":
            yield from ({"level": level} for level in kind.ladder)
            yield {"level": "L5", "pain": True}
            yield {"lower_by": 1}
            yield {"lower_by": 7, "pain": True}
        case "length":
            yield from ({"cm": number} for number in numbers(kind))
        case "seconds":
            yield {"none": True}
            yield from ({"seconds": number} for number in numbers(kind))
        case "count":
            yield from ({"count": number} for number in range(kind.high + 1))
        case "mrc":
            yield from (
                {"grade": g, "limited_by_pain": p}
                for g in (*MRC_GRADES, "reduced")
                for p in (True, False)
            )
        case "force":
            yield from ({"newtons": number} for number in numbers(kind))
            yield {"newtons": 12.5, "instrument": None, "limited_by_pain": True}
        case "result":
            yield from ({"result": word} for word in ("negative", "positive", "equivocal"))
            for aspect in kind.aspects:
                yield {"result": "positive", aspect: True}
                yield {"result": "equivocal", aspect: True}
                yield {"result": "negative", aspect: False}
            yield from ({"result": "positive", "where": place} for place in kind.places)
            if "lag" in kind.aspects:
                yield {"result": "positive", "lag": True, "lag_degrees": 20}
                yield {"result": "positive", "lag_degrees": 12.5}
                yield {"result": "negative", "lag": False, "lag_degrees": 0}
        case "choice":
            yield from ({"choice": word} for word in kind.options)
            if kind.several:
                yield {"choice": kind.options[:3]}
        case "place":
            yield {"what": NOTE}
            yield {
                "what": "scar",
                "view": "left side",
                "x": 0.25,
                "y": 1e-7,
                "structure": "deltoid",
            }
            yield {"what": "scar", "view": "back", "drawn": "-240,-1030 -236,-998"}
        case "reflex":
            yield from ({"reflex": word} for word in
                        ("absent", "reduced", "normal", "brisk", "brisk with spread"))  # fmt: skip
        case "sensation":
            for word in ("normal", "reduced", "absent", "heightened"):
                yield from (
                    {"sensation": word, "to": to} for to in (None, "light touch", "pinprick")
                )
        case "pulse":
            yield from ({"pulse": word} for word in ("normal", "weak", "absent"))
        case "vital":
            yield from ({"number": number} for number in numbers(kind))
        case "text":
            yield {"text": NOTE}
        case _:
            raise AssertionError(f"no values for {kind.kind}")


def every_finding() -> Iterator[Finding]:
    for item in PROTOCOL.items:
        for side, mode in places(item):
            where = {"item": item.id, "side": side, "mode": mode}
            for kind in item.kinds:
                for value in values(kind):
                    yield Finding.model_validate({**where, "value": {"kind": kind.kind, **value}})
            yield Finding.model_validate({**where, "status": "not examined"})
            yield Finding.model_validate({**where, "status": "unable", "reason": NOTE})
            yield Finding.model_validate({**where, "status": "withheld", "reason": "too sore"})


EVERY = list(every_finding())


def back(finding: Finding) -> tuple[Finding, ...]:
    reading = read_line(write_line(finding, SHOULDER), SHOULDER)
    assert reading.not_understood == ()
    assert reading.questions == ()
    return reading.findings


def test_every_finding_written_as_a_line_reads_back_the_same() -> None:
    broken = [write_line(f, SHOULDER) for f in EVERY if back(f) != (f,)]
    assert broken == []
    assert len(EVERY) > 4000


def test_the_sweep_is_of_every_item_side_mode_and_kind() -> None:
    assert {f.place for f in EVERY} == {
        (item.id, side, mode) for item in PROTOCOL.items for side, mode in places(item)
    }
    swept = {f.value.kind for f in EVERY if f.value}
    assert swept == {kind.kind for item in PROTOCOL.items for kind in item.kinds}
    assert set(KIND_NAMES) == swept


def test_a_whole_examination_in_one_text_reads_back() -> None:
    some = EVERY[:: len(EVERY) // 200]
    reading = read_line(";\n".join(write_line(f, SHOULDER) for f in some), SHOULDER)
    assert reading.findings == tuple(some)
    assert len(some) >= 200


free_text = st.text(min_size=1, max_size=40)
extras = st.fixed_dictionaries(
    {},
    optional={
        "note": free_text,
        "examiner": st.text(min_size=1, max_size=20),
        "repeat": st.integers(1, 99),
        "together": st.booleans(),
    },
)


@settings(max_examples=300)
@given(st.sampled_from(EVERY), extras)
def test_what_goes_with_a_finding_reads_back_too(finding: Finding, more: dict[str, Any]) -> None:
    full = Finding.model_validate({**finding.model_dump(by_alias=True), **more})
    assert back(full) == (full,)


@settings(max_examples=300)
@given(
    st.sampled_from([f for f in EVERY if f.value and f.value.kind == "angle"]),
    st.floats(-60, 100),
    st.none() | st.floats(0, 90),
    free_text,
)
def test_every_angle_reads_back_to_the_last_digit(
    finding: Finding, degrees: float, sd: float | None, position: str
) -> None:
    value = {"kind": "angle", "degrees": degrees, "sd": sd, "position": position}
    full = {**finding.model_dump(), "value": value}
    limits = PROTOCOL.item(finding.item).kind("angle")
    if limits.low <= degrees <= limits.high:
        made = Finding.model_validate(full)
        assert back(made) == (made,)


@settings(max_examples=200)
@given(st.sampled_from([f for f in EVERY if f.status == "unable"]), free_text)
def test_any_reason_reads_back(finding: Finding, reason: str) -> None:
    if reason.strip():
        full = finding.model_copy(update={"reason": reason})
        assert back(full) == (full,)


@settings(max_examples=400)
@given(st.text(max_size=200))
def test_arbitrary_text_is_read_without_a_crash_and_is_accounted_for(text: str) -> None:
    assert_accounted(text)


WORDS = words_of_region(SHOULDER)
TRADE = [
    *sorted(WORDS.subjects.written.values())[::7],
    *(way for values in WORDS.general.values() for ways in values.values() for way in ways),
    ",", ";", "\n", '"', '"so"', "95", "-10", "70-110", "4+", "1 cm", "T8", "foo", "??", ":",
    "7e999",
]  # fmt: skip


@settings(max_examples=600)
@given(st.lists(st.sampled_from(TRADE), max_size=14))
def test_trade_words_in_any_order_are_read_without_a_crash(pieces: list[str]) -> None:
    assert_accounted(" ".join(pieces))


def assert_accounted(text: str) -> None:
    """Every character but space, commas and ends of entries is in some part of the reading."""
    reading = read_line(text, SHOULDER)
    parts = [*reading.understood, *reading.not_understood, *reading.questions]
    covered = {place for part in parts for place in range(part.span.start, part.span.end)}
    left = [
        c for n, c in enumerate(text) if n not in covered and not c.isspace() and c not in ",;."
    ]
    assert left == []
    for part in parts:
        assert text[part.span.start : part.span.end] == part.span.text
    for part in reading.understood:
        assert_said(text, part.findings)


def assert_said(text: str, findings: tuple[Finding, ...]) -> None:
    """The item, the side and every number of a finding stand in the text."""
    digits = {
        abs(float(n.replace(",", ".")))
        for n in re.findall(r"\d+(?:\.\d+|,\d(?!\d))?(?:e[+-]?\d+)?", text, re.I | re.A)
    }
    spoken = " ".join(re.sub(r"[,_-]", " ", text).lower().split())
    for finding in findings:
        names = [phrase for phrase, subject in WORDS.subjects.meanings.items()
                 if finding.item in subject.items]  # fmt: skip
        names += [
            w for ways in WORDS.attached.values() for w, i in ways.items() if i == finding.item
        ]
        assert any(name in spoken for name in names)
        if finding.side != "midline":
            assert re.search(rf"\b({finding.side[0]}|{finding.side}|rt|lt|b|bi.*|both)\b", spoken)
        for field in ("degrees", "newtons", "seconds", "lag_degrees", "count", "number"):
            number = getattr(finding.value, field, None)
            assert number is None or abs(number) in digits


@settings(max_examples=300)
@given(st.sampled_from([f for f in EVERY if f.value]), st.data())
def test_an_unknown_word_spoils_the_entry_and_never_changes_it(
    finding: Finding, data: st.DataObject
) -> None:
    line = write_line(finding, SHOULDER)
    gaps = [n for n, letter in enumerate(line) if letter == " " and line[:n].count('"') % 2 == 0]
    place = data.draw(st.sampled_from([*gaps, len(line)]))
    reading = read_line(f"{line[:place]} zzyx {line[place:]}", SHOULDER)
    assert reading.findings in ((), (finding,))
    assert reading.findings == () or "\\" in line
