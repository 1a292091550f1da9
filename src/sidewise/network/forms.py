"""A problem in one of two ways of computing: numpy, or compiled. Both give the same answer."""

from __future__ import annotations

from typing import Protocol

import numpy as np

from sidewise.network.compiled import turned_on
from sidewise.network.compiled.form import MOST_ENTRIES, CompiledForm
from sidewise.network.evidence import Evidence
from sidewise.network.model import Network
from sidewise.network.parameters import Parameters
from sidewise.network.plain.form import PlainForm
from sidewise.network.problem import Problem, problem_of
from sidewise.network.solution import Solution
from sidewise.network.structure import Reading, Structure, Variable


class Form(Protocol):
    """A problem, planned in one way of computing."""

    @property
    def problem(self) -> Problem:
        """What is to be summed."""

    @property
    def work(self) -> int:
        """Table entries of one run over one row."""

    def swept(self, marginals: bool, workers: int | None = None) -> Solution:
        """Both passes over the whole batch; only upwards if no marginals are wanted."""

    def digits_lost(self, part: slice) -> float:
        """Decimal digits lost to cancellation: log10 of the sum without signs over the sum."""


def form_of(problem: Problem) -> Form:
    """The problem in the compiled form if that is turned on and its tables are not too large."""
    # Compiled plans cost a tenth of a millisecond, so that one may be made and thrown away.
    if turned_on.is_on():
        form = CompiledForm(problem)
        if form.work <= MOST_ENTRIES:
            return form
    return PlainForm(problem)


def warm_up_compiled() -> None:
    """Compile everything, or load what was compiled, by summing over a small network."""
    structure = Structure((Variable("a"), Variable("b")), (Reading("f", ("a", "b")),))
    prior = np.array([[[0.5, 0.5], [0.5, 0.5]]])
    network = Network(structure, Parameters(prior, np.full((1, 2), 0.5), np.full((1, 1), 0.5)))
    problem = problem_of(network, Evidence((0,), np.zeros((1, 1)), np.ones((1, 1))))
    CompiledForm(problem).swept(True)
