"""How far a student's mark would hold at other stations and under other examiners.

From variance components to the reliability of a mean over stations: relative and absolute
coefficients, standard errors of measurement, consistency of the decision at the pass mark, and
how many stations it would take to be reliable enough.

Brennan RL, Generalizability Theory, Springer 2001.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array, BoolArray
from sidewise.ground.estimate import Estimate
from sidewise.ground.interval import Z95, Interval
from sidewise.teaching.reliability.variance_components import VarianceComponents
from sidewise.teaching.reliability.variance_design import CELL

# The reliability commonly asked of a decision with consequences (recalled; see the guides).
WANTED = 0.8


@dataclass(frozen=True, slots=True)
class Design:
    """The examination a coefficient is for.

    `stations` per student; `examiners` who mark each student at each station. `shared`: whether
    all students meet the same examiners (then severity moves everyone alike and is no relative
    error). `fresh`: whether each station has examiners of its own (else the same examiners follow
    a student through all stations). `sessions_count`: whether students of different sessions are
    compared, so that a session's ease is error.
    """

    stations: float
    examiners: float = 1
    shared: bool = False
    fresh: bool = True
    sessions_count: bool = True

    def __post_init__(self) -> None:
        if not (self.stations > 0 and self.examiners > 0):
            raise UserError("design", (self.stations, self.examiners),
                            "at least one station and one examiner")  # fmt: skip

    @property
    def examiners_met(self) -> float:
        """Different examiners whose severity enters one student's mean."""
        return self.stations * self.examiners if self.fresh else self.examiners


@dataclass(frozen=True, slots=True)
class DecisionConsistency:
    """How well passing and failing would hold, for marks that are normal.

    `consistency`: probability that two like examinations decide the same on a student; `kappa`
    the same corrected for chance; `accuracy`: probability that the decision is that of the true
    (universe) score. `phi_lambda`: dependability at the pass mark,
    (v + d^2)/(v + d^2 + absolute error) with d^2 = (mean - pass mark)^2 less the variance of the
    mean, not below 0.
    """

    pass_mark: float
    consistency: float
    kappa: float
    accuracy: float
    phi_lambda: float
    share_below: float


@dataclass(frozen=True, slots=True)
class Projection:
    """Reliability of the same examination with another number of stations or examiners."""

    stations: int
    examiners: int
    relative: float
    absolute: float
    sem_relative: float
    sem_absolute: float


@dataclass(frozen=True)
class Reliability:
    """Reliability of a student's mean mark under `design`.

    Variances are in squared, standard errors in plain units of the mark. `relative` (E rho
    squared) is for ranking, `absolute` (phi) for decisions against a mark. `needed` and
    `needed_absolute` are stations for `wanted`, None where no number would do.
    """

    design: Design
    universe: float
    relative_error: float
    absolute_error: float
    relative: float
    absolute: float
    sem_relative: float
    sem_absolute: float
    relative_interval: Interval | None
    absolute_interval: Interval | None
    decision: DecisionConsistency | None
    projection: tuple[Projection, ...]
    wanted: float
    needed: int | None
    needed_absolute: int | None
    estimator: str
    warnings: tuple[str, ...]
    sentence: str


def g_study(
    components: VarianceComponents | Mapping[str, float],
    design: Design,
    *,
    pass_mark: float | None = None,
    mean: float | None = None,
    wanted: float = WANTED,
    most_stations: int = 30,
    most_examiners: int = 2,
) -> Reliability:
    """Reliability of a mean over `design.stations` stations, from variance components.

    universe = v_student. Relative error: v_student_station/n_t + v_residual/(n_t n_r) + severity
    v_examiner/n_examiners where students meet different examiners + v_session where sessions are
    compared. Absolute error adds v_station/n_t, and severity in any case. Coefficients are
    universe/(universe + error). With fitted components, intervals are by the delta method on the
    logit, components on the boundary held at 0.

    `pass_mark` and `mean` are in the units of the marks. Brennan 2001, chapters 2 to 4; phi
    lambda: Brennan & Kane, J Educ Meas 1977; 14:277-289 (from memory).
    """
    values = _checked(components, wanted)
    fitted = components if isinstance(components, VarianceComponents) else None
    warnings = list(fitted.warnings) if fitted else []
    universe = values.get("student", 0.0)
    relative_error, absolute_error = _errors(values, design)
    if CELL not in values:
        warnings.append(
            "Student by station cannot be told from the residual: gains from more examiners at "
            "one station cannot be projected and are not counted."
        )
    if universe == 0.0:
        warnings.append("No variance between students was found: the coefficients are 0.")
    decision = None
    if pass_mark is not None:
        decision = _decision(fitted, universe, absolute_error, pass_mark, mean)
    needed = stations_needed(values, design, wanted, absolute=False)
    needed_absolute = stations_needed(values, design, wanted, absolute=True)
    return Reliability(
        design=design, universe=universe,
        relative_error=relative_error, absolute_error=absolute_error,
        relative=_ratio(universe, relative_error), absolute=_ratio(universe, absolute_error),
        sem_relative=float(np.sqrt(relative_error)), sem_absolute=float(np.sqrt(absolute_error)),
        relative_interval=_interval(fitted, design, absolute=False),
        absolute_interval=_interval(fitted, design, absolute=True),
        decision=decision, projection=_projection(values, design, most_stations, most_examiners),
        wanted=wanted, needed=needed, needed_absolute=needed_absolute,
        estimator=fitted.estimator if fitted else "as given", warnings=tuple(warnings),
        sentence=_sentence(_ratio(universe, absolute_error), design, wanted, needed_absolute),
    )  # fmt: skip


