"""The course of one measure over three or more visits: a local level with a band."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sidewise.errors import UserError
from sidewise.measure.reliability import Z95

Floats = NDArray[np.float64]
GRID = 25  # Paces weighed; doubling it moves the examples' bands by under one part in a thousand.


@dataclass(frozen=True, slots=True)
class Smoothed:
    """Smoothed level and its standard error at each time, for known variances."""

    level: Floats
    standard_error: Floats
    log_likelihood: float


@dataclass(frozen=True, slots=True)
class LocalLevel:
    """Variances fitted by maximum likelihood: of one observation, and of the step per unit time."""

    observation_variance: float
    level_variance: float
    log_likelihood: float


@dataclass(frozen=True, slots=True)
class Course:
    """The level at each visit with a 95% band, averaged over how fast it may move."""

    times: Floats
    level: Floats
    low: Floats
    high: Floats
    pace: float


def smooth(
    times: ArrayLike, values: ArrayLike, observation_variance: ArrayLike, level_variance: float
) -> Smoothed:
    """Smoothed level of y_t = mu_t + e_t, mu_{t+1} = mu_t + u_t at unequally spaced times.

    var(e_t) = observation_variance[t] (one per reading: its own instrument), var(u_t) =
    level_variance * (times[t+1] - times[t]). The first level is unknown (diffuse). Arrays of one
    length n >= 2; times increasing. UserError otherwise.

    Durbin J, Koopman SJ, Time Series Analysis by State Space Methods, 2nd ed. 2012, ch. 2.
    """
    t, y, r = _checked(times, values, observation_variance)
    model = _model_class()(y, t)
    model.set_variances(r, level_variance)
    result = model.ssm.smooth()
    error = np.sqrt(np.maximum(result.smoothed_state_cov[0, 0], 0.0))
    return Smoothed(result.smoothed_state[0], error, float(result.llf))


def fit_local_level(times: ArrayLike, values: ArrayLike) -> LocalLevel:
    """Both variances of the local level by maximum likelihood, when neither is known.

    Needs a long series (a hundred readings, not five). UserError as for `smooth`.
    """
    y = np.asarray(values, float)
    t, y, _ = _checked(times, y, np.ones_like(y))
    model = _model_class()(y, t)
    result = model.fit(disp=0, method="bfgs", maxiter=500, gtol=1e-8)
    observation, level = (float(number) for number in result.params)
    return LocalLevel(observation, level, float(result.llf))


def course(times: ArrayLike, values: ArrayLike, sems: ArrayLike, pace_scale: float) -> Course:
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
    runs = [smooth(t, y, r, pace**2) for pace in paces]
    log_weight = np.array([run.log_likelihood for run in runs]) - paces**2 / (2 * pace_scale**2)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    levels = np.array([run.level for run in runs])
    variances = np.array([run.standard_error for run in runs]) ** 2
    mean = weight @ levels
    sd = np.sqrt(weight @ (variances + levels**2) - mean**2)
    return Course(t, mean, mean - Z95 * sd, mean + Z95 * sd, float(weight @ paces))


def _checked(times: ArrayLike, values: ArrayLike, variances: ArrayLike) -> tuple[Floats, ...]:
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


@lru_cache(maxsize=1)
def _model_class() -> Any:
    # statsmodels takes over a second to import: only a course of three visits pays for it.
    from statsmodels.tsa.statespace.mlemodel import MLEModel

    class UnevenLocalLevel(MLEModel):  # type: ignore[misc]
        """A local level whose step variance grows with the gap to the next time."""

        def __init__(self, endog: Floats, times: Floats) -> None:
            super().__init__(endog, k_states=1, k_posdef=1)
            self["design", 0, 0] = self["transition", 0, 0] = self["selection", 0, 0] = 1.0
            # The step after the last time is never used.
            self.gaps = np.append(np.diff(times), 1.0)
            self.ssm.initialize("diffuse")

        def set_variances(self, observation: Floats | float, level: float) -> None:
            n = self.gaps.size
            self["obs_cov"] = np.broadcast_to(observation, n).reshape(1, 1, n).copy()
            self["state_cov"] = (level * self.gaps).reshape(1, 1, n)

        @property
        def param_names(self) -> list[str]:
            return ["observation variance", "level variance"]

        @property
        def start_params(self) -> Floats:
            return np.array([np.var(self.endog) / 2, np.var(np.diff(self.endog[:, 0])) / 4]) + 1e-6

        def transform_params(self, unconstrained: Floats) -> Floats:
            return np.exp(np.asarray(unconstrained))

        def untransform_params(self, constrained: Floats) -> Floats:
            return np.log(np.asarray(constrained))

        def update(self, params: Floats, **options: Any) -> None:
            observation, level = super().update(params, **options)
            self.set_variances(observation, level)

    return UnevenLocalLevel
