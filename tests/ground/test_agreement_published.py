"""Chance-corrected agreement against published tables and other programs' results."""

from __future__ import annotations

import numpy as np
import pytest

from sidewise.ground.agreement.categories import (
    Agreement,
    brennan_prediger,
    cohen_table,
    fleiss_by_category,
    fleiss_kappa,
    krippendorff_alpha,
    light_kappa,
    rater_agreement,
)
from sidewise.ground.agreement.weights import agreement_weights, from_disagreement

# Fleiss JL, Psychol Bull 1971;76:378-382: 30 patients, six raters, counts in the order depression,
# personality disorder, schizophrenia, neurosis, other (documentation of the R package irr).
FLEISS_1971 = (
    "00060 03003 01401 00006 03030 20400 00402 20310 20040 00006 10050 11040 03300 10050 02031 "
    "00501 30012 51000 02040 10203 00006 01050 02013 20040 10041 05010 40002 02040 10500 00006"
)
COUNTS = np.array([[int(c) for c in group] for group in FLEISS_1971.split()], dtype=float)
# The shipped data list a patient's ratings in the order of the categories.
RATINGS = np.array([np.repeat(np.arange(5), row.astype(int)) for row in COUNTS], dtype=float)

# Standard encyclopaedia example, from memory: ten subjects, 14 raters, five categories.
FOURTEEN = np.array(
    [
        [0, 0, 0, 0, 14], [0, 2, 6, 4, 2], [0, 0, 3, 5, 6], [0, 3, 9, 2, 0], [2, 2, 8, 1, 1],
        [7, 7, 0, 0, 0], [3, 2, 6, 3, 0], [2, 5, 3, 2, 2], [6, 5, 2, 1, 0], [0, 2, 2, 3, 7],
    ],
    dtype=float,
)  # fmt: skip

# Gwet KL, Handbook of Inter-Rater Reliability, 4th ed., 2014, p 120 (also Krippendorff's example).
MISSING = (
    "1 1 . 1 / 2 2 3 2 / 3 3 3 3 / 3 3 3 3 / 2 2 2 2 / 1 2 3 4 / 4 4 4 4 / 1 1 2 1 / 2 2 2 2 / "
    ". 5 5 5 / . . 1 1 / . . 3 ."
)
GWET_120 = np.array(
    [[np.nan if c == "." else float(c) for c in row.split()] for row in MISSING.split("/")]
)

# Cohen J, Psychol Bull 1968;70:213-220: proportions of 200.
COHEN_1968 = np.array([[0.44, 0.07, 0.09], [0.05, 0.20, 0.05], [0.01, 0.03, 0.06]])


@pytest.fixture(scope="module")
def fleiss_1971() -> Agreement:
    return rater_agreement(RATINGS)


def test_fleiss_kappa_of_1971(fleiss_1971: Agreement) -> None:
    # irr 0.84.1 prints 0.43024452; published 0.430.
    assert fleiss_1971.fleiss.value == pytest.approx(0.43024452, abs=5e-9)


def test_conger_exact_kappa_of_1971(fleiss_1971: Agreement) -> None:
    assert fleiss_1971.conger.value == pytest.approx(0.44180854, abs=5e-9)


def test_light_kappa_of_1971() -> None:
    assert light_kappa(RATINGS) == pytest.approx(0.459, abs=5e-4)


def test_fleiss_z_and_categories_of_1971() -> None:
    found = fleiss_by_category(COUNTS)
    assert found.z == pytest.approx(17.6518306, abs=5e-8)
    assert found.kappa == pytest.approx([0.245, 0.245, 0.520, 0.471, 0.566], abs=5e-4)


def test_fourteen_raters_fleiss() -> None:
    # statsmodels 0.15; published 0.210.
    assert fleiss_kappa(FOURTEEN, np.eye(5)).value == pytest.approx(0.20993070, abs=5e-9)


def test_fourteen_raters_free_marginals() -> None:
    found = brennan_prediger(FOURTEEN, np.eye(5))
    assert found.value == pytest.approx(0.22252747, abs=5e-9)


@pytest.mark.parametrize(
    ("name", "value", "se"),
    [
        ("fleiss", 0.4139265, 0.0811929),
        ("gwet", 0.44480073, 0.08418757),
        ("krippendorff", 0.42043843, None),
    ],
)
def test_first_fifteen_patients(name: str, value: float, se: float | None) -> None:
    # irrCAC, distribution form. Its standard error of Krippendorff's alpha here (0.08243228) takes
    # the chance term once where its form for raw ratings takes it twice: not an anchor; see
    # `test_krippendorff_error_is_that_of_the_jackknife`.
    found = getattr(rater_agreement(RATINGS[:15]), name)
    assert found.value == pytest.approx(value, abs=5e-8)
    if se is not None:
        assert found.se == pytest.approx(se, abs=5e-8)


