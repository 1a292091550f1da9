"""While a raised flag takes the meaning from a figure, no figure is shown, weighed or sought."""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path

import pytest

from sidewise.note import note_body, note_text
from sidewise.note.meaning import meaning_text
from sidewise.reason import interpret
from sidewise.reason.batch.run import run_batch
from sidewise.reason.judging.flags import meaningless
from sidewise.reason.result import ConditionPosterior, Interpretation
from sidewise.reason.weighing.layout import network_layout
from sidewise.record import Record
from sidewise.regions import regions
from tests.builders import angle, found, positive, record
from tests.flags.reading import presentations, record_of
from tests.reason.registers import answers, documents
from tests.reason.test_flag_cases import CASES
from tests.shoulder import BOOK, PROTOCOL, SHOULDER

DRAWS = 20
"""Enough to have limits: no figure of these tests depends on them."""
WITH_DATA = tuple(flag.id for flag in BOOK.flags if flag.meaningless)


def weighed(one: Record) -> Interpretation:
    return _weighed(one.model_dump_json())


@lru_cache(maxsize=64)
def _weighed(text: str) -> Interpretation:
    return interpret(Record.model_validate_json(text), SHOULDER, draws=DRAWS)


def conditions(result: Interpretation) -> list[ConditionPosterior]:
    groups = [*result.sides.values(), result.whole_person]
    return [condition for group in groups for condition in group.conditions]


def raising(flag: str) -> Record:
    """The least record that raises it, or the first presentation that does."""
    least = [case.raised for case in CASES if case.flag == flag]
    told = (record_of(one) for one in presentations() if flag in one.expect.must_raise)
    return least[0] if least else next(told)


def test_every_flag_with_such_data_is_swept() -> None:
    assert len(WITH_DATA) == len(set(WITH_DATA)) >= 25


@pytest.mark.parametrize("flag", WITH_DATA)
def test_a_raised_flag_withholds_every_figure_it_makes_meaningless(flag: str) -> None:
    one = raising(flag)
    result = weighed(one)
    mine = next(f for f in result.red_flags if f.flag == flag)
    assert mine.status == "raised"
    void = meaningless((mine,), BOOK)
    told = [c for c in conditions(result) if void.why_condition(c.condition, c.side)]
    assert {c.condition for c in told} >= _weighed_ones(void.conditions)
    for condition in told:
        assert condition.withheld_because
        assert (condition.posterior, condition.low, condition.high) == (None, None, None)
        assert {level.posterior for level in condition.levels} == {None}
        assert (condition.because, condition.together, condition.mind_changer) == ((), (), None)
    spoken = {(b.reading, b.side) for c in conditions(result) for b in c.because}
    assert [s for s in spoken if void.why(PROTOCOL.readings_by_id[s[0]], s[1])] == []


def _weighed_ones(void: dict[tuple[str, str], str]) -> set[str]:
    names = {name for name, _ in void}
    variables = network_layout(SHOULDER, ("left",)).structure.variables
    return {variable.name.partition(".")[0] for variable in variables} & names


@pytest.mark.parametrize("flag", WITH_DATA)
def test_nothing_is_suggested_that_only_a_withheld_condition_would_hear(flag: str) -> None:
    result = weighed(raising(flag))
    void = meaningless(result.red_flags, BOOK)
    structure = network_layout(SHOULDER, result_complaint(flag)).structure
    heard = {
        reading.name.partition(".")[0]
        for reading in structure.readings
        if not all(
            void.why_condition(*parent.split(".")[:2])
            if "." in parent
            else void.why_condition(parent, None)
            for parent in reading.parents
        )
    }
    for entry in (entry for entry in result.next if entry.bits is not None):
        readings = PROTOCOL.readings_by_item[entry.item]
        assert any(r.id in heard and not void.why(r, entry.side) for r in readings), entry.item


def result_complaint(flag: str) -> tuple[str, ...]:
    return raising(flag).context.complaint


POSTERIOR = record(
    found("palms_up", "left", "choice", choice="cannot"),
    angle("external_rotation_at_side", "left", 0),
    angle("external_rotation_at_side", "right", 65),
    angle("flexion", "left", 90),
    angle("flexion", "right", 170),
    history={"seizure": "yes", "injury": "yes", "fall": "yes"},
    age=40,
)
SEPTIC = record(
    found("warmth", "left", "choice", choice="hot"),
    angle("external_rotation_at_side", "left", 5),
    angle("external_rotation_at_side", "right", 60),
    angle("flexion", "left", 45),
    angle("flexion", "right", 170),
    history={"fever": "yes", "diabetes": "yes", "rest_pain": "yes"},
    vitals={"temperature": 38.9},
    age=61,
)


