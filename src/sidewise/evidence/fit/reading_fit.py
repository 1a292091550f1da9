"""Fits leak and links of one reading to its groups, and draws from what was learned.

Each group's positives are binomial with logit(P) = logit(expected share) + u, u ~ N(0, tau), a
study effect of its own for groups with and without the target. u is integrated by Laplace's
method (eight Newton steps, vectorised over parameter sets and groups). The mode is found by
L-BFGS from several starts with batched central differences; the draws come from an affine-
invariant ensemble (Goodman and Weare, Comm App Math Comp Sci 2010; 5:65-80) started around it.
Stretch moves alternate with independent
proposals from a multivariate t around the mode, which is what makes 500 draws nearly independent.
tau enters on the log scale with its Jacobian: the mode in tau itself is 0 with a single study.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from sidewise.evidence.fit.expected_shares import probability_without
from sidewise.evidence.fit.links import ReadingPrior
from sidewise.evidence.studies.groups import PatientGroup
from sidewise.ground.arrays import Array

NEWTON_STEPS = 8
STARTS = 4
WALKERS, BURN, THIN = 64, 120, 16
T_DEGREES = 6.0
EDGE = 1e-9


@dataclass(frozen=True)
class Draws:
    """D draws of one reading: leak (D,), links (D, P) by `prior.columns`, tau_se, tau_sp (D,)."""

    leak: Array
    links: Array
    tau_se: Array
    tau_sp: Array


@dataclass(frozen=True)
class ReadingFit:
    """The mode, the draws and how well the chain moved (share of jumps taken)."""

    prior: ReadingPrior
    mode: Array = field(repr=False)
    draws: Draws = field(repr=False)
    accepted: float


def expit(x: Array) -> Array:
    """Logistic function, without overflow."""
    return np.asarray(0.5 * (1.0 + np.tanh(0.5 * x)))


class Posterior:
    """Log posterior of one reading's parameters: x of the leak, links, log tau_se, log tau_sp."""

    def __init__(self, prior: ReadingPrior, groups: Sequence[PatientGroup]) -> None:
        self.prior = prior
        self.levels = np.array([group.levels[list(prior.columns)] for group in groups])
        self.positive = np.array([group.positive for group in groups], dtype=float)
        self.size = np.array([group.size for group in groups], dtype=float)
        self.weight = np.array([group.weight for group in groups])
        self.diseased = np.array([group.diseased for group in groups])

    @cached_property
    def dimension(self) -> int:
        """Number of parameters."""
        return len(self.prior.mean) + 2

    def natural(self, theta: Array) -> Draws:
        """(B, dimension) as leak, links and between-study sds."""
        links = expit(theta[:, 1:-2])
        if self.prior.monotone:
            for block in self.prior.blocks:
                links[:, block] = 1 - np.cumprod(1 - links[:, block], axis=1)
        least = self.prior.least_leak
        leak = least + (1 - least) * expit(theta[:, 0])
        tau = np.exp(np.clip(theta[:, -2:], -20, 3))
        return Draws(leak, links, tau[:, 0], tau[:, 1])

    def expected(self, draws: Draws) -> Array:
        """(B, G) expected share of positives of the average study."""
        absent = probability_without(draws.links, self.levels, self.prior.blocks)
        return np.clip(1 - (1 - draws.leak)[:, None] * absent, EDGE, 1 - EDGE)

    def log_prior(self, theta: Array) -> Array:
        """(B,) normal priors, and half-normal sds with the Jacobian of their logarithm."""
        z = (theta[:, :-2] - self.prior.mean) / self.prior.sd
        tau = np.exp(np.clip(theta[:, -2:], -20, 3)) / self.prior.tau_scale
        return np.asarray(
            -0.5 * (z * z).sum(axis=1) + (theta[:, -2:] - 0.5 * tau * tau).sum(axis=1)
        )

    def __call__(self, theta: Array) -> Array:
        """(B,) log posterior up to a constant, of (B, dimension)."""
        draws = self.natural(theta)
        share = self.expected(draws)
        centre = np.log(share) - np.log1p(-share)
        tau = np.where(self.diseased, draws.tau_se[:, None], draws.tau_sp[:, None])
        marginal = logit_normal_binomial(self.positive, self.size, centre, tau)
        return np.asarray(self.log_prior(theta) + marginal @ self.weight)


def logit_normal_binomial(positive: Array, size: Array, centre: Array, tau: Array) -> Array:
    """log of the integral over u ~ N(0, tau) of Binomial(positive | size, logistic(centre + u)).

    Laplace's method; without the binomial coefficient; arrays of one shape (B, G).
    """
    u = np.zeros_like(centre)
    precision = 1 / (tau * tau)
    for _ in range(NEWTON_STEPS):
        p = expit(centre + u)
        gradient = positive - size * p - precision * u
        curvature = size * p * (1 - p) + precision
        # A step of more than two logits overshoots where the binomial is flat.
        u = u + np.clip(gradient / curvature, -2.0, 2.0)
    p = np.clip(expit(centre + u), EDGE, 1 - EDGE)
    curvature = size * p * (1 - p) + precision
    value = positive * np.log(p) + (size - positive) * np.log1p(-p) - 0.5 * precision * u * u
    return np.asarray(value - np.log(tau) - 0.5 * np.log(curvature))


def fit_reading(
    prior: ReadingPrior, groups: Sequence[PatientGroup], count: int, rng: np.random.Generator
) -> ReadingFit:
    """Mode and `count` draws; without groups the draws are the prior's own."""
    if not groups:
        return _prior_only(prior, count, rng)
    posterior = Posterior(prior, groups)
    mode = _mode(posterior, rng)
    around = ModeProposal(posterior, mode)
    chain, accepted = _chain(posterior, around, count, rng)
    return ReadingFit(prior, mode, posterior.natural(chain), accepted)


