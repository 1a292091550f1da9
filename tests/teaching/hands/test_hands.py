"""Agreement of hands: reading findings, items, exchanged sides, the reporting points."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sidewise.errors import UserError, UserErrors
from sidewise.teaching.examples.example_files import example_findings as example_findings
from sidewise.teaching.hands.grras import grras_points
from sidewise.teaching.hands.hands import Hands, agreement_of_hands
from sidewise.teaching.report.as_json import hands_data, json_text
from sidewise.teaching.report.hands_text import hands_text
from sidewise.teaching.tables.finding_values import as_number, ordered_words
from sidewise.teaching.tables.findings_table import read_findings
from tests.teaching.conftest import EXAMPLES

HEAD = "patient,item,side,examiner,value,reference"


@pytest.fixture(scope="module")
def hands() -> Hands:
    return agreement_of_hands(read_findings(EXAMPLES / "teaching_week_findings.csv"))


def written(folder: Path, *rows: str, head: str = HEAD) -> Path:
    path = folder / "findings.csv"
    path.write_text("\n".join([head, *rows, ""]))
    return path


def saved(folder: Path, frame: pd.DataFrame) -> Path:
    frame.to_csv(folder / "f.csv", index=False)
    return folder / "f.csv"


def test_kinds_are_told_from_values(hands: Hands) -> None:
    kinds = {item.item: item.kind for item in hands.items}
    assert kinds == {
        "tenderness": "sign",
        "painful_arc": "sign",
        "rotation_power": "grade",
        "external_rotation, passive": "measurement",
    }


def test_exchanged_sides_are_found_and_nobody_else_is_blamed(hands: Hands) -> None:
    assert [(s.patient, s.examiner) for s in hands.swapped] == [("CURLEW-3", "E03")]
    assert "Check the sides" in hands.swapped[0].sentence


def test_exchanged_sides_are_found_without_a_reference(tmp_path: Path) -> None:
    frame = example_findings()
    frame = frame[frame["reference"] == ""]
    found = agreement_of_hands(read_findings(saved(tmp_path, frame)))
    assert [(s.patient, s.examiner) for s in found.swapped] == [("CURLEW-3", "E03")]


@pytest.mark.parametrize("seed", range(20, 40))
def test_exchanged_sides_on_unseen_tables(tmp_path: Path, seed: int) -> None:
    # The planted record has up to eight telling findings; whoever is named must be it.
    found = agreement_of_hands(read_findings(saved(tmp_path, example_findings(seed)))).swapped
    assert {(s.patient, s.examiner) for s in found} <= {("CURLEW-3", "E03")}


def test_findings_are_not_exchanged_back(hands: Hands) -> None:
    assert any("sides not exchanged back" in w for w in hands.warnings)


def test_unable_is_missing_not_absent(hands: Hands) -> None:
    assert hands.findings.not_seen == 2
    tenderness = hands.items[0]
    by_name = {a.examiner: a.n for a in tenderness.against}
    assert by_name == {"E01": 28, "E02": 28, "E03": 28, "E04": 27}


def test_sensitivity_by_hand(tmp_path: Path) -> None:
    rows = []
    for i, (true, said) in enumerate([("present",) * 2, ("present", "absent"), ("absent",) * 2]):
        rows += [f"P{i},sign,left,R,{true},yes", f"P{i},sign,left,E1,{said},"]
    found = agreement_of_hands(read_findings(written(tmp_path, *rows))).items[0].against[0]
    assert (found.same, found.n) == (2, 3)
    assert found.sensitivity is not None
    assert found.sensitivity.value == 0.5
    # Clopper-Pearson for 1 of 2.
    assert (found.sensitivity.low, found.sensitivity.high) == pytest.approx(
        (0.012579, 0.987421), abs=1e-6
    )


def test_measurement_against_reference_is_bland_altman(hands: Hands) -> None:
    item = hands.items[3]
    found = item.against[0]
    frame = example_findings().query("item == 'external_rotation'")
    own = frame[frame["examiner"] == "E01"].set_index(["patient", "side"])["value"].astype(float)
    true = frame[frame["reference"] == "yes"].set_index(["patient", "side"])["value"].astype(float)
    assert found.limits is not None
    assert found.limits.mean.value == pytest.approx((own - true).mean())
    assert found.limits.sd == pytest.approx((own - true).std())


def test_prevalence_is_shown(hands: Hands) -> None:
    assert sum(hands.items[0].prevalence.values()) == pytest.approx(1)
    assert "How common: absent" in hands_text(hands)


def test_a_common_category_is_warned_of(tmp_path: Path) -> None:
    rows = [f"P{i},sign,left,E{e},{'present' if i == e else 'absent'}," for i in range(12)
            for e in (1, 2)]  # fmt: skip
    found = agreement_of_hands(read_findings(written(tmp_path, *rows))).items[0]
    assert any("One category dominates" in w for w in found.warnings)
    assert found.among is not None
    assert found.among.gwet.value > 0.5 > found.among.conger.value


def test_all_fifteen_points(hands: Hands) -> None:
    points = grras_points(hands)
    assert [p.number for p in points] == list(range(1, 16))
    assert points[5].known == "14 patients, 4 examiners, 560 findings, one reference examination"
    assert points[2].text.endswith("to be written by the authors")


def test_json(hands: Hands) -> None:
    data = json.loads(json_text(hands_data(hands)))
    assert data["format"] == "sidewise-agreement-report/1"
    assert len(data["items"]) == 4


# ---------------------------------------------------------------- reading


def test_grades_with_signs() -> None:
    assert [as_number(t) for t in ("4-", "4", "4+", "12,5")] == pytest.approx(
        [11 / 3, 4, 13 / 3, 12.5]
    )
    assert np.isnan(as_number("four"))


def test_absent_stands_before_present() -> None:
    assert ordered_words({"present", "absent", "equivocal"}) == ("absent", "equivocal", "present")


def test_record_may_stand_for_patient(tmp_path: Path) -> None:
    path = written(tmp_path, "R1,sign,left,E1,present,", head=HEAD.replace("patient", "record"))
    assert read_findings(path).patients == 1


def test_unknown_side(tmp_path: Path) -> None:
    with pytest.raises(UserErrors, match='row 2, side: got "up", expected left, right or midline'):
        read_findings(written(tmp_path, "P1,sign,up,E1,present,"))


def test_two_references_are_refused(tmp_path: Path) -> None:
    rows = ["P1,sign,left,R1,present,yes", "P1,sign,left,R2,absent,yes", "P1,sign,left,E1,present,"]
    with pytest.raises(UserErrors, match="Only one examination can be the reference"):
        read_findings(written(tmp_path, *rows))


def test_two_findings_of_one_examiner_are_refused(tmp_path: Path) -> None:
    with pytest.raises(UserErrors, match="row 3, value"):
        read_findings(written(tmp_path, "P1,sign,left,E1,present,", "P1,sign,left,E1,absent,"))


def test_reference_alone_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="findings of examiners as well"):
        read_findings(written(tmp_path, "P1,sign,left,R1,present,yes"))


def test_no_patient_column(tmp_path: Path) -> None:
    with pytest.raises(UserError, match=r"also patient \(or record\)"):
        read_findings(written(tmp_path, "sign,E1,present", head="item,examiner,value"))


def test_an_item_nobody_could_examine_is_left_out(tmp_path: Path) -> None:
    rows = ["P1,sign,left,E1,unable,", "P1,other,left,E1,present,"]
    found = read_findings(written(tmp_path, *rows))
    assert [item.item for item in found.items] == ["other"]
    assert "sign: examined by nobody, left out." in found.warnings


def test_words_for_a_grade_are_refused(tmp_path: Path) -> None:
    rows = ["P1,power,left,E1,strong,,grade", "P1,power,left,E2,4,,grade"]
    with pytest.raises(UserErrors, match="a number, as power is a grade"):
        read_findings(written(tmp_path, *rows, head=f"{HEAD},kind"))


def test_one_examiner_one_patient(tmp_path: Path) -> None:
    found = agreement_of_hands(read_findings(written(tmp_path, "P1,sign,left,E1,present,")))
    assert "could not be computed" in found.items[0].sentence
    assert hands_text(found)
