"""Whether the compiled path is used; knows numba only by name.

It is turned on by what weighs many records: the app, the batch, the benchmarks. A single record at
the command line stays with numpy, whose first answer does not wait for numba's import (and, in a
new environment, for some twenty seconds of compiling).
"""

from __future__ import annotations

import importlib.util
from dataclasses import dataclass


@dataclass
class _Switch:
    on: bool = False


_switch = _Switch()


def available() -> bool:
    """Whether numba is installed."""
    return importlib.util.find_spec("numba") is not None


def turn_on(on: bool = True) -> bool:
    """Use the compiled path from now on if numba is installed; whether it is used."""
    _switch.on = on and available()
    return _switch.on


def is_on() -> bool:
    """Whether the compiled path is used."""
    return _switch.on
