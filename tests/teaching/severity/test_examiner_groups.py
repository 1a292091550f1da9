"""Effect sizes of groups, and examiners who mark a group unlike."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.meta_analysis import effectsize_smd

from sidewise.errors import UserError
from sidewise.teaching.report.as_json import sitting_data
from sidewise.teaching.report.page import report_html
from sidewise.teaching.report.text import marks_text
from sidewise.teaching.severity.examiner_groups import examiner_group_gaps
from sidewise.teaching.severity.group_comparison import compare_groups, hedges_g
from sidewise.teaching.sitting.sitting import analyse_sitting
from sidewise.teaching.tables.marks_table import marks_from_frame


def sitting(seed: int, bias: float = 0.0, ability: float = 0.0, students: int = 96) -> pd.DataFrame:
    """Two groups, eight stations, two examiners each; E00 takes `bias` points from group b."""
    rng = np.random.default_rng(seed)
    rows = []
    for i in range(students):
        group = "a" if i % 3 else "b"
        level = rng.normal(60, 7) - (ability if group == "b" else 0)
        for j in range(8):
            who = 2 * j + (i // 3 + j) % 2
            score = level + rng.normal(0, 9) - (bias if group == "b" and who == 0 else 0)
            rows.append((f"s{i:03d}", f"t{j}", f"E{who:02d}", group, score))
    return pd.DataFrame(rows, columns=["student", "station", "examiner", "group", "score"])


def test_effect_size_is_statsmodels() -> None:
    rng = np.random.default_rng(1)
    one, rest = rng.normal(1, 2, 14), rng.normal(0, 3, 31)
    found = hedges_g(one, rest)
    g, variance = effectsize_smd(one.mean(), one.std(ddof=1), 14, rest.mean(), rest.std(ddof=1), 31)
    assert found.value == pytest.approx(g)
    assert found.high - found.value == pytest.approx(1.959964 * variance**0.5, rel=1e-4)


def test_groups_carry_their_effect() -> None:
    found = {g.group: g for g in compare_groups(sitting(2, ability=6.0), "group").groups}
    assert found["a"].effect is not None
    assert found["b"].effect is not None
    assert found["a"].effect == pytest.approx(-found["b"].effect)
    assert found["b"].effect < -0.3


def test_an_examiner_who_marks_a_group_down_is_found_and_its_size() -> None:
    found = examiner_group_gaps(sitting(3, bias=16.0), "group")
    named = [g for g in found if g.verdict == "look at these marks"]
    assert [g.examiner for g in named] == ["E00"]
    # Group a is shown: it gets more than b from this examiner.
    assert named[0].group == "a"
    assert named[0].low < 16 < named[0].high


def test_a_difference_of_ability_is_no_examiners_doing() -> None:
    found = examiner_group_gaps(sitting(4, ability=10.0), "group")
    assert len(found) == 16
    assert all(g.verdict == "no gap seen" for g in found)


def test_nobody_is_named_in_five_of_a_hundred_fair_sittings() -> None:
    # Family-wise 5%, 400 sittings: at most 5% + 2 standard errors of 1.1%.
    named = [
        any(g.verdict == "look at these marks" for g in examiner_group_gaps(sitting(s), "group"))
        for s in range(100, 500)
    ]
    assert np.mean(named) <= 0.072


def test_small_groups_are_not_shown() -> None:
    table = sitting(5, students=24)
    assert examiner_group_gaps(table, "group") == ()


def test_a_column_is_asked_for() -> None:
    with pytest.raises(UserError, match="examiner"):
        examiner_group_gaps(sitting(1).drop(columns="examiner"), "group")


def test_it_stands_in_text_page_and_json() -> None:
    table = sitting(3, bias=25.0)
    table["mark"] = table["score"].clip(0, 100)
    marks = table.drop(columns="score").assign(maximum=100)
    e = analyse_sitting(marks_from_frame(marks))
    assert "E00 gave a +" in marks_text(e)
    assert "Examiners to look at: E00" in report_html(e)
    assert "Hedges" in report_html(e)
    assert len(sitting_data(e)["examiner_groups"]) == 16
