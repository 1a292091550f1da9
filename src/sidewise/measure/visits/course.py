"""The course of one measure over three or more visits: a local level with a band."""

from __future__ import annotations

from dataclasses import dataclass
from math import log, pi

import numpy as np
from numpy.typing import ArrayLike

from sidewise.errors import UserError
from sidewise.ground.arrays import Array
from sidewise.ground.interval import Z95

LOG_2PI = log(2 * pi)
GRID = 25  # Paces weighed; doubling it moves the examples' bands by under one part in a thousand.


@dataclass(frozen=True, slots=True)
class Smoothed:
    """Smoothed level and its standard error at each time, for known variances."""

    level: Array
    standard_error: Array
    log_likelihood: float


@dataclass(frozen=True, slots=True)
class LocalLevel:
    """Variances fitted by maximum likelihood: of one observation, and of the step per unit time."""

    observation_variance: float
    level_variance: float
    log_likelihood: float


@dataclass(frozen=True, slots=True)
class SmoothedCourse:
    """The level at each visit with a 95% band, averaged over how fast it may move."""

    times: Array
    level: Array
    low: Array
    high: Array
    pace: float


def smooth_levels(
    times: ArrayLike, values: ArrayLike, observation_variance: ArrayLike, level_variance: float
) -> Smoothed:
    """Smoothed level of y_t = mu_t + e_t, mu_{t+1} = mu_t + u_t at unequally spaced times.

    var(e_t) = observation_variance[t] (one per reading: its own instrument), var(u_t) =
    level_variance * (times[t+1] - times[t]). The first level is unknown (diffuse). Arrays of one
    length n >= 2; times increasing. UserError otherwise.

    Durbin J, Koopman SJ, Time Series Analysis by State Space Methods, 2nd ed. 2012, ch. 2.
    """
    t, y, r = _checked(times, values, observation_variance)
    return _smoothed(y, r, level_variance * np.diff(t))


def fit_local_level(times: ArrayLike, values: ArrayLike) -> LocalLevel:
    """Both variances of the local level by maximum likelihood, when neither is known.

    Needs a long series (a hundred readings, not five). UserError as for `smooth`.
    """
    from scipy.optimize import minimize

    t, y, unit = _checked(times, values, np.ones(np.size(values)))
    gaps = np.diff(t)

    def surprise(log_variances: Array) -> float:
        observation, level = np.exp(log_variances)
        return -_smoothed(y, observation * unit, level * gaps).log_likelihood / y.size

    # In logarithms neither variance can leave the positive numbers; the scale of the data is near.
    start = np.log([np.var(y) / 2 + 1e-6, np.var(np.diff(y)) / 4 + 1e-6])
    found = minimize(surprise, start, method="BFGS", options={"gtol": 1e-8, "maxiter": 500})
    observation, level = (float(number) for number in np.exp(found.x))
    return LocalLevel(observation, level, -float(found.fun) * y.size)


def smooth_course(
    times: ArrayLike, values: ArrayLike, sems: ArrayLike, pace_scale: float
) -> SmoothedCourse:
    """The course of a measure whose readings have known errors `sems`.

    A handful of visits cannot tell how fast the true value moves (the maximum-likelihood pace of
    three readings is often 0, which would draw a falsely narrow band). So the pace q (SD of the
    true change per square root of a unit of time) has a half-normal prior of scale `pace_scale`
    and the smoothed level is averaged over a grid of q, each weighted by prior times likelihood:
    mean = sum w m, variance = sum w (v + m^2) - mean^2; the band is mean -/+ 1.96 SD. `pace` is
    the weighted mean of q. UserError for fewer than 3 visits or a scale of 0 or less.
    """
    t, y, r = _checked(times, values, np.square(np.asarray(sems, float)))
    if t.size < 3:
        raise UserError("visits", int(t.size), "at least 3 for a course")
    if not pace_scale > 0:
        raise UserError("pace_scale", pace_scale, "a number above 0")
    paces = (np.arange(GRID) + 0.5) / GRID * 3 * pace_scale  # Beyond 3 scales the prior is nothing.
    runs = [smooth_levels(t, y, r, pace**2) for pace in paces]
    log_weight = np.array([run.log_likelihood for run in runs]) - paces**2 / (2 * pace_scale**2)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    levels = np.array([run.level for run in runs])
    variances = np.array([run.standard_error for run in runs]) ** 2
    mean = weight @ levels
    sd = np.sqrt(weight @ (variances + levels**2) - mean**2)
    return SmoothedCourse(t, mean, mean - Z95 * sd, mean + Z95 * sd, float(weight @ paces))


def _checked(times: ArrayLike, values: ArrayLike, variances: ArrayLike) -> tuple[Array, ...]:
    t, y, r = (np.asarray(array, float) for array in (times, values, variances))
    if not (t.shape == y.shape == r.shape and t.ndim == 1 and t.size >= 2):
        raise UserError(
            "course", f"{t.size}, {y.size}, {r.size}", "three equal lists, 2 or more long"
        )
    if not (np.diff(t) > 0).all():
        raise UserError("times", "times that do not increase", "visits in order, each later")
    if not (np.isfinite(y).all() and (r > 0).all()):
        raise UserError(
            "readings", "a missing number or an error of 0", "numbers with errors above 0"
        )
    return t, y, r


def _smoothed(values: Array, errors: Array, steps: Array) -> Smoothed:
    """The filter forwards and the smoother backwards, for one level and one reading a time.

    values, errors: shape (n,), readings and their variances; steps: shape (n - 1,), variance of the
    change to the next time. Durbin and Koopman, section 2.2 (filter) and 2.9 (the first step for a
    level of which nothing was known); backwards as Rauch, Tung and Striebel, AIAA J 1965; 3:1445.
    """
    n = values.size
    level, variance = np.empty(n), np.empty(n)
    level[0], variance[0] = values[0], errors[0]
    log_likelihood = -LOG_2PI / 2
    for now in range(1, n):
        ahead = variance[now - 1] + steps[now - 1]
        of_error = ahead + errors[now]
        surprise = values[now] - level[now - 1]
        gain = ahead / of_error
        level[now] = level[now - 1] + gain * surprise
        variance[now] = gain * errors[now]
        log_likelihood -= (LOG_2PI + np.log(of_error) + surprise**2 / of_error) / 2
    for now in range(n - 2, -1, -1):
        ahead = variance[now] + steps[now]
        back = variance[now] / ahead
        level[now] += back * (level[now + 1] - level[now])
        variance[now] += back**2 * (variance[now + 1] - ahead)
    return Smoothed(level, np.sqrt(np.maximum(variance, 0.0)), float(log_likelihood))
