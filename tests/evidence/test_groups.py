"""Rows become groups of people, each of whom is counted once."""

import csv

import pytest

from sidewise.errors import UserError, UserErrors
from sidewise.evidence.fit.case_mix import case_mixes_of
from sidewise.evidence.studies.groups import study_groups
from sidewise.evidence.studies.rows import accuracy_rows_of, parse_rows
from tests.shoulder import CONDITIONS, FOLDER, SHOULDER

REGION = SHOULDER
MIXES = case_mixes_of(REGION)
READINGS = {"some_sign"}
with (FOLDER / "accuracy.csv").open(newline="") as handle:
    COLUMNS = next(csv.reader(handle))

PLAIN = {
    "row": "X1", "condition": "any tear", "manoeuvre": "sign", "positive_means": "pain",
    "reading": "some_sign", "target": "cuff:2,3", "groups": "both", "case_mix": "surgical",
    "series": "S 2000", "study": "S", "year": "2000", "n": "100", "n_diseased": "40",
    "n_nondiseased": "60", "sizes_mark": "read", "sens_used": "0.75", "sens_mark": "read",
    "spec_used": "0.8", "spec_mark": "read", "mark": "read", "weight": "1", "use": "fit",
    "have": "read: somewhere",
}  # fmt: skip


def rows(*changes):
    table = [dict.fromkeys(COLUMNS, "") | PLAIN | change for change in changes]
    return parse_rows(table, CONDITIONS, READINGS)


def groups(*changes):
    return study_groups(rows(*changes), MIXES)


def cuff(group):
    return group.levels[CONDITIONS.slices["cuff"]].round(3).tolist()


def test_a_row_gives_people_with_and_without_the_target():
    sick, well = groups({})
    assert (sick.positive, sick.size, sick.diseased) == (30, 40, True)
    assert (well.positive, well.size, well.diseased) == (12, 60, False)


def test_within_a_target_the_levels_keep_the_proportions_of_the_setting():
    sick, well = groups({})
    # The surgical mix has .05, .15 and .30 of the three levels: .15/.45 and .30/.45; .05/.55.
    assert cuff(sick) == [0, 0.333, 0.667]
    assert cuff(well) == [0.091, 0, 0]


def test_other_conditions_stay_at_the_mix_of_the_setting():
    sick, _ = groups({})
    column = CONDITIONS.column_index["frozen", 1]
    assert sick.levels[column] == MIXES.mix("surgical")[column]


def test_overlapping_targets_of_one_series_become_disjoint_groups():
    found = groups(
        {"row": "X1", "target": "cuff:1,2,3"},
        {"row": "X2", "target": "cuff:3", "n_diseased": "15", "n_nondiseased": "85"},
        {"row": "X3", "target": "cuff:2", "n_diseased": "10", "n_nondiseased": "90"},
    )
    sizes = {group.label: group.size for group in found}
    assert sizes == {"without": 60, "with (3,)": 15, "with (2,)": 10, "with (1,)": 15}
    assert sum(sizes.values()) == 100


def test_what_narrow_targets_leave_keeps_the_positives_of_the_whole():
    found = groups(
        {"row": "X1", "target": "cuff:1,2,3"},
        {"row": "X2", "target": "cuff:3", "n_diseased": "15", "sens_used": "0.8"},
    )
    assert sum(group.positive for group in found if group.diseased) == 30


def test_overlapping_targets_without_a_widest_one_are_refused():
    with pytest.raises(UserError, match="overlapping targets"):
        groups({"row": "X1", "target": "cuff:1,2"}, {"row": "X2", "target": "cuff:2,3"})


def test_a_named_comparison_group_has_that_condition_alone():
    sick, first, second = groups(
        {"target": "frozen:1", "rest": "alone acj:1=7/66; healthy=3/150", "alone": "yes"}
    )
    assert (first.positive, first.size, second.positive, second.size) == (7, 66, 3, 150)
    assert first.levels.sum() == 1
    assert second.levels.sum() == 0
    assert sick.levels.sum() == 1