def test_ac1_interval_uses_t() -> None:
    found = rater_agreement(RATINGS[:15]).gwet
    assert (found.low, found.high) == pytest.approx((0.264, 0.625), abs=5e-4)


@pytest.mark.parametrize(
    ("name", "value", "se", "observed", "expected"),
    [
        ("gwet", 0.77544, 0.14295, 0.81818182, 0.19032118),
        ("krippendorff", 0.74342, 0.14557, 0.805, 0.24),
        ("fleiss", 0.76117, 0.15302, 0.81818182, 0.23871528),
        ("conger", 0.76282, 0.14917, 0.81818182, 0.23342516),
        ("brennan_prediger", 0.77273, 0.14472, 0.81818182, 0.2),
    ],
)
def test_missing_ratings(
    name: str, value: float, se: float, observed: float, expected: float
) -> None:
    # irrCAC on raw ratings, printed to five decimals.
    found = getattr(rater_agreement(GWET_120), name)
    assert (found.value, found.se) == pytest.approx((value, se), abs=5.1e-6)
    assert (found.observed, found.expected) == pytest.approx((observed, expected), abs=5e-9)


def test_missing_ratings_quadratic_weights() -> None:
    found = rater_agreement(GWET_120, agreement_weights(5, "quadratic")).gwet
    assert (found.name, found.value) == ("Gwet AC2", pytest.approx(0.91400, abs=5.1e-6))
    assert found.se == pytest.approx(0.10396, abs=5.1e-6)
    assert (found.observed, found.expected) == pytest.approx((0.97537879, 0.71370443), abs=5e-9)


def test_interval_stops_at_one() -> None:
    found = rater_agreement(GWET_120).gwet
    assert found.high == 1.0
    assert found.low == pytest.approx(0.461, abs=5e-4)


@pytest.mark.parametrize(
    ("metric", "value"),
    [
        ("nominal", 0.74342105),
        ("ordinal", 0.81538750),
        ("interval", 0.84910714),
        ("ratio", 0.79740277),
    ],
)
def test_krippendorff_by_level_of_measurement(metric: str, value: float) -> None:
    # irr and krippendorff 0.9 agree; published 0.743, 0.815, 0.849, 0.797.
    found = krippendorff_alpha(GWET_120, metric)  # type: ignore[arg-type]
    assert found.value == pytest.approx(value, abs=5e-9)


def test_krippendorff_error_is_that_of_the_jackknife() -> None:
    # Leaving out one unit at a time is an independent first-order error of the same coefficient.
    rng = np.random.default_rng(5)
    ratings = np.clip(rng.integers(0, 4, 80)[:, None] + (rng.random((80, 4)) < 0.3), 0, 4)
    ratings = np.where(rng.random(ratings.shape) < 0.1, np.nan, ratings)
    whole = rater_agreement(ratings).krippendorff
    n = ratings.shape[0]
    out = [rater_agreement(np.delete(ratings, i, axis=0)).krippendorff.value for i in range(n)]
    jackknife = np.sqrt((n - 1) / n * ((np.array(out) - np.mean(out)) ** 2).sum())
    # Two first-order errors of 80 units differ by terms of order 1/80.
    assert whole.se == pytest.approx(jackknife, rel=0.04)


def test_cohen_1968() -> None:
    # psych 2.2.9: 0.491525, 0.391564 to 0.591487; published 0.492.
    found = cohen_table(COHEN_1968, n=200)
    assert found.kappa == pytest.approx(0.491525, abs=5e-7)
    assert (found.low, found.high) == pytest.approx((0.391564, 0.591487), abs=5e-7)


def test_cohen_1968_disagreement_weights() -> None:
    weights = from_disagreement(np.array([[0, 1, 3], [1, 0, 6], [3, 6, 0]], dtype=float))
    assert cohen_table(COHEN_1968, weights, 200).kappa == pytest.approx(0.347826, abs=5e-7)


def test_cohen_1968_asymmetric_weights() -> None:
    weights = from_disagreement(np.array([[0, 1, 4], [1, 0, 6], [2, 2, 0]], dtype=float))
    assert cohen_table(COHEN_1968, weights, 200).kappa == pytest.approx(0.353, abs=5e-4)


def test_two_laboratories() -> None:
    # epiR 2.0.57 on its own help page's table (291 salmon). Its "standard error" is that under no
    # agreement beyond chance.
    found = cohen_table(np.array([[19.0, 10.0], [6.0, 256.0]]))
    assert found.observed == pytest.approx(0.94501718, abs=5e-9)
    assert found.expected == pytest.approx(0.83155608, abs=5e-9)
    assert found.kappa == pytest.approx(0.67358385, abs=5e-9)
    assert found.null_se == pytest.approx(0.05842553, abs=5e-9)
    assert found.z == pytest.approx(11.528931, abs=5e-7)


