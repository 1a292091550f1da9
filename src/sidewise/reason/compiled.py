"""Weigh with compiled code from now on, where numba is installed: same answers, sooner.

`python -m sidewise.reason.compiled` compiles beforehand, so that nobody waits for it later.
"""

from __future__ import annotations

import sys
import time
from threading import Thread

from sidewise.reason.engine import lower


def use_compiled() -> bool:
    """Compile, or load what was compiled, then use it; whether it is used.

    Until it is ready, and where numba is missing, everything is weighed by numpy.
    """
    if not lower.available():
        return False
    lower.warm_up()
    return lower.turn_on()


def use_compiled_soon() -> Thread:
    """The same in a thread of its own, so that a service answers meanwhile."""
    thread = Thread(target=use_compiled, name="compiling", daemon=True)
    thread.start()
    return thread


def main() -> int:
    """Compile now and say so."""
    if not lower.available():
        print("No numba here: everything is weighed by numpy, with the same answers.")
        return 0
    print("Compiling the sums of the reasoner (half a minute, once) ...", flush=True)
    start = time.perf_counter()
    use_compiled()
    print(f"Done in {time.perf_counter() - start:.0f} s.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