def _checked(
    components: VarianceComponents | Mapping[str, float], wanted: float
) -> dict[str, float]:
    given = components.components if isinstance(components, VarianceComponents) else components
    values = {name: float(value) for name, value in given.items()}
    for name, value in values.items():
        if not (np.isfinite(value) and value >= 0):
            raise UserError(f"components.{name}", value, "a variance of 0 or more")
    if "student" not in values:
        raise UserError("components", ", ".join(values), "a component student")
    if not 0 < wanted < 1:
        raise UserError("wanted", wanted, "a reliability between 0 and 1")
    return values


def _ratio(universe: float, error: float) -> float:
    return universe / (universe + error) if universe + error > 0 else 0.0


def _weights(values: Mapping[str, float], design: Design, *, absolute: bool) -> dict[str, float]:
    """What each component is multiplied by in the error of a mean.

    Without a component of its own, the meeting of student and station is part of the residual,
    which then does not shrink with more examiners at one station.
    """
    marks = design.stations * (design.examiners if CELL in values else 1)
    severity = 1 / design.examiners_met if absolute or not design.shared else 0.0
    return {
        "student_station": 1 / design.stations,
        "residual": 1 / marks,
        "examiner": severity,
        "station": 1 / design.stations if absolute else 0.0,
        "session": 1.0 if design.sessions_count else 0.0,
    }


def _errors(values: Mapping[str, float], design: Design) -> tuple[float, float]:
    relative, absolute = (
        sum(
            w * values.get(name, 0.0) for name, w in _weights(values, design, absolute=kind).items()
        )
        for kind in (False, True)
    )
    return relative, absolute


def _interval(
    fitted: VarianceComponents | None, design: Design, *, absolute: bool
) -> Interval | None:
    """logit G = log universe - log error; its variance by the delta method."""
    if fitted is None:
        return None
    universe = fitted.components["student"]
    weights = _weights(fitted.components, design, absolute=absolute)
    error = sum(w * fitted.components.get(name, 0.0) for name, w in weights.items())
    if universe <= 0 or error <= 0 or not np.isfinite(fitted.covariance).all():
        return None
    slope = np.array([
        1 / universe if name == "student" else -weights.get(name, 0.0) / error
        for name in fitted.names
    ])  # fmt: skip
    reach = Z95 * float(np.sqrt(slope @ fitted.covariance @ slope))
    centre = float(np.log(universe / error))
    # The logistic curve by its tangens: a coefficient that nothing is known of must not overflow.
    low, high = (0.5 + 0.5 * float(np.tanh((centre + side * reach) / 2)) for side in (-1, 1))
    return Interval(low, high, "delta method on the logit")


def stations_needed(
    components: Mapping[str, float], design: Design, wanted: float = WANTED, *, absolute: bool
) -> int | None:
    """Fewest stations at which the coefficient reaches `wanted`; None where no number does.

    The error is fixed + each/n (severity of examiners who follow the student and of the session
    does not shrink with stations), so n = each/(universe (1 - wanted)/wanted - fixed).
    """
    one = Design(1, design.examiners, design.shared, design.fresh, design.sessions_count)
    weights = _weights(components, one, absolute=absolute)
    stays = {"session"} if design.fresh else {"session", "examiner"}
    fixed = sum(w * components.get(n, 0.0) for n, w in weights.items() if n in stays)
    shrinks = sum(w * components.get(n, 0.0) for n, w in weights.items() if n not in stays)
    room = components["student"] * (1 - wanted) / wanted - fixed
    if room <= 0:
        return None
    # A hair below, so that a design which reaches the mark exactly is not asked for one more.
    return max(1, int(np.ceil(shrinks / room - 1e-9)))


