"""Exact posterior of every condition by summing variables out, batched over draws or what-ifs.

Bucket elimination in two passes (Dechter, Artificial Intelligence 1999; 113:41-85). `problem` says
what is to be summed, `forms` in which way of computing, `switches` with which findings rewritten.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.network.evidence import Evidence
from sidewise.network.forms import form_of
from sidewise.network.model import Network
from sidewise.network.problem import problem_of, widths
from sidewise.network.solution import Solution
from sidewise.network.switches import choose_switches


def solve(
    network: Network,
    evidence: Evidence,
    *,
    marginals: bool = True,
    workers: int | None = None,
    switched: frozenset[int] | None = None,
) -> Solution:
    """Posterior of every variable and the evidence, exactly.

    The batch is the draws of the network, or the rows of the evidence; if both are longer than
    one they must be equally long and go together. With `marginals=False` only the evidence is
    computed (about half the work) and `marginal` is empty. `switched`: numbers of the readings
    to be written with a switch, from `switches`; if not said they are chosen here.
    """
    # The complaint is known beforehand, so that its probability is not part of the evidence.
    solution = _solve(network, evidence, marginals, workers, switched)
    if not network.structure.complaints:
        return solution
    return Solution(solution.marginal, solution.log_evidence - log_complaint(network))


@dataclass(frozen=True, eq=False)
class Ranked:
    """Log evidence of rows for ranking, and the table entries it took."""

    log_evidence: Array
    work: int


def ranked_rows(network: Network, evidence: Evidence) -> Ranked:
    """(rows,) log evidence, with switches and no watch on digits: for ranking records only.

    A record so improbable that its digits are lost comes out as minus infinity or near it, which
    is its place in the ranking.
    """
    # Whichever plan is smaller: with all switches, or with none.
    free = frozenset(widths(network, evidence))
    forms = [form_of(problem_of(network, evidence, switched)) for switched in (frozenset(), free)]
    chosen = min(forms, key=lambda form: form.work)
    with np.errstate(divide="ignore", invalid="ignore"):
        found = chosen.swept(False).log_evidence
    log_evidence = np.where(np.isnan(found), -np.inf, found) - log_complaint(network)
    return Ranked(log_evidence, chosen.work * evidence.rows)


def prior_solution(network: Network) -> Solution:
    """The answer with nothing examined: priors given the complaints; kept with the network."""
    cached = _before(network)
    return Solution(cached.marginal, np.zeros_like(cached.log_evidence))


def with_prior_solution(network: Network, before: Solution) -> Network:
    """The network, told its answer with nothing examined: that of one with the same priors.

    before: `unexamined` of a network with the same priors, concordance and complaints.
    """
    if before.marginal.shape[0] not in (1, network.draws):
        raise ValueError(f"{before.marginal.shape[0]} answers for {network.draws} draws")
    network.cache["before"] = before
    return network


def unexamined(network: Network) -> Solution:
    """Priors given the complaints, and the log probability of the complaints themselves."""
    return _before(network)


def log_complaint(network: Network) -> Array:
    """(D,) log probability of the complaints before anything was examined."""
    return _before(network).log_evidence


def _before(network: Network) -> Solution:
    """Nothing examined but the complaints; kept with the network."""
    cached = network.cache.get("before")
    if cached is None:
        cached = network.cache["before"] = _solve(network, _nothing(), True, None)
    assert isinstance(cached, Solution)
    return cached


def _nothing() -> Evidence:
    return Evidence((), np.empty((1, 0)), np.empty((1, 0)))


def _solve(
    network: Network,
    evidence: Evidence,
    marginals: bool,
    workers: int | None,
    switched: frozenset[int] | None = None,
) -> Solution:
    if network.draws > 1 and evidence.rows > 1 and network.draws != evidence.rows:
        raise ValueError(f"{network.draws} draws cannot go with {evidence.rows} rows")
    without = form_of(problem_of(network, evidence))
    if switched is None:
        chosen = choose_switches(without)[1]
    else:
        columns = frozenset(c for c, r in enumerate(evidence.readings) if r in switched)
        chosen = form_of(problem_of(network, evidence, columns)) if columns else None
    # Digits were watched on some rows only; a row that lost them all is summed without switches.
    if chosen is not None:
        found = chosen.swept(marginals, workers)
        if np.isfinite(found.log_evidence).all():
            return found
    return without.swept(marginals, workers)