def test_two_laboratories_prevalence_and_bias() -> None:
    found = cohen_table(np.array([[19.0, 10.0], [6.0, 256.0]]))
    assert found.pabak == pytest.approx(0.89003436, abs=5e-9)
    assert (found.pabak_low, found.pabak_high) == pytest.approx((0.824, 0.936), abs=6e-4)
    assert found.prevalence_index == pytest.approx(-0.81443, abs=5e-6)
    assert found.bias_index == pytest.approx(0.01375, abs=5e-6)
    assert found.mcnemar == pytest.approx(1.0)


def test_cohen_equals_statsmodels() -> None:
    from statsmodels.stats.inter_rater import cohens_kappa

    table = np.array([[40, 9, 4], [6, 30, 8], [3, 5, 25]], dtype=float)
    for kind in ("linear", "quadratic"):
        theirs = cohens_kappa(table, wt=kind)
        ours = cohen_table(table, agreement_weights(3, kind))  # type: ignore[arg-type]
        assert ours.kappa == pytest.approx(theirs.kappa, abs=1e-12)
        assert ours.se == pytest.approx(theirs.std_kappa, rel=1e-9)
        assert ours.null_se == pytest.approx(theirs.std_kappa0, rel=1e-9)


def test_one_category_has_no_coefficient() -> None:
    found = rater_agreement(np.ones((6, 3)))
    assert np.isnan(found.fleiss.value)
    assert found.fleiss.note == "one category only"


def test_prevalence_is_shown() -> None:
    found = rater_agreement(np.array([[0, 0], [0, 1], [1, 1], [0, 0.0]]))
    assert found.prevalence == pytest.approx([0.625, 0.375])


# ---------------------------------------------------------------- units that hang together


def test_clusters_of_one_unit_change_nothing() -> None:
    plain = rater_agreement(CLUSTERED)
    same = rater_agreement(CLUSTERED, clusters=np.arange(len(CLUSTERED)))
    for a, b in zip(plain.coefficients, same.coefficients, strict=True):
        assert (b.value, b.se, b.low, b.high) == pytest.approx((a.value, a.se, a.low, a.high))


def test_units_written_twice_have_the_errors_of_half_as_many() -> None:
    # Each unit once more tells nothing new: with both in one cluster the error stays.
    twice = np.vstack([CLUSTERED, CLUSTERED])
    codes = np.tile(np.arange(len(CLUSTERED)), 2)
    found = rater_agreement(twice, clusters=codes)
    plain = rater_agreement(CLUSTERED)
    for a, b in zip(plain.coefficients, found.coefficients, strict=True):
        if a.name != "Krippendorff alpha":  # its small-sample term counts ratings
            assert (b.value, b.se) == pytest.approx((a.value, a.se))


def test_clustered_errors_cover_where_plain_ones_do_not() -> None:
    # 400 samples of 60 patients, both sides alike in 80%: true kappa by a sample of 400,000 units.
    # 95% intervals of Cohen's kappa: clustered cover in 95 -/+ 3.5 of 100, plain clearly less.
    rng = np.random.default_rng(12)
    true = rater_agreement(_sides(rng, 200_000)[0]).conger.value
    inside = np.zeros(2)
    for _ in range(400):
        table, patient = _sides(rng, 60)
        for k, codes in enumerate((patient, None)):
            c = rater_agreement(table, clusters=codes).conger
            inside[k] += c.low <= true <= c.high
    clustered, plain = inside / 400
    assert clustered == pytest.approx(0.95, abs=0.035)
    assert plain < clustered - 0.02


def _sides(rng: np.random.Generator, patients: int) -> tuple[np.ndarray, np.ndarray]:
    """Two raters on both sides: the finding and how it is misread are mostly the patient's."""
    there = rng.random(patients) < 0.4
    other = np.where(rng.random(patients) < 0.9, there, rng.random(patients) < 0.4)
    wrong = rng.random((patients, 2)) < 0.15
    again = np.where(rng.random((patients, 2)) < 0.9, wrong, rng.random((patients, 2)) < 0.15)
    table = np.vstack([there[:, None] ^ wrong, other[:, None] ^ again]).astype(float)
    return table, np.tile(np.arange(patients), 2)


CLUSTERED = np.array([
    [0, 0, 1], [1, 1, 1], [2, 2, 2], [0, 1, np.nan], [2, 1, 2], [1, 1, np.nan], [0, 0, 0],
    [2, 2, 1], [1, np.nan, 1], [0, 0, 0],
])  # fmt: skip
