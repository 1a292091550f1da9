"""From agreement studies to the error of one reading: SEM and minimal detectable change."""

from __future__ import annotations

from math import sqrt

from sidewise.errors import UserError
from sidewise.ground.interval import Z95


def sem_from_icc(sd: float, icc: float) -> float:
    """Standard error of measurement of one reading.

    sd * sqrt(1 - icc), in the units of `sd` (>= 0), the spread between people in the same study;
    icc from 0 to 1. An SEM belongs to the spread it came from: an ICC alone says nothing of error.

    Weir JP, J Strength Cond Res 2005; 19(1):231-240. UserError outside these ranges.
    """
    if not sd >= 0:
        raise UserError("sd", sd, "a standard deviation of 0 or more")
    if not 0 <= icc <= 1:
        raise UserError("icc", icc, "an intraclass correlation from 0 to 1")
    return sd * sqrt(1 - icc)


def minimal_detectable_change(sem: float, z: float = Z95) -> float:
    """Smallest difference between two readings that error alone seldom produces.

    z * sqrt(2) * sem, in the units of `sem` (>= 0), for two readings with the same instrument and
    examiner. Exceeded by chance in 5% of unchanged patients with z = `Z95`, in 10% with `Z90`.

    Weir JP, J Strength Cond Res 2005; 19(1):231-240. UserError for a negative SEM.
    """
    if not sem >= 0:
        raise UserError("sem", sem, "a standard error of 0 or more")
    return z * sqrt(2) * sem


def sem_from_mdc(detectable: float, z: float = Z95) -> float:
    """The SEM behind a printed minimal detectable change: detectable / (z * sqrt(2))."""
    return detectable / (z * sqrt(2))