def prior_draws(prior: ReadingPrior, count: int, rng: np.random.Generator) -> Array:
    """(count, dimension) from the prior."""
    links = prior.mean + prior.sd * rng.standard_normal((count, len(prior.mean)))
    tau = np.abs(rng.standard_normal((count, 2))) * prior.tau_scale
    return np.hstack([links, np.log(np.maximum(tau, 1e-3))])


def _prior_only(prior: ReadingPrior, count: int, rng: np.random.Generator) -> ReadingFit:
    posterior = Posterior(prior, ())
    theta = prior_draws(prior, count, rng)
    mode = np.concatenate([prior.mean, [0.0, 0.0]])
    return ReadingFit(prior, mode, posterior.natural(theta), 1.0)


def _value_and_slope(posterior: Posterior, theta: Array) -> tuple[float, Array]:
    step = 1e-5
    shifts = np.vstack([np.zeros((1, len(theta))), step * np.eye(len(theta))])
    values = posterior(np.vstack([theta + shifts, theta - shifts[1:]]))
    n = len(theta)
    return -float(values[0]), -(values[1 : n + 1] - values[n + 1 :]) / (2 * step)


def _mode(posterior: Posterior, rng: np.random.Generator) -> Array:
    from scipy.optimize import minimize

    starts = np.vstack([np.append(posterior.prior.mean, [-0.5, -0.5]),
                        prior_draws(posterior.prior, STARTS - 1, rng)])  # fmt: skip
    found = [
        minimize(lambda x: _value_and_slope(posterior, x), x0, jac=True, method="L-BFGS-B")
        for x0 in np.clip(starts, -6, 6)
    ]
    return np.asarray(min(found, key=lambda result: float(result.fun)).x)


class ModeProposal:
    """Multivariate t around the mode, shaped by the curvature (an sd of 1.5 at most)."""

    def __init__(self, posterior: Posterior, mode: Array) -> None:
        step, n = 1e-3, len(mode)
        slopes = [
            _value_and_slope(posterior, mode + sign * step * axis)[1]
            for axis in np.eye(n)
            for sign in (1, -1)
        ]
        hessian = np.array([(slopes[2 * i] - slopes[2 * i + 1]) / (2 * step) for i in range(n)])
        values, vectors = np.linalg.eigh(0.5 * (hessian + hessian.T))
        self.mode = mode
        self.sd = 1 / np.sqrt(np.maximum(values, 1 / 1.5**2))
        self.axes = vectors

    def draw(self, count: int, rng: np.random.Generator) -> Array:
        """(count, dimension)."""
        z = rng.standard_normal((count, len(self.mode)))
        stretch = np.sqrt(T_DEGREES / rng.chisquare(T_DEGREES, size=(count, 1)))
        return np.asarray(self.mode + (z * stretch * self.sd) @ self.axes.T)

    def log_density(self, theta: Array) -> Array:
        """(B,) up to a constant."""
        z = (theta - self.mode) @ self.axes / self.sd
        power = -0.5 * (T_DEGREES + len(self.mode))
        return np.asarray(power * np.log1p((z * z).sum(axis=1) / T_DEGREES))


def _chain(
    posterior: Posterior, around: ModeProposal, count: int, rng: np.random.Generator
) -> tuple[Array, float]:
    walkers = around.draw(max(WALKERS, 2 * posterior.dimension + 2), rng)
    value = posterior(walkers)
    half, taken, moves = len(walkers) // 2, 0, 0
    kept_: list[Array] = []
    needed = -(-count // len(walkers))
    for step in range(BURN + THIN * needed):
        for mine, other in ((slice(0, half), slice(half, None)),
                            (slice(half, None), slice(0, half))):  # fmt: skip
            _stretch(posterior, walkers, value, mine, walkers[other], rng)
        taken, moves = taken + _jump(posterior, around, walkers, value, rng), moves + len(walkers)
        if step >= BURN and (step - BURN) % THIN == THIN - 1:
            kept_.append(walkers.copy())
    chain = np.vstack(kept_)
    return chain[rng.permutation(len(chain))[:count]], taken / moves


def _jump(
    posterior: Posterior,
    around: ModeProposal,
    walkers: Array,
    value: Array,
    rng: np.random.Generator,
) -> int:
    """One independent proposal for every walker, in place; the number that moved."""
    proposal = around.draw(len(walkers), rng)
    found = posterior(proposal)
    gain = found - value + around.log_density(walkers) - around.log_density(proposal)
    accept = np.log(rng.random(len(walkers))) < gain
    walkers[accept], value[accept] = proposal[accept], found[accept]
    return int(accept.sum())


def _stretch(
    posterior: Posterior,
    walkers: Array,
    value: Array,
    mine: slice,
    others: Array,
    rng: np.random.Generator,
) -> None:
    """One stretch move of half the walkers, in place."""
    here = walkers[mine]
    n, d = here.shape
    z = (rng.random((n,)) + 1.0) ** 2 / 2.0
    partner = others[rng.integers(len(others), size=n)]
    proposal = partner + z[:, None] * (here - partner)
    found = posterior(proposal)
    accept = np.log(rng.random(n)) < (d - 1) * np.log(z) + found - value[mine]
    walkers[mine] = np.where(accept[:, None], proposal, here)
    value[mine] = np.where(accept, found, value[mine])
