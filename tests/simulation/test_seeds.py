"""Tablets, people, a network and the service, simulated: what was promised holds in every seed.

`make simulate SEEDS=...` runs many; here are few, some always the same and some of the day. A seed
that fails is named with the line that replays it.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from datetime import UTC, date, datetime
from importlib.util import find_spec

import pytest

from tests.safe.stores import ROOT, SOURCES
from tests.simulation.scripts import ON_EVERY_PAGE, SHIPPED

FIXED = 100
OF_THE_DAY = 100
HAPPENS = (
    "another person", "answer lost", "answered in between", "arrived twice",
    "clock of a tablet set", "clock of the server set", "held entry settled", "long sleep",
    "lost on the way there", "network cut", "queue key lost", "restored", "said kept",
    "said not known", "said refused", "said saved", "service restarted", "signed",
    "tablet crashed", "worker killed",
)  # fmt: skip

engine = pytest.mark.skipif(
    find_spec("quickjs") is None and not os.environ.get("CI"),
    reason="the engine (quickjs-ng) is not installed: it is pinned for Linux on x86-64 only",
)
"""Never skipped in CI: there the engine must be installed."""


def simulated(*options: str) -> str:
    """What the command says; it must succeed. In a process of its own: it sets clock and chance."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("SIDEWISE_")}
    done = subprocess.run(
        [sys.executable, "-m", "tests.simulation", "--workers", "1", *options],
        env={**kept, "PYTHONPATH": SOURCES}, cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, (done.stdout + done.stderr)[-4000:]
    return done.stdout


@engine
def test_the_first_seeds_hold() -> None:
    """A dozen, for whoever only wants to know whether something is badly wrong."""
    assert "12 seeds from 0, 0 failed" in simulated("--seeds", "12")


@engine
@pytest.mark.slow
def test_fixed_seeds_hold_and_everything_happens_in_them() -> None:
    said = simulated("--seeds", str(FIXED), "--stop")
    counts = {what: int(number) for number, what in re.findall(r"^ *(\d+) (.+)$", said, re.M)}
    missing = [what for what in HAPPENS if not counts.get(what)]
    assert not missing, f"never happened: {missing}"


@engine
@pytest.mark.slow
def test_seeds_of_the_day_hold() -> None:
    """Others each day; the command names those that fail."""
    first = 1_000_000 + (datetime.now(UTC).date() - date(2026, 1, 1)).days * OF_THE_DAY
    said = simulated("--first", str(first), "--seeds", str(OF_THE_DAY))
    assert f"{OF_THE_DAY} seeds from {first}, 0 failed" in said


@engine
def test_a_seed_replays_to_the_letter() -> None:
    """Every line, in two processes, alone or after others: times, answers, ids."""
    once = simulated("--replay", "5")
    assert once == simulated("--replay", "5", "--after", "2")
    assert len(once.splitlines()) > 20


def test_the_simulated_scripts_are_those_of_every_page() -> None:
    page = (SHIPPED.parents[1] / "keeping/templates/keeping/scripts.html").read_text()
    assert tuple(re.findall(r"'sidewise/(\w+\.js)'", page)) == ON_EVERY_PAGE