def _projection(
    values: Mapping[str, float], design: Design, most_stations: int, most_examiners: int
) -> tuple[Projection, ...]:
    rows = []
    for examiners in range(1, most_examiners + 1):
        for stations in range(1, most_stations + 1):
            d = Design(stations, examiners, design.shared, design.fresh, design.sessions_count)
            relative, absolute = _errors(values, d)
            rows.append(Projection(
                stations, examiners, _ratio(values["student"], relative),
                _ratio(values["student"], absolute),
                float(np.sqrt(relative)), float(np.sqrt(absolute)),
            ))  # fmt: skip
    return tuple(rows)


def _decision(
    fitted: VarianceComponents | None, universe: float, error: float, pass_mark: float,
    mean: float | None,
) -> DecisionConsistency:  # fmt: skip
    if mean is None and fitted is None:
        raise UserError("mean", None, "the mean mark", "It is needed beside the pass mark.")
    centre = float(mean) if mean is not None else fitted.mean if fitted else 0.0
    if not (np.isfinite(pass_mark) and np.isfinite(centre)):
        raise UserError("pass_mark", (pass_mark, centre), "a finite pass mark and mean")
    variance_of_mean = fitted.mean_standard_error**2 if fitted else 0.0
    distance = max(0.0, (centre - pass_mark) ** 2 - variance_of_mean)
    return decision_consistency(universe, error, centre, pass_mark, distance)


def decision_consistency(
    universe: float,
    error: float,
    mean: float,
    pass_mark: float,
    squared_distance: float | None = None,
) -> DecisionConsistency:
    """Consistency and accuracy of pass and fail for normal true scores and normal error.

    With p(t) = P(observed at or above the mark | t): consistency = E[p^2 + (1-p)^2], accuracy =
    E[p above the mark, 1-p below]; chance agreement q^2 + (1-q)^2, q = P(observed below).
    """
    from scipy.special import ndtr

    distance = (mean - pass_mark) ** 2 if squared_distance is None else squared_distance
    total = universe + error
    dependability = _ratio(universe + distance, error)
    below = float(pass_mark > mean)
    if total > 0:
        below = float(ndtr((pass_mark - mean) / np.sqrt(total)))
    if universe == 0 or error == 0:
        agree = 1.0 if error == 0 else below**2 + (1 - below) ** 2
        right = 1.0 if error == 0 else (below if pass_mark > mean else 1 - below)
    else:
        z, weight, above = _true_scores((pass_mark - mean) / np.sqrt(universe))
        passes = ndtr((mean - pass_mark + np.sqrt(universe) * z) / np.sqrt(error))
        agree = float(weight @ (passes**2 + (1 - passes) ** 2))
        right = float(weight @ np.where(above, passes, 1 - passes))
    chance = below**2 + (1 - below) ** 2
    kappa = (agree - chance) / (1 - chance) if chance < 1 else 0.0
    return DecisionConsistency(pass_mark, agree, kappa, right, dependability, below)


def _true_scores(cut: float) -> tuple[Array, Array, BoolArray]:
    """Nodes and weights for a standard normal, split at `cut` where the integrand jumps."""
    x, w = np.polynomial.legendre.leggauss(200)
    edge = float(np.clip(cut, -9.0, 9.0))
    nodes, weights = [], []
    for low, high in ((-9.0, edge), (edge, 9.0)):
        nodes.append((high - low) / 2 * x + (high + low) / 2)
        weights.append((high - low) / 2 * w)
    z, weight = np.concatenate(nodes), np.concatenate(weights)
    density = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
    return z, weight * density, z > cut


def _sentence(absolute: float, design: Design, wanted: float, needed: int | None) -> str:
    stations = f"{design.stations:g} station" + ("" if design.stations == 1 else "s")
    start = f"With {stations} the absolute coefficient is {absolute:.2f}"
    if absolute >= wanted:
        return f"{start}, at or above the {wanted:.2f} asked for."
    if needed is None:
        return f"{start}; no number of such stations would bring it to {wanted:.2f}."
    return f"{start}; it would take about {needed} such stations to reach {wanted:.2f}."


def examiner_luck(components: VarianceComponents, stations: int) -> Estimate:
    """Standard deviation of a total, in points, from the examiners that a student happened to meet.

    sqrt(v_examiner / stations): one examiner at each station, none met twice. Limits are those of
    the variance, carried over.
    """
    value = components.components["examiner"]
    limits = components.intervals.get("examiner")
    scale = float(np.sqrt(max(value, 0.0) / stations))
    if limits is None:
        return Estimate(scale, method=components.estimator)
    low, high = (float(np.sqrt(max(v, 0.0) / stations)) for v in (limits.low, limits.high))
    return Estimate(scale, low, high, method=f"{components.estimator}, {limits.method}")
