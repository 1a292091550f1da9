"""Every place that reads what comes from outside, fed by a fuzzer that follows coverage (atheris).

A door takes what it is given or refuses it in words; nothing else may come out of it. That no door
was forgotten is found out twice: in the program's text, and from what runs behind the doors.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from functools import cache
from importlib.util import find_spec
from typing import Any

import pytest

from tests.safe.fuzz.doors import DOORS
from tests.safe.fuzz.readers import OWN, in_the_text
from tests.safe.stores import ROOT

RUNS, MANY = 100, 2_000


def told(*arguments: str) -> list[dict[str, Any]]:
    """One answer for each door, from a process of its own."""
    command = [sys.executable, "-m", "tests.safe.fuzz", "--json", *arguments]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(lines) == len(DOORS) == 43, done.stderr[-3000:]
    return lines


@cache
def examples() -> list[dict[str, Any]]:
    return told("--examples")


@pytest.fixture
def fuzzer() -> None:
    """Never missing in CI; elsewhere it may have no build for this machine, which is said."""
    if find_spec("atheris") is None:
        assert not os.environ.get("CI"), "atheris must be installed where CI runs"
        pytest.skip("the fuzzer (atheris) is not installed: its builds are for Linux only")


def test_every_reader_of_the_program_is_behind_a_door_or_explained() -> None:
    reached = {name for one in examples() for name in one["reached"]}
    found = in_the_text()
    assert found - reached - set(OWN) == set()
    assert set(OWN) - found == set()  # no explanation of what is not there any more
    assert len(found - set(OWN)) >= 25
    assert f"*door*: {len(DOORS)} doors" in (ROOT / "docs" / "security.md").read_text()


def test_every_door_takes_an_example_of_its_own() -> None:
    """A door whose examples are all refused is fuzzed at its doorstep only."""
    assert [one["door"] for one in examples() if not one["taken"]] == []


def test_every_door_holds(fuzzer: None) -> None:
    held(told(f"--runs={RUNS}"), RUNS)


@pytest.mark.long
def test_every_door_holds_for_long(fuzzer: None) -> None:
    held(told(f"--runs={MANY}"), MANY)


def held(outcomes: list[dict[str, Any]], runs: int) -> None:
    assert {one["door"]: one["failure"] for one in outcomes if one["failure"]} == {}
    for door, one in zip(DOORS, outcomes, strict=True):
        assert one["inputs"] >= runs // door.cost, one
        assert one["accepted"] + one["refused"] == one["inputs"], one
        assert one["accepted"] > 0, one
