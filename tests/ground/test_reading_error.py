"""From agreement to error, against printed examples."""

from __future__ import annotations

import pytest

from sidewise.errors import UserError
from sidewise.ground.agreement.reading_error import (
    minimal_detectable_change,
    sem_from_icc,
    sem_from_mdc,
)
from sidewise.ground.interval import Z90


@pytest.mark.parametrize(
    ("detectable", "sem"),
    [(8, 3.4), (4, 1.7), (9, 3.9), (5, 2.1)],  # Kolber et al. 2009 and 2011: MDC90 printed.
)
def test_sem_behind_a_printed_mdc90(detectable: float, sem: float) -> None:
    assert sem_from_mdc(detectable, Z90) == pytest.approx(sem, abs=0.05)


def test_icc_to_sem_to_mdc_of_a_printed_example() -> None:
    # Two methods for extracellular water in 72 patients, J Am Soc Nephrol (table read at
    # jasn.asnjournals.org/highwire/markup/10818): total variance 10.66, ICC 0.846, error variance
    # 1.64, smallest detectable difference 3.55.
    sem = sem_from_icc(10.66**0.5, 0.846)
    assert sem**2 == pytest.approx(1.64, abs=0.005 + 10.66 * 0.0005)
    assert minimal_detectable_change(sem) == pytest.approx(3.55, abs=0.012)


# Each printed SEM is rounded, so the MDC is known to 2.77 times half its last digit.
PRINTED = (
    (
        0.91,
        2.52,
        0.005,
    ),  # Goniometer, flexion; abstract table 2, ard.bmj.com/highwire/markup/235182.
    (0.40, 1.10, 0.005),  # The same, abduction.
    (
        0.37,
        1.02,
        0.005,
    ),  # The same, external rotation. (Its internal rotation, 0.33 with 0.83, does
    #                       not follow from any formula and is left out.)
    (1.1, 3.2, 0.05),  # Postural scale after stroke: Bland M, exercise, York clinimetrics course.
    (4.8, 13.29, 0.05),  # Holt et al., Phys Ther Sport 2016: hand-held dynamometer, lowest percent,
    (8.6, 23.7, 0.05),  # and highest;
    (
        6.6,
        18.4,
        0.05,
    ),  # fixed dynamometer, lowest. (Its highest, 11.0 with 30.04, does not follow.)
    (8, 23, 0.5),  # Henseler et al., J Shoulder Elbow Surg 2015: Constant score, all patients.
)


@pytest.mark.parametrize(("sem", "detectable", "half"), PRINTED)
def test_printed_sem_gives_printed_mdc95(sem: float, detectable: float, half: float) -> None:
    digits = len(str(detectable).partition(".")[2])
    assert minimal_detectable_change(sem) == pytest.approx(
        detectable, abs=2.772 * half + 0.5 * 10**-digits
    )


def test_scaption_mdc95_of_kolber_2012() -> None:
    # MDC95 of 8 (goniometer) and 9 (inclinometer) printed; the tables' SEMs are rounded.
    assert minimal_detectable_change(2.9) == pytest.approx(8, abs=2.772 * 0.05)
    assert minimal_detectable_change(3.2) == pytest.approx(9, abs=2.772 * 0.05)


def test_two_examiners_in_de_winter_2004() -> None:
    # Limits 0.8 +/- 19.6 and -4.6 +/- 18.8 printed; SEM = half-width / 1.96 / sqrt 2.
    assert sem_from_mdc(19.6) == pytest.approx(7.1, abs=0.05)
    assert sem_from_mdc(18.8) == pytest.approx(6.8, abs=0.05)


@pytest.mark.parametrize("icc", [-0.1, 1.1, float("nan")])
def test_icc_outside_its_range_is_refused(icc: float) -> None:
    with pytest.raises(UserError, match="correlation from 0 to 1"):
        sem_from_icc(10, icc)


@pytest.mark.parametrize("sem", [-1, float("nan")])
def test_mdc_of_an_impossible_error_is_refused(sem: float) -> None:
    with pytest.raises(UserError, match="standard error of 0 or more"):
        minimal_detectable_change(sem)
