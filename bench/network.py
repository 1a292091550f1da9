"""Speed of the engine beside a general-purpose exact library, and how its cost grows.

    python bench/network.py [--quick]

Ratios are of medians taken in one run on the same records; evidence set-up is inside the time of
both. Networks are invented; their shape (two sides, graded conditions, families) is that of a
full examination.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.network.agrum import ENGINES, bayes_net
from tests.network.oracle import random_network, random_parameters

from sidewise.network import (
    Evidence,
    Network,
    Reading,
    Structure,
    effects,
    evidence_percentile,
    gains,
    independent,
    observed_rows,
    posterior,
    prior_solution,
    simulate_records,
    solve,
    solve_records,
)
from sidewise.network import compiled_available as available


def network_of(
    seed: int, *, sides: int = 17, findings: int = 97, levels: int = 3, draws: int = 500
) -> Network:
    """Two sides, three conditions of the person, families of one core condition each."""
    rng = np.random.default_rng(seed)
    plain = random_network(
        rng,
        sides=sides,
        persons=3,
        findings=findings,
        most_levels=levels,
        most_parents=4,
        families=False,
        complaints=1,
    )
    old = plain.structure
    readings = tuple(_in_family(r) for r in old.readings)
    structure = Structure(old.variables, readings, old.pairs, old.complaints)
    return Network(structure, _rare(random_parameters(rng, structure, draws), rng))


def _in_family(reading: Reading) -> Reading:
    core = reading.parents[0]
    mechanism = "pain" if sum(map(ord, reading.name)) % 2 else "weakness"
    return Reading(reading.name, reading.parents, core, mechanism, (core,))


def _rare(parameters, rng: np.random.Generator):
    """Prevalences log-uniform from 0.005 to 0.2."""
    prior = parameters.prior
    share = np.exp(rng.uniform(np.log(0.005), np.log(0.2), prior.shape[1]))[None, :, None]
    prior[:, :, 1:] *= share / np.maximum(prior[:, :, 1:].sum(axis=2, keepdims=True), 1e-9)
    prior[:, :, 0] = 1.0 - prior[:, :, 1:].sum(axis=2)
    return parameters


def records_of(network: Network, seen: int, count: int, seed: int) -> list[Evidence]:
    """Invented records, each with its own `seen` readings."""
    rng = np.random.default_rng(seed)
    one = network.take(slice(0, 1))
    found = []
    for _ in range(count):
        readings = tuple(rng.choice(len(one.structure.readings), seen, replace=False).tolist())
        records = simulate_records(one, 1, rng, readings)
        found.append(observed_rows(records.readings, records.present))
    return found


def times(run: Callable[[Evidence], object], records: list[Evidence]) -> tuple[float, float, float]:
    """Median and 95th centile of the wall time, median of the CPU time, milliseconds."""
    wall, cpu = [], []
    for record in records:
        clock, process = time.perf_counter(), time.process_time()
        run(record)
        wall.append(1e3 * (time.perf_counter() - clock))
        cpu.append(1e3 * (time.process_time() - process))
    return float(np.median(wall)), float(np.percentile(wall, 95)), float(np.median(cpu))


def row(label: str, timing: tuple[float, float, float], note: str = "") -> None:
    print(f"{label:<58}{timing[0]:9.2f}{timing[1]:9.2f}{timing[2]:9.2f}  {note}", flush=True)


def heading(title: str) -> None:
    print(f"\n{title}\n{'':<58}{'median':>9}{'p95':>9}{'CPU':>9}  (ms)", flush=True)


def _agrum_run(net, engine, names, levels, targets: bool):
    def run(record: Evidence) -> None:
        inference = engine(net)
        if targets:
            inference.setTargets(set(levels))
        values = record.present[0].astype(int).tolist()
        inference.setEvidence({names[r]: v for r, v in zip(record.readings, values, strict=True)})
        inference.makeInference()
        for name in levels:
            inference.posterior(name)

    return run


def against_peers(count: int, batch: int) -> None:
    """Plain networks: every engine and option of the peer that gives all marginals exactly."""
    heading("Plain network, all marginals of one record, evidence set-up included")
    for label, sides, findings, seen in (
        ("16 conditions", 6, 45, 30),
        ("37 conditions", 17, 97, 60),
    ):
        graded = independent(network_of(1, sides=sides, findings=findings, draws=1))
        network = Network(
            Structure(graded.structure.variables, graded.structure.readings),
            type(graded.parameters)(
                graded.parameters.prior, graded.parameters.link, graded.parameters.leak
            ),
        )
        net = bayes_net(network)
        records = records_of(network, seen, count, 2)
        names = [r.name for r in network.structure.readings]
        levels = [v.name for v in network.structure.variables]
        peers = {
            name + (", conditions as targets" if targets else ""): times(
                _agrum_run(net, engine, names, levels, targets), records
            )
            for name, engine in ENGINES.items()
            for targets in (False, True)
        }
        for name, timing in peers.items():
            row(f"{label}, pyAgrum {name}", timing)
        best = min(peers, key=lambda n: peers[n][0])
        solve(network, records[0])
        ours = times(partial(solve, network), records)
        row(f"{label}, numpy", ours, f"{peers[best][0] / ours[0]:.1f} times {best}")
        if available():
            _batch(network, seen, batch, peers[best][0], best, label)


def _batch(network: Network, seen: int, count: int, peer: float, best: str, label: str) -> None:
    rng = np.random.default_rng(3)
    records = simulate_records(network, count, rng)
    codes = records.present.astype(np.int8)
    unseen = rng.random(codes.shape).argsort(axis=1) >= seen
    codes[unseen] = -1
    solve_records(network, records.readings, codes[:50])
    clock = time.perf_counter()
    solve_records(network, records.readings, codes)
    each = 1e3 * (time.perf_counter() - clock) / count
    row(f"{label}, compiled batch of {count}", (each,) * 3, f"{peer / each:.0f} times {best}")


def whole_job(count: int) -> None:
    heading("Two sides, 37 conditions, 194 readings, families, complaint, 500 draws")
    network = network_of(1)
    mean = network.mean()
    row(
        "nothing examined (priors given the complaint), once",
        times(lambda _: prior_solution(network), [records_of(network, 1, 1, 1)[0]]),
    )
    prior_solution(mean)
    for seen in (30, 45, 60):
        records = records_of(network, seen, count, seen)
        row(f"{seen} seen: 500 weighted draws", times(lambda r: posterior(network, r), records))
        row(f"{seen} seen: effects", times(lambda r: effects(mean, r), records))
        row(f"{seen} seen: expected gain", times(lambda r: gains(mean, r), records))
        row(
            f"{seen} seen: unusual combination",
            times(lambda r: evidence_percentile(mean, r, 1), records),
        )


def _draws_row(label: str, network: Network, seen: int, count: int) -> None:
    prior_solution(network)
    row(label, times(partial(posterior, network), records_of(network, seen, count, 1)))


def growth(count: int) -> None:
    heading("Growth of the weighted draws (45 seen unless said)")
    for sides in (6, 10, 17, 24):
        _draws_row(f"{2 * sides + 3} conditions", network_of(2, sides=sides), 45, count)
    for levels in (2, 3, 5):
        _draws_row(f"up to {levels} levels", network_of(3, levels=levels), 45, count)
    network = network_of(4, draws=2000)
    some = network.take(slice(0, 500))
    for seen in (15, 30, 60, 90):
        _draws_row(f"{seen} findings", some, seen, count)
    for draws in (1, 100, 500, 2000):
        _draws_row(f"{draws} draws", network.take(slice(0, draws)), 45, count)
    _draws_row("with families", some, 45, count)
    _draws_row("without families", independent(some), 45, count)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="few repeats, for a look")
    quick = parser.parse_args().quick
    against_peers(10 if quick else 60, 2000 if quick else 50_000)
    whole_job(4 if quick else 30)
    growth(3 if quick else 15)


if __name__ == "__main__":
    main()
