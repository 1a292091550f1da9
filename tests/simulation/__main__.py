"""`make simulate SEEDS=10000`: that many seeds, on every core; a seed that fails is named.

    python -m tests.simulation [--first N] [--seeds N] [--workers N]
    python -m tests.simulation --replay SEED [--after N]    every line of what happened in it, after
                                                            the N seeds before it were run too

The same seed does the same to the letter; the last line counts what happened in all of them.
"""

from __future__ import annotations

import argparse
import hashlib
import random
import sys
import traceback
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from typing import Any

_service: Any = None


@dataclass
class Outcome:
    """What became of some seeds."""

    seeds: int = 0
    failed: dict[int, str] = field(default_factory=dict)
    counts: Counter[str] = field(default_factory=Counter)


def run_seed(seed: int, told: bool = False) -> tuple[str, str, dict[str, int]]:
    """Why it failed (nothing if it did not), a digest of what happened, and how often what did."""
    global _service
    from tests.simulation.service import make_service, seeded_chance

    if _service is None:
        with seeded_chance(random.Random(0)):
            _service = make_service()
    from tests.simulation import invariants
    from tests.simulation.world import Broken, World

    why = ""
    with seeded_chance(random.Random(seed)):
        world = World(_service, seed, told)
        try:
            world.run()
            invariants.peace(world)
            invariants.check(world)
        except Broken as error:
            why = str(error)
        except Exception:  # noqa: BLE001 - whatever it is, the seed is named
            why = traceback.format_exc()
    if why:
        world.note(f"BROKEN: {why}")
    digest = hashlib.sha256("\n".join(world.trace).encode()).hexdigest()
    counts = {**world.counts, "touches": world.touches, "requests": world.service.asked}
    return why, digest, counts


def run_seeds(seeds: range) -> Outcome:
    """Each in turn, in this process."""
    outcome = Outcome()
    for seed in seeds:
        why, _, counts = run_seed(seed)
        outcome.seeds += 1
        outcome.counts.update(counts)
        if why:
            outcome.failed[seed] = why
    return outcome


def run_on(workers: int, first: int, count: int, stop: bool = False) -> Outcome:
    """The same on several cores; `stop` at the first part in which one failed."""
    size = max(1, min(250, count // (workers * 10)))
    parts = [range(n, min(n + size, first + count)) for n in range(first, first + count, size)]
    whole = Outcome()
    with ProcessPoolExecutor(workers) as pool:
        for part in pool.map(run_seeds, parts):
            whole.seeds += part.seeds
            whole.failed |= part.failed
            whole.counts.update(part.counts)
            print(f"{whole.seeds} of {count} seeds, {len(whole.failed)} failed", flush=True)
            for seed, why in part.failed.items():
                print(
                    f"SEED {seed}: {why}\n  python -m tests.simulation --replay {seed}", flush=True
                )
            if whole.failed and stop:
                pool.shutdown(cancel_futures=True)
                break
    return whole


def main(arguments: list[str]) -> int:
    """Status 0 if every seed holds."""
    parser = argparse.ArgumentParser(prog="python -m tests.simulation")
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seeds", type=int, default=200)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--replay", type=int)
    parser.add_argument("--after", type=int, default=0)
    parser.add_argument("--stop", action="store_true")
    chosen = parser.parse_args(arguments)
    if chosen.replay is not None:
        for seed in range(chosen.replay - chosen.after, chosen.replay):
            run_seed(seed)
        why, digest, _ = run_seed(chosen.replay, told=True)
        print(f"digest of the trace: {digest}")
        return bool(why)
    done = run_on(chosen.workers, chosen.first, chosen.seeds, chosen.stop)
    for what, number in sorted(done.counts.items()):
        print(f"{number:9d} {what}")
    print(f"{done.seeds} seeds from {chosen.first}, {len(done.failed)} failed")
    return bool(done.failed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
