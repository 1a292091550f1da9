"""A typed or dictated line: what it says, what is asked, and what is not understood."""

from __future__ import annotations

from typing import Any

import pytest

from sidewise.errors import UserError
from sidewise.record import Finding
from sidewise.record.line import LONGEST, LineReading, read_line, write_line
from sidewise.record.line.words import FILE, words_for
from tests.builders import angle, found, negative, positive, unable
from tests.shoulder import FOLDER, PROTOCOL, SHOULDER, read_yaml

# The shorthand itself is common practice, no source.
DATA = read_yaml(FOLDER / FILE)


def read(line: str) -> LineReading:
    return read_line(line, SHOULDER)


def findings(line: str) -> tuple[Finding, ...]:
    """The findings of a line that must be understood whole."""
    reading = read(line)
    assert reading.whole, (reading.questions, reading.not_understood)
    return reading.findings


def choices(line: str) -> list[str]:
    """The answers offered to the only question a line raises; nothing may be taken from it."""
    reading = read(line)
    assert reading.findings == ()
    assert reading.not_understood == ()
    (question,) = reading.questions
    return [choice.label for choice in question.choices]


def why(line: str) -> str:
    """Why a line, as a whole, was not understood."""
    reading = read(line)
    assert reading.findings == ()
    assert reading.questions == ()
    (part,) = reading.not_understood
    return part.why


MEANT: list[tuple[str, tuple[Finding, ...]]] = [
    ("Hawkins R pos", (positive("hawkins_kennedy", "right"),)),
    ("hawkins right +ve", (positive("hawkins_kennedy", "right"),)),
    ("Neer pos R, neg L", (positive("neer", "right"), negative("neer", "left"))),
    ("Neer R pos L neg", (positive("neer", "right"), negative("neer", "left"))),
    ("ER passive L 15 firm", (angle("external_rotation_at_side", "left", 15, end_feel="firm"),)),
    ("ext rot passive L -10°", (angle("external_rotation_at_side", "left", -10),)),
    (
        "flex R active 150 passive 165",
        (angle("flexion", "right", 150, "active"), angle("flexion", "right", 165)),
    ),
    (
        "abd passive R 95, L 170",
        (angle("abduction", "right", 95), angle("abduction", "left", 170)),
    ),
    (
        "ext rot lag R 20",
        (positive("external_rotation_lag", "right", lag=True, lag_degrees=20),),
    ),
    ("MRC abd L 4 pain", (found("abduction_power", "left", "mrc", grade="4",
                                limited_by_pain=True),)),
    ("abd power L 4+/5", (found("abduction_power", "left", "mrc", grade="4+"),)),
    ("SLT C6 R reduced", (found("dermatome_c6", "right", "sensation", sensation="reduced",
                                to="light touch"),)),
    ("ACJ tender L 2 familiar", (found("acj_tenderness", "left", "tenderness", grade=2,
                                       familiar=True),)),
    ("AC not tender R", (found("acj_tenderness", "right", "tenderness", grade=0),)),
    ("sulcus L 12 mm", (found("sulcus", "left", "length", cm=1.2),)),
    ("HBB active R T8", (found("internal_rotation_behind_back", "right", "level", "active",
                               level="T8"),)),
    ("arc R 70-110", (found("painful_arc", "right", "arc", **{"from": 70, "to": 110}),)),
    ("rhythm L early hitch and jerky on lowering",
     (found("scapular_rhythm", "left", "choice", choice=("early hitch", "jerky on lowering")),)),
    ("gait wide or stiff", (found("gait", "midline", "choice", choice="wide or stiff"),)),
    ("cross body L pos pain top (AC joint)",
     (positive("cross_body", "left", pain=True, where="top (AC joint)"),)),
    ("empty can L pos weak, R neg",
     (positive("empty_can", "left", weakness=True), negative("empty_can", "right"))),
    ("unable neer L too stiff", (unable("neer", "left", "too stiff"),)),
    ('neer L unable: "too stiff, too sore"', (unable("neer", "left", "too stiff, too sore"),)),
    ("Beighton 5/9", (found("beighton", "midline", "count", count=5),)),
    ("mass L over 5 cm deep or growing", (found("mass", "left", "sign",
                                                grade="over 5 cm, deep or growing"),)),
]  # fmt: skip


@pytest.mark.parametrize(("line", "meant"), MEANT)
def test_shorthand_says_what_the_trade_means(line: str, meant: tuple[Finding, ...]) -> None:
    assert findings(line) == meant


def test_both_sides_are_two_findings() -> None:
    assert [(f.side, f.value) for f in findings("radial pulse both normal")] == [
        (side, found("radial_pulse", side, "pulse", pulse="normal").value)
        for side in ("right", "left")
    ]


def test_not_examined_is_kept_as_that() -> None:
    (finding,) = findings("not ex: apprehension L")
    assert (finding.item, finding.side, finding.status) == ("apprehension", "left", "not examined")


def test_not_examined_on_both_sides_after_a_comma() -> None:
    assert [f.side for f in findings("not ex: apprehension L, R")] == ["left", "right"]


def test_an_arc_inside_an_abduction_is_its_own_finding() -> None:
    assert [f.item for f in findings("abd active R 95 arc 70-110")] == ["abduction", "painful_arc"]


