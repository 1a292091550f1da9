"""Pre-test figures of one person."""

import csv

import numpy as np
import pytest

from sidewise.errors import UserError, UserErrors
from sidewise.evidence.pretest.person import Case, pretest_figures
from sidewise.evidence.pretest.table import parse_pretest, pretest_table_of
from sidewise.ground.tables import read_table
from tests.shoulder import CONDITIONS, FOLDER, SHOULDER

REGION = SHOULDER
DIABETES = (("diabetes",), ("no diabetes",))


def figure(case, condition, level=1, side="complaint"):
    return getattr(pretest_figures(REGION, case), side)[CONDITIONS.column_index[condition, level]]


def test_a_person_of_average_age_has_the_figure_of_the_setting():
    # Ottenheijm et al., BMC Fam Pract 2014 (read): 8% full-thickness tears among primary-care
    # referrals; age 50 to 59 is the reference of the age factors. Levels share one total, so
    # that the factor of none of the other levels but 1 leaves the figure as it is.
    assert figure(Case("primary", 55), "cuff", 3) == pytest.approx(0.08)


def test_full_tears_grow_with_age():
    found = [figure(Case("primary", age), "cuff", 3) for age in (25, 35, 45, 55, 65, 75, 85)]
    assert found == sorted(found)


def test_diabetes_multiplies_the_odds_of_a_frozen_shoulder_as_published():
    # Dyer et al., BMJ Open 2023 (read): odds ratio 3.69 with against without diabetes. The factors
    # are rounded to two and three figures, hence 1%.
    odds = [figure(Case("primary", 55, known=known), "frozen") for known in DIABETES]
    ratio = odds[0] / (1 - odds[0]) / (odds[1] / (1 - odds[1]))
    assert ratio == pytest.approx(3.69, rel=0.01)


def test_not_asked_is_neither_yes_nor_no():
    unknown, yes, no = (
        figure(Case("primary", 55, known=known), "frozen") for known in ((), *DIABETES)
    )
    assert no < unknown < yes


def test_polymyalgia_is_not_expected_before_fifty():
    assert figure(Case("primary", 45), "polymyalgia") < 1e-4
    assert figure(Case("primary", 65), "polymyalgia") == pytest.approx(0.02)


def test_a_dislocation_brings_the_axillary_nerve_to_about_three_in_ten():
    # Our judgement between .135 (clinical, Robinson 2012) and .42 (electrodiagnostic, Visser 1999).
    case = Case("emergency", 50, known=("dislocation",))
    assert figure(case, "axillary_nerve") == pytest.approx(0.3, abs=0.02)


def test_a_complaint_free_side_has_the_painless_tears_of_its_age():
    # Moosmayer 2009 (.15) and Minagawa 2013 (.177) for 70 to 79, both read.
    found = figure(Case("primary", 74), "cuff", 3, "free")
    assert 0.15 <= found <= 0.177


def test_draws_keep_the_mean_of_the_figure_and_stay_within_bounds():
    for case in (Case("primary", 30), Case("emergency", 24, "male", known=("dislocation",))):
        found = pretest_figures(REGION, case, 500, 7)
        np.testing.assert_allclose(found.complaint_draws.mean(axis=0), found.complaint, atol=1e-9)
        totals = [found.complaint_draws[:, part].sum(axis=1) for part in CONDITIONS.slices.values()]
        assert max(total.max() for total in totals) < 1
        assert found.before_draws.min() >= 0


def test_conditions_of_the_person_are_the_same_on_both_kinds_of_side():
    found = pretest_figures(REGION, Case("primary", 66), 50, 1)
    column = CONDITIONS.column_index["polymyalgia", 1]
    np.testing.assert_array_equal(found.complaint_draws[:, column], found.free_draws[:, column])


def test_the_same_seed_gives_the_same_draws():
    first = pretest_figures.__wrapped__(REGION, Case("primary", 58), 40, 5)
    again = pretest_figures.__wrapped__(REGION, Case("primary", 58), 40, 5)
    np.testing.assert_array_equal(first.before_draws, again.before_draws)


def test_nothing_is_conditioned_where_nobody_complains():
    found = pretest_figures(REGION, Case("primary", 58, complaint_sides=0), 40, 5)
    np.testing.assert_array_equal(found.before_draws, found.complaint_draws)


@pytest.mark.parametrize("age", [17, 18])
def test_under_eighteen_there_is_a_warning(age):
    warnings = pretest_figures(REGION, Case("primary", age)).warnings
    assert bool(warnings) == (age < 18)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"setting": "ward"}, "setting: got \"ward\""),
        ({"age": float("nan")}, "years from 0 to 120"),
        ({"age": -1}, "years from 0 to 120"),
        ({"complaint_sides": 3}, "0, 1 or 2"),
    ],
)  # fmt: skip
def test_an_impossible_case_is_refused(change, message):
    with pytest.raises(UserError, match=message):
        Case(**({"setting": "primary", "age": 50} | change))


TABLE = read_table(FOLDER / "pretest.csv")


def changed(**cells):
    return [TABLE[0] | cells, *TABLE[1:]]


@pytest.mark.parametrize(
    ("cells", "message"),
    [
        ({"value": "1.2"}, "low <= value <= high"),
        ({"low": "0"}, "0 < low"),
        ({"high": "1"}, "a probability below 1"),
        ({"source": ""}, "a source"),
        ({"mark": "rumour"}, "expected one of"),
        ({"condition": "gout"}, "a condition of the network"),
        ({"setting": "ward"}, "A base figure is of one setting"),
        ({"kind": "guess"}, "one of base"),
    ],
)
def test_an_impossible_prior_is_refused_with_its_row(cells, message):
    with pytest.raises(UserErrors, match=message) as caught:
        parse_pretest(changed(**cells), CONDITIONS)
    assert "P001" in caught.value.message


def test_a_missing_base_figure_is_refused():
    with pytest.raises(UserError, match="one figure for each setting"):
        parse_pretest(TABLE[1:], CONDITIONS)


def test_levels_that_sum_to_more_than_one_are_refused():
    with pytest.raises(UserError, match="levels that sum to below 1"):
        parse_pretest(changed(value="0.9", high="0.95"), CONDITIONS)


def test_every_pretest_figure_has_a_source_and_one_mark():
    rows = pretest_table_of(REGION).rows
    with (FOLDER / "pretest.csv").open(newline="") as handle:
        assert len(rows) == len(list(csv.DictReader(handle))) == 238
    assert all(row.source and row.mark for row in rows)
