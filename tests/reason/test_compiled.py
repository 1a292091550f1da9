"""Whole interpretations, compiled and in numpy; a service that wishes for compiled code."""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import pytest

from sidewise import network
from sidewise.reason import interpret
from sidewise.reason.weighing import warm_up
from sidewise.record import read_record
from tests.shoulder import REGIONS, SHOULDER

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.json"))
needs_numba = pytest.mark.skipif(
    not network.compiled_available(), reason="numba is an optional extra"
)
# A limit is a centile of a running sum of 500 weights; where two draws share it, the last digits of
# the weights decide on which side it falls.
LIMIT = 1e-7


@pytest.fixture
def numpy_again() -> Iterator[None]:
    """Back to numpy afterwards."""
    yield
    network.turn_on_compiled(False)
    warm_up._wish.wanted = False


def numbers(told: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Every value of an interpretation with its place."""
    if is_dataclass(told):
        for one in fields(told):
            yield from numbers(getattr(told, one.name), f"{path}.{one.name}")
    elif isinstance(told, dict):
        for key, part in told.items():
            yield from numbers(part, f"{path}[{key}]")
    elif isinstance(told, tuple | list):
        for place, part in enumerate(told):
            yield from numbers(part, f"{path}[{place}]")
    else:
        yield path, told


@needs_numba
@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_an_interpretation_says_the_same(path: Any, numpy_again: None) -> None:
    record = read_record(path, REGIONS)
    network.turn_on_compiled(False)
    expected = dict(numbers(interpret(record, SHOULDER)))
    assert warm_up.use_compiled()
    found = dict(numbers(interpret(record, SHOULDER)))
    assert found.keys() == expected.keys()
    assert len(found) > 500
    for place, value in expected.items():
        if isinstance(value, float):
            assert math.isclose(found[place], value, rel_tol=1e-9, abs_tol=LIMIT), place
        else:
            assert found[place] == value, place


@needs_numba
def test_a_wish_is_fulfilled_once_and_only_when_something_is_weighed(
    monkeypatch: pytest.MonkeyPatch, numpy_again: None
) -> None:
    done = threading.Semaphore(0)
    monkeypatch.setattr(warm_up, "use_compiled", done.release)
    warm_up.fulfil_wish()
    assert not done.acquire(timeout=0.2)
    warm_up.wish_for_compiled()
    assert not done.acquire(timeout=0.2)
    warm_up.fulfil_wish()
    assert done.acquire(timeout=10)
    warm_up.fulfil_wish()
    assert not done.acquire(timeout=0.2)


def test_what_the_first_weighing_needs_is_loaded_before_it(
    monkeypatch: pytest.MonkeyPatch, numpy_again: None
) -> None:
    warm_up.wish_for_compiled()
    warm_up._ready(lambda: [SHOULDER])
    assert network.compiled_is_on() is network.compiled_available()
    monkeypatch.setattr(warm_up, "use_compiled", pytest.fail)
    warm_up.fulfil_wish()


def test_without_numba_the_command_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(network, "compiled_available", lambda: False)
    assert warm_up.use_compiled() is False
    assert warm_up.main() == 0
    assert capsys.readouterr().out.startswith("No numba here: everything is weighed by numpy")
