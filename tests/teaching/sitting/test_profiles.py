"""Students' profiles by station, domain and stage, and what to practise."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from sidewise.errors import UserError
from sidewise.teaching.examples.teaching_week import TeachingWeek
from sidewise.teaching.sitting.profiles import StudentProfile, student_profiles
from sidewise.teaching.sitting.sitting import Sitting, analyse_sitting
from sidewise.teaching.tables.marks_table import marks_from_frame


@pytest.fixture(scope="module")
def staged(week: TeachingWeek) -> Sitting:
    """Odd items are talk, even ones touch, the last of each station the close."""
    table = week.marks
    number = table["item"].str[1:].astype(int)
    last = table.groupby("station")["item"].transform("max")
    stage = np.where(table["item"] == last, "close", np.where(number % 2 == 1, "talk", "touch"))
    half = np.where(table["station"].isin(["history", "explain"]), "words", "hands")
    return analyse_sitting(marks_from_frame(table.assign(stage=stage, domain=half)))


def one(e: Sitting, student: str) -> StudentProfile:
    return next(p for p in student_profiles(e) if p.student == student)


def test_stations_stand_beside_pass_mark_and_quartiles(result: Sitting) -> None:
    found = one(result, "S05").of("station")
    place = result.table.students.index("S05")
    assert [p.own for p in found] == result.table.score[place].tolist()
    assert [p.standard for p in found] == [s.line.cut.value for s in result.stations]
    quartiles = np.percentile(result.table.score[:, 0], [25, 50, 75])
    assert [found[0].low, found[0].middle, found[0].high] == pytest.approx(quartiles.tolist())


def test_a_stage_is_its_items_by_hand(staged: Sitting) -> None:
    # Weighted marks: percent of a station's marks, summed over stations.
    table = staged.marks.table
    table = table.assign(mark=table["mark"] * table["weight"],
                         maximum=table["maximum"] * table["weight"])  # fmt: skip
    own = table[(table["student"] == "S07") & (table["stage"] == "touch")]
    whole = table[table["student"] == "S07"].groupby("station")["maximum"].sum()
    share = (own["mark"] / own["station"].map(whole)).sum()
    most = (own["maximum"] / own["station"].map(whole)).sum()
    found = next(p for p in one(staged, "S07").of("stage") if p.name == "touch")
    assert found.own == pytest.approx(100 * share / most)


def test_stages_of_a_station_add_up_to_its_pass_mark(week: TeachingWeek) -> None:
    # Least-squares lines are linear in the marks, so parts add up to the whole.
    table = week.marks[week.marks["station"] == "look"]
    both = pd.concat([table, week.marks[week.marks["station"] == "move"]])
    stage = np.where(both["item"].str[1:].astype(int) % 2 == 1, "a", "b")
    stage = np.where(both["station"] == "move", "elsewhere", stage)
    e = analyse_sitting(marks_from_frame(both.assign(stage=stage)))
    weighted = table["maximum"] * table["weight"]
    worth = weighted.groupby(table["item"].str[1:].astype(int) % 2 == 1).sum()
    share = worth / worth.sum()
    parts = {p.name: p.standard for p in student_profiles(e)[0].of("stage")}
    whole = parts["a"] * share[True] + parts["b"] * share[False]
    assert whole == pytest.approx(e.stations[0].line.cut.value)
    assert parts["elsewhere"] == pytest.approx(e.stations[1].line.cut.value)


def test_a_domain_is_the_mean_of_its_stations_with_its_error(staged: Sitting) -> None:
    words = one(staged, "S09").of("domain")
    place = [staged.table.stations.index(s) for s in ("history", "explain")]
    row = staged.table.score[staged.table.students.index("S09")]
    found = next(p for p in words if p.name == "words")
    assert found.own == pytest.approx(row[place].mean())
    assert found.error > 0
    assert found.standing in ("below the standard", "at or above the standard")


def test_three_things_to_practise_lowest_first(result: Sitting) -> None:
    for profile in student_profiles(result):
        assert len(profile.practise) <= 3
        below = [p.below for p in profile.practise]
        assert below == sorted(below, reverse=True)
        assert all(b > 0 for b in below)


def test_items_to_practise_cost_more_than_the_class(result: Sitting) -> None:
    # By hand: of the station the items in which the class earned at least 15% more.
    table = result.marks.table
    share = table.assign(share=table["mark"] / table["maximum"])
    for profile in student_profiles(result)[:12]:
        for point in profile.practise:
            here = share[share["station"] == point.name]
            class_mean = here.groupby("item")["share"].mean()
            own = here[here["student"] == profile.student].set_index("item")["share"]
            assert all(class_mean[i] - own[i] >= 0.15 for i in point.items)


def test_stages_are_practised_by_name_where_there_are_three(staged: Sitting) -> None:
    kinds = {p.kind for profile in student_profiles(staged) for p in profile.practise}
    assert kinds == {"stage"}


def test_a_blank_mark_leaves_the_stage_unknown(week: TeachingWeek) -> None:
    table = week.marks.assign(stage=week.marks["station"])
    blank = (table["student"] == "S01") & (table["station"] == "look")
    row = table.index[blank][0]
    table.loc[row, "mark"] = np.nan
    found = {p.name: p for p in one(analyse_sitting(marks_from_frame(table)), "S01").of("stage")}
    assert np.isnan(found["look"].own)
    assert found["look"].standing == ""
    assert np.isfinite(found["move"].own)


def test_an_item_in_two_stages_is_refused(week: TeachingWeek) -> None:
    stage = ["look", "feel"] * (len(week.marks) // 2)
    # Rows of one item alternate between the two only if it has an odd number of items before it.
    table = week.marks.sort_values(["station", "item"]).assign(stage=stage)
    with pytest.raises(UserError, match="stage"):
        marks_from_frame(table)