@pytest.mark.parametrize(
    ("one", "condition", "label", "flag"),
    [
        (POSTERIOR, "gh_arthritis", "glenohumeral osteoarthritis", "posterior dislocation"),
        (SEPTIC, "frozen", "frozen shoulder", "hot, swollen joint"),
    ],
)
def test_no_word_of_a_percentage_anywhere(
    one: Record, condition: str, label: str, flag: str
) -> None:
    result = weighed(one)
    entry = next(
        c for c in result.to_json()["sides"]["left"]["conditions"] if c["condition"] == condition
    )
    assert (entry["posterior"], entry["low"], entry["high"]) == (None, None, None)
    assert flag in entry["withheld_because"]
    pages = (
        meaning_text(result),
        note_text(one, result, SHOULDER),
        note_body(one, result, SHOULDER),
    )
    for page in (" ".join(page.split()) for page in pages):
        assert not re.search(rf"{label}[^,;.]{{0,3}} (under |over )?[0-9]+%", page)
        assert "not estimated: " in page
        assert label in page.split("not estimated: ")[1]


def test_findings_that_weigh_nothing_are_listed_with_the_flag() -> None:
    listed = {(entry.reading, entry.side) for entry in weighed(SEPTIC).not_weighed}
    assert any(PROTOCOL.readings_by_id[name].family == "capsule" for name, _ in listed)
    assert all(entry.withheld_because for entry in weighed(SEPTIC).not_weighed)


def test_without_a_flag_nothing_is_withheld() -> None:
    result = weighed(record(positive("neer", "left")))
    assert result.not_weighed == ()
    assert {c.withheld_because for c in conditions(result)} == {None}
    assert len(conditions(result)) == 37


@pytest.mark.parametrize(
    ("complaint", "other"), [(["left"], "right"), (["left", "right"], "right")]
)
def test_a_flag_of_one_side_leaves_the_other_its_figures(complaint: list[str], other: str) -> None:
    """A left joint that may be septic says nothing against the right one's range."""
    context = SEPTIC.context.model_copy(update={"complaint": tuple(complaint)})
    result = weighed(SEPTIC.model_copy(update={"context": context}))
    flags = {flag.flag: flag for flag in result.red_flags if flag.status == "raised"}
    assert flags["hot_swollen_joint"].sides == ("left",)
    left, right = (result.sides[side].conditions for side in ("left", other))
    assert {c.withheld_because for c in left if c.condition == "frozen"} != {None}
    assert {c.withheld_because for c in right if c.condition == "frozen"} == {None}
    assert {entry.side for entry in result.not_weighed} == {"left"}


def test_what_only_answers_raise_is_of_the_side_that_complains_or_of_both() -> None:
    told = {"penetrating_wound": "yes"}
    for complaint, sides in ((["left"], ("left",)), ([], ("left", "right"))):
        result = weighed(record(history=told, complaint=complaint))
        assert next(f for f in result.red_flags if f.flag == "open_joint").sides == sides


def test_a_flag_of_the_whole_person_is_of_both_sides() -> None:
    result = weighed(record(history={"face_droop": "yes"}, complaint=["left"]))
    assert next(f for f in result.red_flags if f.flag == "stroke").sides == ("left", "right")
    cuffs = [c for c in conditions(result) if c.condition == "cuff"]
    assert [c.side for c in cuffs] == ["left", "right"]
    assert {c.withheld_because for c in cuffs} == {
        "dropped face, lost speech or a suddenly weak hand"
    }


@pytest.mark.parametrize("draws", [0, DRAWS])
def test_a_batch_withholds_the_same(draws: int, tmp_path: Path) -> None:
    one = SEPTIC.model_copy(update={"id": "septic"})
    run_batch(documents([one], tmp_path / "in"), tmp_path / "out", regions, draws=draws)
    table = answers(tmp_path / "out")
    told = {
        (c.condition, c.side or "person"): c.withheld_because for c in conditions(weighed(SEPTIC))
    }
    assert len(table) == 37
    for _, row in table.iterrows():
        flag = told[row["condition"], row["side"]]
        assert isinstance(row["withheld_because"], str) == (flag is not None)
        assert flag is None or row["withheld_because"] == flag
        assert (row["posterior"] != row["posterior"]) == (flag is not None)
        assert (row["levels"] is None) == (flag is not None)
