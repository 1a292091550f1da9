"""The face of the engine: which names it offers, and that its page says what each is."""

from __future__ import annotations

import subprocess
import sys

from sidewise import network

OFFERED = {
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
}


def test_the_names_offered_are_these() -> None:
    assert set(network.__all__) == OFFERED
    assert len(network.__all__) == len(OFFERED)


def test_every_name_offered_is_documented_where_it_is_made() -> None:
    undocumented = [
        name for name in OFFERED - {"Observation"} if not getattr(network, name).__doc__
    ]
    assert undocumented == []


def test_no_name_offered_hides_a_module() -> None:
    modules = {name.split(".")[2] for name in sys.modules if name.startswith("sidewise.network.")}
    assert len(modules) > 15
    assert modules & OFFERED == set()


def test_importing_the_engine_loads_neither_numba_nor_scipy() -> None:
    ask = "import sys, sidewise.network; print({'numba', 'scipy'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"
