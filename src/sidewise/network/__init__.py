"""Exact inference in a noisy-OR network of conditions and findings, on plain arrays.

It knows no files, no protocol, no region and no words of the trade beyond condition, reading,
family and complaint. What stands in `__all__` is all that other packages use.

Axes: D parameter draws, N records, B a batch (draws, or rows of evidence), V variables
(conditions of one side or of the person), L most levels of a variable, R readings, F families,
n readings asked about. The draw or row axis is always the first.

The network
    Structure(variables, readings, pairs, complaints) of Variable(name, levels=2), Reading(name,
    parents, family, mechanism, core), SidePair(left, right), Complaint(name, parents).
    Parameters(prior (D, V, L), link (D, links), leak (D, R), rho_structure (D, F), rho_mechanism
    (D, F), concordance (D, pairs), complaint_link (D, links), complaint_leak (D, complaints)); an
    axis D may be 1 where all draws agree. Network(structure, parameters) checks one against the
    other; `.mean()` has the mean of the draws as its only parameters. `independent` drops the
    families. `pre_selection` turns priors of people who complain into priors before the complaint.

What was found
    observed(structure, {name: observation}), observed_rows(readings, present (N, n)) -> Evidence.
    Observation: True, False, or a pair of likelihoods (if absent, if present). A reading that is
    not named was not examined.

Answers
    solve(network, evidence) -> Solution(marginal (B, V, L), log_evidence (B,)). prior_solution
    and unexamined: with nothing examined; with_prior_solution hands such an answer on.
    posterior, or summarise of a solution -> Summary: means and 95% intervals over the draws.
    effects(network, evidence, groups) -> Effects: what each finding changed, and each group of
    findings left out together, such as mechanisms_seen(structure, evidence).
    gains(network, evidence) -> Gains: what each reading not yet examined can be expected to tell.
    family_counts(shares (n,), mechanisms, rho (D,), rho (D,)) -> (D, n + 1): how many of a
    family's findings are present at once, by the quadrature that `solve` uses.
    side_table(first (L, D), second (L, D), concordance (D,)) -> (L, L, D): prior of two sides.

Simulation
    simulate_records(network, count, rng) -> SimulatedRecords(levels (N, V), present (N, n));
    evidence_percentile(network, evidence, seed) -> Percentile: how usual a record is.

Two ways of computing, the same answers to 1e-12: numpy (`plain/`), and numba (`compiled/`) once
turn_on_compiled has been called. solve_records does many records at once, compiled only.
"""

from __future__ import annotations

from sidewise.network.compiled.records import solve_records
from sidewise.network.compiled.turned_on import available as compiled_available
from sidewise.network.compiled.turned_on import is_on as compiled_is_on
from sidewise.network.compiled.turned_on import turn_on as turn_on_compiled
from sidewise.network.complaint import pre_selection
from sidewise.network.elimination import prior_solution, solve, unexamined, with_prior_solution
from sidewise.network.evidence import Evidence, Observation, observed, observed_rows
from sidewise.network.families import family_counts
from sidewise.network.finding_effects import Effects, effects, mechanisms_seen
from sidewise.network.forms import warm_up_compiled
from sidewise.network.gain import Change, Gains, ItemGain, gains
from sidewise.network.joint_tables import side_table
from sidewise.network.model import Network, independent
from sidewise.network.parameters import Parameters, lowest_link, lowest_links
from sidewise.network.simulation import (
    Percentile,
    SimulatedRecords,
    evidence_percentile,
    simulate_records,
)
from sidewise.network.solution import Solution
from sidewise.network.structure import Complaint, Reading, SidePair, Structure, Variable
from sidewise.network.summary import Summary, posterior, summarise

__all__ = [
    "Change",
    "Complaint",
    "Effects",
    "Evidence",
    "Gains",
    "ItemGain",
    "Network",
    "Observation",
    "Parameters",
    "Percentile",
    "Reading",
    "SidePair",
    "SimulatedRecords",
    "Solution",
    "Structure",
    "Summary",
    "Variable",
    "compiled_available",
    "compiled_is_on",
    "effects",
    "evidence_percentile",
    "family_counts",
    "gains",
    "independent",
    "lowest_link",
    "lowest_links",
    "mechanisms_seen",
    "observed",
    "observed_rows",
    "posterior",
    "pre_selection",
    "prior_solution",
    "side_table",
    "simulate_records",
    "solve",
    "solve_records",
    "summarise",
    "turn_on_compiled",
    "unexamined",
    "warm_up_compiled",
    "with_prior_solution",
]