@pytest.mark.parametrize(
    ("line", "offered"),
    [
        ("abd R 95", ["active", "passive"]),
        ("Neer pos", ["right", "left", "both sides"]),
        ("AC tender R", ["1 says so", "2 winces", "3 withdraws"]),
        ("sulcus L 1", ["1 cm"]),
        ("empty can L weak", ["positive", "equivocal"]),
        ("flexion passive 160", ["right", "left", "both sides"]),
        ("ER 15", [f"{side}, {mode}" for side in ("right", "left", "both sides")
                   for mode in ("active", "passive")]),
        ("not ex: flexion L", ["active", "passive"]),
    ],
)  # fmt: skip
def test_what_was_not_said_is_asked(line: str, offered: list[str]) -> None:
    assert choices(line) == offered


def test_a_choice_carries_the_findings_it_would_make() -> None:
    (question,) = read("AC tender both").questions
    made = question.choices[1].findings
    assert [(f.side, getattr(f.value, "grade", None)) for f in made] == [("right", 2), ("left", 2)]


def test_a_mode_said_of_one_side_is_not_taken_for_the_other() -> None:
    reading = read("abd R passive 95, L 170")
    assert reading.findings == (angle("abduction", "right", 95),)
    assert [question.span.text for question in reading.questions] == ["L 170"]


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("Hawkins R pos hardly", 'not known here: "hardly"'),
        ("blob R pos", 'no item is called "blob"'),
        ("AC R tender", 'no item is called "AC"'),
        ("abd active R 250", "got 250.0, expected degrees from 0 to 190"),
        ("abd active R 950", "degrees: got 950.0"),
        ("gait R even", "gait has no sides"),
        ("Neer active R pos", 'not known here: "active"'),
        ("Neer R", "nothing is said of what was found"),
        ("Neer R pos neg", "two things said"),
        ("Neer R R pos", "a side is said twice"),
        ("abd active passive R 95", "two modes at once"),
        ("arc R 110-70", "from must not be above to"),
        ("neer R neg pain", "a negative result reproduces nothing"),
        ("unable neer L", "a reason is needed"),
        ("unable neer L too stiff, R pos", "stands in quotes"),
        ("Neer R -", 'not known here: "-"'),
        ("R R neer pos", "a side is said twice"),
        ("ER passive L 15 cm", "not clear"),
        ("MRC abd L 6", "not clear"),
        ('neer R pos note "open', "not known here"),
        ("AC not tender R 2", "not clear"),
        ("flexion R active 150 L", "not clear what belongs"),
        ("beighton 4.5", "not clear"),
        ("neer R pos reading 1.5", "not a whole number"),
        ("neer R pos reading 1e999", "not a number that can be used"),
    ],
)
def test_what_cannot_be_read_is_marked_with_why(line: str, reason: str) -> None:
    assert reason in why(line)


def test_one_unknown_word_spoils_its_entry_only() -> None:
    reading = read("Hawkins R pos hardly, L neg; Neer R pos")
    assert reading.findings == (positive("neer", "right"),)
    (part,) = reading.not_understood
    assert part.span.text == "Hawkins R pos hardly, L neg"
    assert [(word.text, word.start) for word in part.words] == [("hardly", 14)]


def test_places_in_the_text_are_those_of_the_words() -> None:
    text = "  Neer R pos ;\nER 15"
    reading = read(text)
    spans = [reading.understood[0].span, reading.questions[0].span]
    assert [(s.start, s.end) for s in spans] == [(2, 12), (15, 20)]
    assert [text[s.start : s.end] for s in spans] == [s.text for s in spans]


def test_a_full_stop_ends_an_entry_and_a_decimal_point_does_not() -> None:
    said = findings("Neer R pos. sulcus L 1.5 cm.")
    assert said == (positive("neer", "right"), found("sulcus", "left", "length", cm=1.5))


def test_a_semicolon_in_quotes_ends_nothing() -> None:
    (finding,) = findings('Neer R pos note "sore; not weak"')
    assert finding.note == "sore; not weak"


def test_nothing_in_gives_nothing_out() -> None:
    assert read("") == LineReading("", (), (), ())


def test_too_long_a_text_is_refused() -> None:
    with pytest.raises(UserError, match=f"expected at most {LONGEST}"):
        read("x" * (LONGEST + 1))


def test_a_finding_is_written_as_the_trade_says_it() -> None:
    finding = angle("external_rotation_at_side", "left", 15, end_feel="firm", pain=True)
    assert write_line(finding, SHOULDER) == "ER left passive 15 pain firm"


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"names": {"neer": ["HK"]}}, "HK.*expected one meaning"),
        ({"names": {"neer": ["lt"]}}, "lt.*no side, mode or status"),
        ({"names": {"nere": ["NS"]}}, "nere.*expected an item"),
        ({"names": {"flexion": ["power abd"]}}, "expected one meaning"),
        ({"attached": {"abduction": {"pain": "painful_arc"}}}, "pain.*expected one meaning"),
        ({"attached": {"abduction": {"arc": "painfull_arc"}}}, "painfull_arc.*expected an item"),
    ],
)
def test_an_ambiguous_or_empty_abbreviation_is_refused(
    change: dict[str, Any], message: str
) -> None:
    merged = {**DATA, **{k: {**DATA[k], **v} for k, v in change.items()}}
    with pytest.raises(UserError, match=message):
        words_for(PROTOCOL, merged)


def test_no_abbreviation_of_the_region_stands_in_code() -> None:
    from pathlib import Path

    folder = Path(__file__).parents[2] / "src/sidewise/record/line"
    files = [*folder.glob("*.py"), *folder.glob("*.lark"), folder / "words.yaml"]
    text = " ".join(path.read_text(encoding="utf-8").lower() for path in files)
    found_there = [name for name in PROTOCOL.by_id if f'"{name}"' in text]
    assert found_there == []
    assert len(files) >= 9
