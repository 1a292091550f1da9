"""Counts, likelihood ratios and odds against published two-by-two tables."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sidewise.errors import UserError
from sidewise.evidence.studies.counts import TwoByTwo, count_from_share, counts_agree
from sidewise.evidence.studies.ratios import exact_share, likelihood_ratios, post_test

# Scott et al. 2008, table 1 (the example of the R package epiR); the page prints 0.90, 0.76 and
# 3.75 (3.32 to 4.24), further digits computed from the counts by the formula of Simel 1991.
SCOTT = TwoByTwo(tp=670, fn=74, fp=202, tn=640)
# Liver scan, Altman and Bland, BMJ 1994; 308:1552.
LIVER = TwoByTwo(tp=231, fn=27, fp=32, tn=54)


def test_likelihood_ratios_of_a_published_table_with_their_intervals():
    found = likelihood_ratios(SCOTT)
    positive = (found.positive.estimate, found.positive.low, found.positive.high)
    negative = (found.negative.estimate, found.negative.low, found.negative.high)
    assert positive == pytest.approx((3.75372618, 3.32068844, 4.24323465), abs=5e-9)
    assert negative == pytest.approx((0.13085517, 0.10506432, 0.16297708), abs=5e-9)
    assert found.odds_ratio.estimate == pytest.approx(28.68611, abs=5e-6)


def test_likelihood_ratios_of_the_liver_scan():
    found = likelihood_ratios(LIVER)
    positive = (found.positive.estimate, found.positive.low, found.positive.high)
    negative = (found.negative.estimate, found.negative.low, found.negative.high)
    assert positive == pytest.approx((2.40625, 1.82279063, 3.17646963), abs=5e-9)
    assert negative == pytest.approx((0.16666667, 0.11258966, 0.24671696), abs=5e-9)


def test_exact_limits_of_sensitivity_and_specificity():
    # Clopper and Pearson limits of the same table, as epiR prints them.
    sens, spec = exact_share(670, 744), exact_share(640, 842)
    assert (sens.low, sens.high) == pytest.approx((0.87674618, 0.92109230), abs=5e-9)
    assert (spec.low, spec.high) == pytest.approx((0.72977646, 0.78858032), abs=5e-9)


def test_exact_limits_reach_the_ends_only_at_the_ends():
    assert exact_share(0, 20).low == 0
    assert exact_share(20, 20).high == 1
    assert 0 < exact_share(1, 20).low < exact_share(19, 20).high < 1


def test_a_table_with_an_empty_cell_says_that_it_was_corrected():
    found = likelihood_ratios(TwoByTwo(tp=5, fn=0, fp=0, tn=45))
    assert "0.5" in found.warning
    # 5.5/6 over 0.5/46, by hand.
    assert found.positive.estimate == pytest.approx((5.5 / 6) / (0.5 / 46))


def test_probability_after_a_result_at_another_prevalence():
    # Altman and Bland, BMJ 1994; 309:102 print 0.45 and 0.95 at a prevalence of 0.25.
    ratios = likelihood_ratios(LIVER)
    assert post_test(0.25, ratios.positive.estimate) == pytest.approx(0.44508671, abs=5e-9)
    assert 1 - post_test(0.25, ratios.negative.estimate) == pytest.approx(0.94736842, abs=5e-9)


@pytest.mark.parametrize(
    ("before", "ratio", "after"),
    [
        # Caraguel and Vanderstichel, Evid Based Med 2013; 18:125-128: .02 becomes about 28%.
        (0.02, 18.75, 0.27675277),
        (0.02, 0.26041667, 0.00528653),
        # Plain arithmetic.
        (0.5, 10, 0.90909091),
        (0.1, 5, 0.35714286),
        (0.25, 0.1, 0.03225806),
    ],
)
def test_fagan_type_worked_examples(before, ratio, after):
    assert post_test(before, ratio) == pytest.approx(after, abs=5e-9)


def test_counts_that_cannot_be_are_refused():
    with pytest.raises(UserError, match="four counts, 0 or more"):
        TwoByTwo(tp=-1, fn=2, fp=3, tn=4)
    with pytest.raises(UserError, match="somebody with and somebody without"):
        TwoByTwo(tp=0, fn=0, fp=3, tn=4)


@given(st.integers(1, 2000), st.data())
def test_a_printed_percentage_gives_its_count_back(size, data):
    count = data.draw(st.integers(0, size))
    found = count_from_share(round(count / size, 4), size)
    # Rounding to four digits moves the count by at most 0.00005 * size, here below a person.
    assert abs(found - count) <= 1
    assert counts_agree(round(count / size, 2), count, size)


def test_a_percentage_and_a_count_that_contradict_each_other_are_seen():
    # 77% of 35 is 27 people; 20 would be 57%.
    assert counts_agree(0.77, 27, 35)
    assert not counts_agree(0.77, 20, 35)
