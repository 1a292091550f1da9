"""Bivariate meta-analysis against published data and outside programs."""

import csv
from pathlib import Path

import pytest

from sidewise.errors import UserError
from sidewise.evidence.studies.counts import TwoByTwo
from sidewise.evidence.studies.pooling import pool_exact, pool_normal

DATA = Path(__file__).parent.parent / "data" / "reference_runs"

# 14 studies of the AUDIT-C questionnaire, Kriston et al. 2008, as in the vignette of the R package
# mada: TP, FN, FP, TN.
AUDIT_C = """47,9,101,738 126,51,272,1543 19,10,12,192 36,3,78,276 130,19,211,959 84,2,68,89
68,0,112,423 752,0,3226,2977 59,5,55,136 142,50,571,2788 137,24,107,358 57,3,103,437 34,1,21,56
152,51,88,264"""

# Ultrasound for deep-vein thrombosis, 16 complete studies of Kearon et al., Ann Intern Med 1998, as
# in the R package metadat: TP/with, TN/without.
DEEP_VEIN = """325/333,483/505 20/25,29/29 25/28,23/23 22/25,24/25 70/77,142/143 40/46,18/19
27/34,36/41 25/29,28/35 40/40,27/37 39/41,29/36 75/97,59/60 49/50,50/50 33/34,75/75 20/23,64/64
94/121,346/353 22/25,45/47"""


def audit_c():
    return [TwoByTwo(*map(int, study.split(","))) for study in AUDIT_C.split()]


def deep_vein():
    found = []
    for study in DEEP_VEIN.split():
        (tp, sick), (tn, well) = (map(int, part.split("/")) for part in study.split(","))
        found.append(TwoByTwo(tp, sick - tp, well - tn, tn))
    return found


def simulated(studies):
    with (DATA / f"accuracy_{studies}.csv").open() as handle:
        rows = list(csv.DictReader(handle))
    return [TwoByTwo(int(r["TP"]), int(r["FN"]), int(r["FP"]), int(r["TN"])) for r in rows]


def figures(pooled):
    means = (pooled.logit_sens, pooled.se_sens, pooled.logit_spec, pooled.se_spec)
    return (*means, pooled.var_sens, pooled.var_spec, pooled.correlation, pooled.log_likelihood)


@pytest.mark.parametrize(
    ("tables", "everywhere", "expected"),
    [
        # metafor 3.8-1, rma.mv, UN, REML; mada's reitsma prints 2.100, -1.264, +.854, AUDIT-C.
        (audit_c, True, (2.0997425, 0.3378512, 1.2636909, 0.1743314,
                         1.3795847, 0.4072080, -0.8542747, -31.2705398)),
        (audit_c, False, (2.1875204, 0.3620561, 1.2674814, 0.1751360,
                          1.5845079, 0.4108379, -0.8474480, -31.9684286)),
        (deep_vein, False, (2.11004229, 0.22141881, 3.00898201, 0.35048949,
                            0.48815770, 1.25383624, -0.25663755, -45.66505596)),
    ],
)  # fmt: skip
def test_normal_approximation_agrees_with_metafor(tables, everywhere, expected):
    assert figures(pool_normal(tables(), everywhere)) == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize(
    ("tables", "expected"),
    [
        # Binomial-normal with 21 x 21 adaptive nodes; a printed comparison is lme4 with Laplace's
        # approximation: 2.509728, 1.276198, log-likelihood -122.79243.
        (audit_c, (2.51130, 0.46262, 1.27630, 0.16896, 2.6127, 0.3816, -0.8154, -122.74671)),
        (deep_vein, (2.29525, 0.24415, 3.54051, 0.46178, 0.62112, 2.09432, -0.23143, -80.38983)),
    ],
)
def test_exact_binomial_with_many_nodes(tables, expected):
    assert figures(pool_exact(tables(), nodes=21)) == pytest.approx(expected, abs=2e-3)


@pytest.mark.parametrize(
    ("tables", "expected"),
    [
        # lme4 1.1-31 (Laplace); the deep-vein figures agree with it to the digits printed.
        (deep_vein, (2.29568, 0.24307, 3.54369, 0.4588, 0.61297, 2.03873, -0.2527, -80.45528)),
        (lambda: simulated(10), (1.13389701, 0.238133838, 2.02060983, 0.272827066,
                                 0.477328351, 0.632495133, -0.450184011, -72.6760786)),
        (lambda: simulated(50), (1.53021726, 0.110612027, 1.78517056, 0.133248591,
                                 0.473803188, 0.760962093, -0.0295488672, -347.302134)),
    ],
)  # fmt: skip
def test_one_node_is_laplace_and_agrees_with_lme4(tables, expected):
    assert figures(pool_exact(tables(), nodes=1)) == pytest.approx(expected, abs=2e-3)


@pytest.mark.parametrize(
    ("studies", "expected"),
    [
        # metafor 3.8-1, rma.mv on the simulated studies in tests/data/reference_runs.
        (10, (1.11428158, 0.245567381, 1.98023839, 0.280740751,
              0.516509078, 0.676906313, -0.423456326, -21.4506995)),
        (50, (1.48465551, 0.109011841, 1.71179761, 0.127882537,
              0.451344444, 0.684590528, -0.0560599215, -123.114283)),
        (200, (1.35743086, 0.0524636418, 1.83861208, 0.0596472014,
               0.411198311, 0.589382438, -0.469323246, -474.59246)),
    ],
)  # fmt: skip
def test_normal_approximation_on_simulated_studies(studies, expected):
    assert figures(pool_normal(simulated(studies))) == pytest.approx(expected, abs=1e-4)


@pytest.mark.slow
def test_laplace_on_two_hundred_studies_agrees_with_lme4():
    found = pool_exact(simulated(200), nodes=1)
    expected = (1.41682052, 0.0552542504, 1.9020767, 0.0626138807)
    assert figures(found)[:4] == pytest.approx(expected, abs=2e-3)


def test_default_nodes_agree_with_many_nodes():
    few, many = pool_exact(deep_vein()), pool_exact(deep_vein(), nodes=21)
    assert figures(few)[:4] == pytest.approx(figures(many)[:4], abs=1e-3)


def test_a_new_study_is_less_certain_than_the_mean():
    found = pool_exact(audit_c())
    mean, new = found.sensitivity, found.predicted_sensitivity
    assert new.low < mean.low < mean.estimate < mean.high < new.high


def test_few_studies_are_pooled_with_a_warning():
    assert any("Only 3" in text for text in pool_exact(audit_c()[:3]).warnings)


def test_one_study_is_not_pooled():
    with pytest.raises(UserError, match="at least 2"):
        pool_exact(audit_c()[:1])
