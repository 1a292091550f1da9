"""Ebel's method, Angoff beside what students did, and who fails under each method."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from sidewise.cli import app
from sidewise.errors import UserError
from sidewise.teaching.pass_marks.judged import ebel_mark
from sidewise.teaching.pass_marks.judges_table import read_angoff, read_ebel
from sidewise.teaching.report.as_json import sitting_data
from sidewise.teaching.report.page import report_html
from sidewise.teaching.report.text import marks_text
from sidewise.teaching.sitting.options import SittingOptions
from sidewise.teaching.sitting.reality import judges_reality
from sidewise.teaching.sitting.sitting import Sitting, analyse_sitting
from sidewise.teaching.tables.marks_table import Marks, read_marks
from tests.teaching.conftest import EXAMPLES

WEEK_FILE = EXAMPLES / "teaching_week_marks.csv"
JUDGES = EXAMPLES / "teaching_week_judges.csv"
PLACES, SHARES = EXAMPLES / "teaching_week_places.csv", EXAMPLES / "teaching_week_shares.csv"
EXPECTED = {("essential", "easy"): 0.9, ("essential", "hard"): 0.6, ("additional", "easy"): 0.5}


@pytest.fixture(scope="module")
def marks() -> Marks:
    return read_marks(WEEK_FILE)


@pytest.fixture(scope="module")
def judged(marks: Marks) -> Sitting:
    return analyse_sitting(
        marks,
        SittingOptions(angoff=read_angoff(JUDGES, marks), ebel=read_ebel(PLACES, SHARES, marks)),
    )


def test_ebel_by_hand() -> None:
    # Items of 2, 3 and 5 marks. Judge 1: 2(.9) + 3(.6) + 5(.5) = 6.1; judge 2: 2(.9) + 3(.9) +
    # 5(.6) = 7.5, of 10 marks. Constructed; no published table was at hand.
    one = [("essential", "easy"), ("essential", "hard"), ("additional", "easy")]
    two = [("essential", "easy"), ("essential", "easy"), ("essential", "hard")]
    found = ebel_mark([one, two], EXPECTED, np.array([2.0, 3.0, 5.0]))
    assert found.judge_marks == pytest.approx([61, 75])
    assert found.percent == pytest.approx(68)
    assert found.sd == pytest.approx(np.std([61, 75], ddof=1))
    assert found.se == pytest.approx(found.sd / 2**0.5)
    assert sum(c.items for c in found.cells) == pytest.approx(3)
    assert sum(c.weight for c in found.cells) == pytest.approx(100)


def test_ebel_with_one_cell_is_its_expectation() -> None:
    found = ebel_mark([[("essential", "easy")] * 4] * 3, EXPECTED)
    assert (found.percent, found.sd) == pytest.approx((90, 0))


def test_a_cell_without_expectation_is_refused() -> None:
    with pytest.raises(UserError, match="essential never"):
        ebel_mark([[("essential", "never")]], EXPECTED)


def test_percent_instead_of_a_share_is_refused() -> None:
    with pytest.raises(UserError, match="shares from 0 to 1"):
        ebel_mark([[("essential", "easy")]], {("essential", "easy"): 90.0})


def test_ebel_from_tables_is_the_mean_of_looked_up_shares(marks: Marks) -> None:
    both = pd.read_csv(PLACES).merge(pd.read_csv(SHARES), on=["relevance", "difficulty"])
    items = marks.table.drop_duplicates(["station", "item"])
    worth = items.assign(worth=items["weight"] * items["maximum"])[["station", "item", "worth"]]
    both = both.merge(worth, on=["station", "item"])
    earned = (both["expected"] * both["worth"]).groupby([both["judge"], both["station"]]).sum()
    possible = both["worth"].groupby([both["judge"], both["station"]]).sum()
    expected = 100 * (earned / possible).groupby("judge").mean()
    found = read_ebel(PLACES, SHARES, marks)
    assert found.judge_marks == pytest.approx(expected.tolist())
    assert found.percent == pytest.approx(expected.mean())


def test_a_judge_may_place_an_item_once(marks: Marks, tmp_path: Path) -> None:
    table = pd.read_csv(PLACES)
    path = tmp_path / "places.csv"
    pd.concat([table, table.iloc[[3]]]).to_csv(path, index=False)
    with pytest.raises(UserError, match="one judgement of each item"):
        read_ebel(path, SHARES, marks)


def test_ebel_may_decide(marks: Marks, judged: Sitting) -> None:
    assert judged.options.ebel is not None
    e = analyse_sitting(marks, SittingOptions(method="ebel", ebel=judged.options.ebel))
    assert e.rule.mark == pytest.approx(judged.options.ebel.percent)
    assert "(ebel)" in e.rule.in_force(8)[0]


def test_ebel_needs_its_tables() -> None:
    with pytest.raises(UserError, match="--ebel-shares"):
        SittingOptions(method="ebel")
    done = CliRunner().invoke(app, ["marks", str(WEEK_FILE), "--ebel", str(PLACES)])
    assert done.exit_code != 0


# ---------------------------------------------------------------- reality


def test_reality_is_what_borderline_students_earned(judged: Sitting) -> None:
    table = judged.marks.table
    # Ratings of the week are whole places; borderline is place 1.
    border = table[table["global_rating"] == 1]
    share = (border["mark"] / border["maximum"]).groupby([border["station"], border["item"]]).mean()
    many = border.groupby("station")["student"].nunique()
    found = judges_reality(judged)
    assert found is not None
    # Fewer than five borderline students say nothing of an item.
    assert {i.borderline_n for i in found.items if np.isnan(i.borderline)} <= {0, 1, 2, 3, 4}
    known = [i for i in found.items if not np.isnan(i.borderline)]
    assert len(known) >= 20
    assert [i.borderline for i in known] == pytest.approx([share[i.station, i.item] for i in known])
    assert [i.borderline_n for i in known] == [many[i.station] for i in known]


def test_judges_who_expect_what_happened_agree_fully(marks: Marks, tmp_path: Path) -> None:
    first = judges_reality(
        analyse_sitting(marks, SittingOptions(angoff=read_angoff(JUDGES, marks)))
    )
    assert first is not None
    told = {(i.station, i.item): i.borderline for i in first.items}
    table = pd.read_csv(JUDGES)
    right = [told[key] for key in zip(table["station"], table["item"], strict=True)]
    table["expected"] = np.where(np.isnan(right), table["expected"], right)
    path = tmp_path / "judges.csv"
    table.to_csv(path, index=False)
    again = judges_reality(analyse_sitting(marks, SittingOptions(angoff=read_angoff(path, marks))))
    assert again is not None
    for judge in again.judges:
        assert (judge.lean, judge.apart, judge.link) == pytest.approx((0, 0, 1), abs=1e-9)


def test_no_judges_no_reality(result: Sitting) -> None:
    assert judges_reality(result) is None


def test_methods_judges_and_cells_stand_in_page_text_and_json(judged: Sitting) -> None:
    page = report_html(judged)
    assert "Who fails under each of 5 methods" in page
    assert "Judges beside what students did" in page
    assert "Ebel: relevance and difficulty" in page
    assert "than students rated borderline earned" in " ".join(marks_text(judged).split())
    data = sitting_data(judged)
    assert data["judges"]["judges"][0]["judge"] == "J1"
    assert len(data["ebel"]["cells"]) == 9
