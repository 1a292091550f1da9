"""What is recorded of simulated patients gives back what was drawn, and is never impossible."""

from __future__ import annotations

from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from sidewise.evidence.conditions import families_of
from sidewise.practice import CaseWishes, PracticeCase, practice_case
from sidewise.practice.case_file import (
    case_document,
    case_text,
    read_case,
    truth_document,
)
from sidewise.practice.ways import patient_ways
from sidewise.reason.judging.judge import Judge, State
from sidewise.record import Finding, check_record
from sidewise.schemas import schema_of
from tests.shoulder import PROTOCOL, REGIONS, SHOULDER

SEEDS = range(14)
STIFF = CaseWishes(present=("frozen", "neck_root"))


@pytest.fixture(scope="module")
def cases() -> tuple[PracticeCase, ...]:
    return (
        *(practice_case(SHOULDER, seed) for seed in SEEDS),
        *(practice_case(SHOULDER, seed, STIFF) for seed in range(5)),
    )


def degrees(finding: Finding) -> float:
    return float(finding.value.degrees)  # type: ignore[union-attr]


def test_what_is_judged_is_what_the_truth_says(
    cases: tuple[PracticeCase, ...], tmp_path: Path
) -> None:
    """From the written file, judged as any examination is."""
    path = tmp_path / "case.json"
    for case in cases:
        path.write_text(case_text(case))
        judge = Judge(PROTOCOL, read_case(path, REGIONS).record)
        for name, there in truth_document(case, SHOULDER)["readings"].items():
            reading, _, side = name.partition(".")
            verdict = judge.reading(PROTOCOL.readings_by_id[reading], side or "midline")
            assert verdict.state is (State.MET if there else State.NOT_MET), (case.seed, name)


def rivals(case: PracticeCase, name: str) -> list[str]:
    """Other readings of the same look and side that were drawn as present and stayed so, where the
    look is one choice out of several."""
    reading, _, side = name.partition(".")
    one = PROTOCOL.readings_by_id[reading]
    if one.criterion is None or one.criterion.test != "one_of":
        return []
    return [
        other.id
        for other in PROTOCOL.readings_by_item[one.item]
        if other.id != reading
        and (full := f"{other.id}.{side}" if side else other.id) in case.examined.judged
        and case.drawn.readings[full]
        and case.examined.judged[full]
    ]


def test_the_reading_that_is_weighed_is_always_as_drawn(cases: tuple[PracticeCase, ...]) -> None:
    """Only a later reading of a look gives way, and only where no value says both.

    So does one of several answers of which a person can give one, such as where the pain is.
    """
    group = families_of(SHOULDER).witness_group
    kept = 0
    for case in cases:
        for name, there in case.examined.judged.items():
            reading = name.partition(".")[0]
            if group.get(reading, (reading,))[0] == reading:
                if there != case.drawn.readings[name]:
                    assert rivals(case, name), (case.seed, name)
                    continue
                kept += 1
    assert kept > 200 * len(cases)


def test_every_case_is_a_sound_examination_of_both_sides(cases: tuple[PracticeCase, ...]) -> None:
    for case in cases:
        check_record(case.record, PROTOCOL)
        assert not case.record.conflicts
        slots = [(*f.slot, f.group) for f in case.record.findings if f.value is not None]
        assert len(set(slots)) == len(slots)
        ranges = [f.place for f in case.record.findings if f.group == "range"]
        assert len(set(ranges)) == len(ranges), "a movement is measured or judged by eye, not both"
        places = {(finding.item, finding.side) for finding in case.record.findings}
        for item, side in places:
            if side != "midline":
                assert {(item, "left"), (item, "right")} <= places


def test_passive_is_never_below_active_and_a_locked_arm_is_not_lifted(
    cases: tuple[PracticeCase, ...],
) -> None:
    seen = 0
    for case in cases:
        for item in patient_ways(SHOULDER).movements:
            for side in ("left", "right"):
                active, passive = (case.record.examined(item, side, mode)
                                   for mode in ("active", "passive"))  # fmt: skip
                if active and passive:
                    assert degrees(active[0]) <= degrees(passive[0])
                    seen += 1
    assert seen > 10 * len(cases)


def test_what_cannot_be_reached_is_unable_with_the_reason_and_never_negative(
    cases: tuple[PracticeCase, ...],
) -> None:
    unable = 0
    for case in cases:
        judge = Judge(PROTOCOL, case.record)
        for finding in case.record.findings:
            for reading in PROTOCOL.readings_by_item.get(finding.item, ()):
                verdict = judge.reading(reading, finding.side)
                if finding.status == "unable":
                    assert finding.reason
                    unable += 1
                elif PROTOCOL.item(finding.item).kind("angle") is None:
                    assert verdict.state is not State.NOT_INTERPRETABLE, finding
    assert unable > 20


def test_an_absent_reflex_is_of_the_root_in_trouble(cases: tuple[PracticeCase, ...]) -> None:
    roots = patient_ways(SHOULDER).roots
    assert roots is not None
    seen = 0
    for case in cases:
        for finding in case.record.findings:
            if getattr(finding.value, "reflex", None) != "absent":
                continue
            root = case.drawn.roots[finding.side]
            names = [one.id for one in PROTOCOL.readings_by_item[finding.item]]
            assert any(root in roots.readings[name] for name in names)
            seen += 1
    assert seen > 0


def test_the_story_names_side_and_time_and_no_diagnosis(cases: tuple[PracticeCase, ...]) -> None:
    for case in cases:
        told = case.story.opening.lower()
        sides = case.drawn.person.complaint
        assert ("both shoulders" if len(sides) > 1 else f"{sides[0]} shoulder") in told
        for word in ("frozen", "cuff", "arthritis", "labr", "acromio", "instabil", "polymyalgia"):
            assert word not in told


def test_no_two_seeds_share_complaint_and_findings(cases: tuple[PracticeCase, ...]) -> None:
    told = {(case.story.opening, case.record.findings) for case in cases}
    assert len(told) == len(cases)


def test_a_seed_gives_the_same_file_to_the_byte(cases: tuple[PracticeCase, ...]) -> None:
    assert case_text(practice_case(SHOULDER, 3)) == case_text(cases[3])
    assert case_text(cases[3]) != case_text(cases[4])


def test_case_and_truth_are_what_their_schemas_say(cases: tuple[PracticeCase, ...]) -> None:
    for case in cases[:3]:
        for document in (case_document(case), truth_document(case, SHOULDER)):
            Draft202012Validator(schema_of(document["format"])).validate(document)


@pytest.mark.parametrize(
    "count",
    [pytest.param(150, marks=pytest.mark.slow), pytest.param(1000, marks=pytest.mark.long)],
)
def test_no_two_of_many_seeds_share_complaint_and_findings(count: int) -> None:
    made = (practice_case(SHOULDER, seed) for seed in range(count))
    assert len({(case.story.opening, case.record.findings) for case in made}) == count
