"""Nothing simulated passes for a patient; wishes that contradict one another are refused."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from sidewise import cli
from sidewise.errors import UserError, UserErrors
from sidewise.practice import CaseWishes, PracticeCase, practice_case
from sidewise.practice.case_file import (
    NOTICE,
    case_document,
    case_text,
    check_truth,
    read_case,
    truth_text,
)
from sidewise.record import parse_record, read_record, record_json
from tests.shoulder import REGIONS, SHOULDER


@pytest.fixture(scope="module")
def case() -> PracticeCase:
    return practice_case(SHOULDER, 7, CaseWishes(present=("frozen",), flags=("systemic_symptoms",)))


@pytest.fixture
def path(case: PracticeCase, tmp_path: Path) -> Path:
    found = tmp_path / "case.json"
    found.write_text(case_text(case), encoding="utf-8")
    return found


def test_the_bedside_refuses_a_case_and_says_how_to_read_it(path: Path) -> None:
    with pytest.raises(UserError, match=r"simulated case for practice, and no patient.*--case"):
        read_record(path, REGIONS)
    with pytest.raises(UserError, match="simulated case"):
        parse_record(path.read_text(), REGIONS)


@pytest.mark.parametrize("command", ["check", "interpret", "note", "follow"])
def test_no_command_takes_a_case_for_a_patient(command: str, path: Path) -> None:
    found = CliRunner().invoke(cli.app, [command, str(path)])
    assert isinstance(found.exception, UserError)
    assert "no patient" in found.exception.message


def test_the_examination_inside_is_refused_too(case: PracticeCase) -> None:
    with pytest.raises(UserError, match="kept apart from patients"):
        parse_record(record_json(case.record), REGIONS)


def test_asked_for_as_a_case_it_is_checked_and_marked(path: Path) -> None:
    found = CliRunner().invoke(cli.app, ["check", "--case", str(path)])
    assert found.exit_code in (0, 1), found.output
    assert NOTICE in found.stdout
    assert "valid" in found.stdout


def test_an_examination_is_no_case() -> None:
    with pytest.raises(UserError, match="Without --case an examination is read"):
        read_case(Path("examples/frozen.json"), REGIONS)


def test_the_case_holds_nothing_of_its_truth(case: PracticeCase) -> None:
    told = json.dumps({**case_document(case), "findings": []})
    assert "frozen" not in told
    assert set(case_document(case)) & {"asked_for", "conditions", "readings"} == set()


def test_a_truth_that_was_edited_is_noticed(case: PracticeCase, path: Path, tmp_path: Path) -> None:
    truth = tmp_path / "truth.json"
    truth.write_text(truth_text(case, SHOULDER), encoding="utf-8")
    check_truth(truth, path)
    truth.write_text(truth.read_text().replace('"frozen"', '"acj"'), encoding="utf-8")
    with pytest.raises(UserError, match="changed after it was written"):
        check_truth(truth, path)


def test_a_truth_of_another_case_is_noticed(case: PracticeCase, path: Path, tmp_path: Path) -> None:
    truth = tmp_path / "truth.json"
    truth.write_text(truth_text(case, SHOULDER), encoding="utf-8")
    path.write_text(path.read_text().replace("left", "right"), encoding="utf-8")
    with pytest.raises(UserError, match="not of one case"):
        check_truth(truth, path)


def test_a_case_of_another_knowledge_version_opens_and_says_so(path: Path) -> None:
    document = json.loads(path.read_text())
    path.write_text(json.dumps({**document, "knowledge_version": "0123456789ab"}))
    assert any("0123456789ab" in warning for warning in read_case(path, REGIONS).warnings)


@pytest.mark.parametrize("text", ["", "[]", "{", '{"format": "sidewise-case/1"}'])
def test_what_is_no_case_is_said(text: str, tmp_path: Path) -> None:
    found = tmp_path / "odd.json"
    found.write_text(text)
    with pytest.raises(UserError):
        read_case(found, REGIONS)


def test_what_was_wished_is_there(case: PracticeCase) -> None:
    (side, *_) = case.drawn.person.complaint
    assert case.drawn.levels[f"frozen.{side}"] == 1
    assert "systemic_symptoms" in case.raised


@pytest.mark.parametrize(
    ("wishes", "said"),
    [
        (CaseWishes(present=("frozen",), absent=("frozen",)), "both present and absent"),
        (CaseWishes(present=("gh_arthritis",), age=19), "at least 25 with gh_arthritis"),
        (CaseWishes(age=12), "years from 18"),
        (CaseWishes(flags=("none", "systemic_symptoms")), "flags, or none"),
        (CaseWishes(present=("freezing",)), "a condition that can be drawn"),
        (CaseWishes(present=("cuff:huge",)), "partial-thickness tear"),
        (CaseWishes(flags=("dragon",)), "or none"),
        (CaseWishes(setting="moon"), "primary"),
        (CaseWishes(difficulty="cruel"), "easy, usual, hard"),
    ],
)
def test_wishes_that_cannot_be_are_refused_in_words(wishes: CaseWishes, said: str) -> None:
    with pytest.raises(UserErrors, match=said):
        practice_case(SHOULDER, 1, wishes)


def test_the_command_writes_case_and_truth_apart(tmp_path: Path) -> None:
    case, truth = tmp_path / "case.json", tmp_path / "truth.json"
    words = ["case", "--seed", "11", "--with", "acj", "--without", "others", "--to", str(case),
             "--truth", str(truth)]  # fmt: skip
    found = CliRunner().invoke(cli.app, words)
    assert found.exit_code == 0, found.output
    asked = CliRunner().invoke(cli.app, ["check", "--case", str(case), "--truth", str(truth)])
    assert asked.exit_code in (0, 1), asked.output
    complaint = json.loads(case.read_text())["context"]["complaint"]
    there = json.loads(truth.read_text())["conditions"]
    assert {one["condition"] for one in there if one["side"] in complaint} == {"acj"}


def test_a_condition_of_the_young_is_drawn_in_adults() -> None:
    wishes = CaseWishes(present=("anterior_instability",), absent=("others",))
    ages = [practice_case(SHOULDER, seed, wishes).drawn.person.age for seed in range(50000, 50008)]
    assert min(ages) >= 18


def test_hard_is_more_misleading_than_easy() -> None:
    from sidewise.practice.patient_truth import log_truth, network_of
    from sidewise.practice.wishes import Fixed

    told = {}
    for difficulty in ("easy", "hard"):
        made = practice_case(SHOULDER, 5, CaseWishes(difficulty=difficulty, age=60))
        told[difficulty] = log_truth(network_of(SHOULDER, made.drawn.person, Fixed({})), made.drawn)
    assert told["hard"] < told["easy"]
