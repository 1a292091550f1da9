"""Whole interpretations, compiled and in numpy; a service that wishes for compiled code."""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import pytest

from sidewise.reason import compiled, interpret
from sidewise.reason.engine import lower
from sidewise.record import read_record

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.json"))
needs_numba = pytest.mark.skipif(not lower.available(), reason="numba is an optional extra")
# A limit is a centile of a running sum of 500 weights; where two draws share it, the last digits of
# the weights decide on which side it falls.
LIMIT = 1e-7


@pytest.fixture
def numpy_again() -> Iterator[None]:
    """Back to numpy afterwards."""
    yield
    lower.turn_on(False)
    compiled._wish.wanted = False


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
    record = read_record(path)
    lower.turn_on(False)
    expected = dict(numbers(interpret(record)))
    assert compiled.use_compiled()
    found = dict(numbers(interpret(record)))
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
    monkeypatch.setattr(compiled, "use_compiled", done.release)
    compiled.weighing()
    assert not done.acquire(timeout=0.2)
    compiled.wish_for_compiled()
    assert not done.acquire(timeout=0.2)
    compiled.weighing()
    assert done.acquire(timeout=10)
    compiled.weighing()
    assert not done.acquire(timeout=0.2)


def test_what_the_first_weighing_needs_is_loaded_before_it(
    monkeypatch: pytest.MonkeyPatch, numpy_again: None
) -> None:
    compiled.wish_for_compiled()
    compiled._ready()
    assert lower.is_on() is lower.available()
    monkeypatch.setattr(compiled, "use_compiled", pytest.fail)
    compiled.weighing()


def test_without_numba_the_command_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(lower, "available", lambda: False)
    assert compiled.use_compiled() is False
    assert compiled.main() == 0
    assert capsys.readouterr().out.startswith("No numba here: everything is weighed by numpy")
