"""Judges' tables for Angoff's method, in one round and in several."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from sidewise.errors import UserError
from sidewise.teaching.pass_marks.judges_table import read_angoff
from sidewise.teaching.tables.marks_table import Marks, read_marks
from tests.teaching.conftest import EXAMPLES

JUDGES = EXAMPLES / "teaching_week_judges.csv"


@pytest.fixture(scope="module")
def marks() -> Marks:
    return read_marks(EXAMPLES / "teaching_week_marks.csv")


def test_one_round_is_the_mean_of_judges_by_stations(marks: Marks) -> None:
    judged = pd.read_csv(JUDGES)
    items = marks.table.drop_duplicates(["station", "item"])
    worth = (items["weight"] * items["maximum"]).to_numpy()
    items = items.assign(share=worth)
    both = judged.merge(items[["station", "item", "share"]], on=["station", "item"])
    earned = (both["expected"] * both["share"]).groupby([both["judge"], both["station"]]).sum()
    possible = both["share"].groupby([both["judge"], both["station"]]).sum()
    assert read_angoff(JUDGES, marks).percent == pytest.approx(100 * (earned / possible).mean())


def test_the_last_round_decides_and_each_is_told(marks: Marks, tmp_path: Path) -> None:
    first = pd.read_csv(JUDGES)
    centre = first.groupby(["station", "item"])["expected"].transform("mean")
    second = first.assign(expected=(first["expected"] + centre) / 2)
    path = tmp_path / "judges.csv"
    pd.concat([first.assign(round=1), second.assign(round=2)]).to_csv(path, index=False)
    found = read_angoff(path, marks)
    once = read_angoff(JUDGES, marks)
    # Every judge went half way to the mean: the mark stays, the spread between judges is halved.
    assert found.percent == pytest.approx(once.percent)
    assert found.sd == pytest.approx(once.sd / 2)
    assert [w.split(":")[0] for w in found.warnings] == ["Angoff, round 1", "Angoff, round 2"]


def test_a_judgement_that_lacks_is_named(marks: Marks, tmp_path: Path) -> None:
    path = tmp_path / "judges.csv"
    pd.read_csv(JUDGES).iloc[1:].to_csv(path, index=False)
    with pytest.raises(UserError, match="no judgement of"):
        read_angoff(path, marks)
