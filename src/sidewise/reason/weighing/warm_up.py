"""Weigh with compiled code from now on, where numba is installed: same answers, sooner.

`python -m sidewise.reason.weighing.warm_up` compiles beforehand, so that nobody waits for it later.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from threading import Lock, Thread

from sidewise.knowledge.region import Region
from sidewise.record import Context, Record


def use_compiled() -> bool:
    """Compile, or load what was compiled, then use it; whether it is used.

    Until it is ready, and where numba is missing, everything is weighed by numpy.
    """
    from sidewise import network

    if network.compiled_is_on():
        return True
    if not network.compiled_available():
        return False
    network.warm_up_compiled()
    return network.turn_on_compiled()


@dataclass
class _Wish:
    wanted: bool = False
    lock: Lock = field(default_factory=Lock)


_wish = _Wish()


def wish_for_compiled() -> None:
    """A service asks for compiled code; nothing is loaded before something is weighed."""
    _wish.wanted = True


def fulfil_wish() -> None:
    """Something is being weighed: fulfil the wish, once, in a thread of its own.

    This time numpy answers, so that nobody waits for the loading; a process that never weighs
    loads nothing.
    """
    with _wish.lock:
        wanted, _wish.wanted = _wish.wanted, False
    if wanted:
        Thread(target=use_compiled, name="compiling", daemon=True).start()


def ready_soon(door: Callable[[], Iterable[Region]]) -> None:
    """Load in a thread of its own what a first touch would wait for: knowledge, code, the line."""
    Thread(target=_ready, args=(door,), name="loading", daemon=True).start()


def _ready(door: Callable[[], Iterable[Region]]) -> None:
    from sidewise.reason import interpret
    from sidewise.record.line import read_line

    with _wish.lock:
        _wish.wanted = False
    use_compiled()
    for region in door():
        read_line("nothing", region)
        for complaint in ((), ("left",), ("right",), ("left", "right")):
            interpret(_nothing_found(region.id, complaint), region)


def _nothing_found(region: str, complaint: tuple[str, ...]) -> Record:
    now = {"patient": "NOBODY", "examiner": "nobody", "examined_at": "2026-01-01T00:00:00Z"}
    context = Context.model_validate({**now, "complaint": complaint})
    return Record(id="loading", region=region, context=context)


def main() -> int:
    """Compile now and say so."""
    from sidewise import network

    if not network.compiled_available():
        print("No numba here: everything is weighed by numpy, with the same answers.")
        return 0
    print("Compiling the sums of the reasoner (half a minute, once) ...", flush=True)
    start = time.perf_counter()
    use_compiled()
    print(f"Done in {time.perf_counter() - start:.0f} s.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