def test_a_series_with_several_comparisons_counts_its_patients_once():
    found = groups(
        {"row": "X1", "target": "neck_root:1", "groups": "diseased"},
        {"row": "X2", "target": "neck_root:1", "groups": "rest", "rest": "alone acj:1"},
        {"row": "X3", "target": "neck_root:1", "groups": "rest", "rest": "healthy"},
    )
    assert sum(group.diseased for group in found) == 1


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"study": ""}, "a study, its year"),
        ({"mark": "hearsay"}, "got \"hearsay\", expected one of"),
        ({"mark": "read, memory"}, "expected one of"),
        ({"sens_mark": ""}, "sens_mark"),
        ({"reading": ""}, "a reading, or a reason"),
        ({"reading": "no_such_sign"}, "a known reading"),
        ({"target": ""}, "a reading and a target"),
        ({"target": "cuff:4"}, "a condition of the network and its levels"),
        ({"target": "infection:1"}, "a condition of the network and its levels"),
        ({"use": "display"}, "why a row is display"),
        ({"use": "perhaps"}, "one of fit, display, left out"),
        ({"sens_used": "75"}, "a number from 0 to 1"),
        ({"sens_used": "nan"}, "a finite number"),
        ({"tp": "20", "fn": "20"}, "counts that give the printed share back"),
        ({"tp": "90", "fn": "30", "fp": "12", "tn": "48"}, "at least the 180 people"),
        ({"tp": "-3"}, "a whole number"),
        ({"weight": "0.5"}, "why in weight_why"),
        ({"sens_used": "", "spec_used": "", "sens_mark": "", "spec_mark": ""}, "a figure with"),
    ],
)  # fmt: skip
def test_a_row_that_cannot_be_used_is_refused_with_its_name(change, message):
    with pytest.raises(UserErrors, match=message) as caught:
        rows(change)
    assert "X1" in caught.value.message


def test_all_bad_rows_are_reported_at_once():
    with pytest.raises(UserErrors) as caught:
        rows({"row": "X1", "study": ""}, {"row": "X2", "use": "perhaps"}, {"row": "X3"})
    assert len(caught.value.errors) == 2


def test_every_row_of_the_region_attaches_to_a_reading_or_says_why_not():
    found = accuracy_rows_of(REGION).rows
    assert len(found) == 480
    assert all(row.reading or row.why_not for row in found)
    assert all(row.why_not for row in found if row.use != "fit")
    assert len(accuracy_rows_of(REGION).fitted) == 324


def test_no_study_is_counted_with_more_people_than_it_had():
    rows = accuracy_rows_of(REGION).fitted
    named = {(row.series, row.reading) for row in rows if row.groups != "both"}
    printed: dict[tuple[str, str], int] = {}
    for row in rows:
        if row.n.isdigit():
            key = (row.series, row.reading)
            printed[key] = max(printed.get(key, 0), int(row.n))
    counted = dict.fromkeys(printed, 0)
    for group in study_groups(accuracy_rows_of(REGION), MIXES):
        if (group.series, group.reading) in counted:
            counted[group.series, group.reading] += group.size
    checked = [key for key in printed if key not in named]
    # Papers print patients and count shoulders: up to a fifth more.
    assert [key for key in checked if counted[key] > 1.2 * printed[key]] == []
    assert len(checked) > 200


def test_series_with_named_comparisons_add_up_to_the_people_printed():
    found = study_groups(accuracy_rows_of(REGION), MIXES)
    people = {
        series: sum(group.size for group in found if group.series == series)
        for series in ("Gumina 2013", "Carbone 2010")
    }
    # Gumina 2013: 305 with root disease, 903 + 155 + 101 + 55 + 48 others, 350 healthy. Carbone
    # 2010: 85 frozen, 465 + 48 + 16 + 66 others, 150 healthy.
    assert people == {"Gumina 2013": 1917, "Carbone 2010": 830}
