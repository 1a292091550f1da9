"""Priors before the complaint, from published figures that hold in people who complain.

People were seen because something hurts, and the network knows it: each complaint is a noisy-OR
of the painful conditions, known to be present. Published prevalences are of such people. So the
priors are solved for: those that, after conditioning on the complaints, equal the published ones.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.network.parameters import Parameters
from sidewise.network.structure import Structure

CLOSE_ENOUGH = 1e-10


def pre_selection(structure: Structure, parameters: Parameters, rounds: int = 500) -> Parameters:
    """The parameters with `prior` replaced so that, given the complaints, it is met again.

    Fixed point w <- w * target / P(level | complaints), until no level is off by 1e-10. Sides
    are taken as independent here: concordance shifts the result a little where both sides
    complain, and carries some of one side's complaint over to the other, as it should.
    """
    if not structure.complaints:
        return parameters
    prior = np.moveaxis(parameters.prior, 0, -1)
    kept = _kept_by_complaint(structure, parameters)
    # What makes nobody complain keeps its figures, and changes nothing for the others.
    felt = (kept != 1.0).any(axis=(0, 2, 3))
    target, kept = np.ascontiguousarray(prior[felt]), kept[:, felt]
    assert parameters.complaint_leak is not None
    quiet = 1.0 - parameters.complaint_leak.T
    draws = max(target.shape[-1], kept.shape[-1], quiet.shape[-1])
    weight = np.repeat(target, draws // target.shape[-1], axis=-1)
    for _ in range(rounds):
        after = given_complaints(weight, kept, quiet)
        if np.abs(after - target).max() < CLOSE_ENOUGH:
            break
        # A level met by nobody stays at zero.
        weight = weight * (target / np.where(after > 0.0, after, 1.0))
        weight /= weight.sum(axis=1, keepdims=True)
    found = np.repeat(prior, weight.shape[-1] // prior.shape[-1], axis=-1)
    found[felt] = weight
    return replace(parameters, prior=np.moveaxis(found, -1, 0))


def given_complaints(weight: Array, kept: Array, quiet: Array) -> Array:
    """(V, L, D) level probabilities given every complaint, from (V, L, D) priors.

    kept: (C, V, L, D) 1 - link of each complaint; quiet: (C, D) 1 - leak. Inclusion and exclusion
    over the complaints: P(levels, all complaints) = sum over subsets S of
    (-1)^|S| P(levels) * product over S of P(no complaint | levels).
    """
    count = len(quiet)
    total = np.zeros_like(weight)
    for size in range(count + 1):
        for subset in itertools.combinations(range(count), size):
            chosen = list(subset)
            part = weight * np.multiply.reduce(kept[chosen], axis=0)
            by_variable = part.sum(axis=1)
            whole = np.multiply.reduce(quiet[chosen], axis=0) * by_variable.prod(axis=0)
            total += (-1.0) ** size * part * (whole / by_variable)[:, None]
    return np.asarray(total / total.sum(axis=1, keepdims=True))


def _kept_by_complaint(structure: Structure, parameters: Parameters) -> Array:
    links = parameters.complaint_link
    assert links is not None
    shape = (len(structure.complaints), len(structure.variables), max(structure.levels), len(links))
    kept = np.ones(shape)
    for complaint, parents in enumerate(structure.complaint_parents):
        for position, variable in enumerate(parents):
            columns = structure.complaint_columns(complaint, position)
            kept[complaint, variable, 1 : structure.levels[variable]] -= links[:, columns].T
    return kept
