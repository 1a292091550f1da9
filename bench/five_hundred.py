"""One whole interpretation beside 500 inferences of a general-purpose exact library.

    python bench/five_hundred.py [--quick]

An interpretation with intervals takes 500 weighted draws of the parameters, the effect of every
finding and the gain of every item that is still open. Without this engine each draw would be one
inference: the peer, on the network and the evidence of the same record, is run so, by the fastest
of its exact engines, conditions alone as its targets, one set of parameters for all, families of
readings left out, because it does not have them, and so is the complaint, whose table of nineteen
causes it could not hold. All of that is to the peer's advantage.
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from bench.interpret import DRAWS, EXAMPLES, WARM_UP
from bench.shoulder import REGIONS, SHOULDER
from tests.network.agrum import ENGINES, bayes_net

from sidewise.network import Network, Structure, independent
from sidewise.protocol import protocol_of
from sidewise.reason import interpret
from sidewise.reason.interpretation import error_of_one_reading, setting_used
from sidewise.reason.judging.judge import Judge
from sidewise.reason.judging.observations import observe
from sidewise.reason.judging.variants import variants, variants_of
from sidewise.reason.weighing.layout import layout
from sidewise.reason.weighing.posterior import Weighing, weigh
from sidewise.reason.weighing.warm_up import use_compiled
from sidewise.record import Record, read_record

Row = dict[str, Any]
TARGETS = ("ShaferShenoy", "LazyPropagation")
Spent = tuple[float, float]
"""Milliseconds by the clock on the wall, and of the processor."""


def spent(work: Callable[[], object]) -> Spent:
    """The time of one call."""
    wall, processor = time.perf_counter(), time.process_time()
    work()
    return 1000 * (time.perf_counter() - wall), 1000 * (time.process_time() - processor)


def median(times: list[Spent]) -> Spent:
    """The median of each."""
    wall, processor = zip(*times, strict=True)
    return statistics.median(wall), statistics.median(processor)


def weighing(record: Record) -> Weighing:
    """The network and the evidence of a record."""
    judge = Judge(protocol_of(SHOULDER), record, error_of_one_reading(SHOULDER))
    excused = variants(judge, variants_of(SHOULDER))
    seen = observe(judge, layout(SHOULDER, record.context.complaint), excused)
    return weigh(record, SHOULDER, seen, setting_used(record, None)[0], DRAWS)


def peer_times(record: Record, repeats: int) -> dict[str, Spent]:
    """The time of one inference by each engine of the peer, set-up of evidence included."""
    found = weighing(record)
    network = _plain(found.mean)
    net = bayes_net(network)
    names = [variable.name for variable in network.structure.variables]
    evidence = {}
    for place, reading in enumerate(found.evidence.readings):
        name = network.structure.readings[reading].name
        evidence[name] = [float(found.evidence.absent[0, place]),
                          float(found.evidence.present[0, place])]  # fmt: skip

    def once(engine: str) -> None:
        inference = ENGINES[engine](net)
        inference.setTargets(set(names))
        inference.setEvidence(evidence)
        inference.makeInference()
        for name in names:
            inference.posterior(name)

    return {
        engine: median([spent(lambda e=engine: once(e)) for _ in range(repeats)])
        for engine in TARGETS
    }


def _plain(network: Network) -> Network:
    """The conditions and readings alone."""
    alone = independent(network)
    p = alone.parameters
    structure = Structure(alone.structure.variables, alone.structure.readings)
    return Network(structure, type(p)(p.prior, p.link, p.leak))


def before_its_last_touch(record: Record) -> Record:
    """The record without its last finding."""
    fields = {name: getattr(record, name) for name in Record.model_fields}
    return Record(**{**fields, "findings": record.findings[:-1]})


def rows(repeats: int) -> list[Row]:
    """First look, and after a touch; the ratio is the median over the examples."""
    use_compiled()
    interpret(read_record(WARM_UP, REGIONS), SHOULDER, draws=DRAWS)
    records = [read_record(path, REGIONS) for path in EXAMPLES]
    first = [_own(record) for record in records]
    touched = [_own(before_its_last_touch(record)) for record in records]
    peers = [peer_times(record, repeats) for record in records]
    best = min(TARGETS, key=lambda engine: median([times[engine] for times in peers])[0])
    theirs = [times[best] for times in peers]
    return [
        _row("first look at the patient", 40, first, theirs, best),
        _row("after a touch", 60, touched, theirs, best),
    ]


def _own(record: Record) -> Spent:
    return spent(lambda: interpret(record, SHOULDER, draws=DRAWS))


def _row(what: str, bar: float, ours: list[Spent], theirs: list[Spent], best: str) -> Row:
    pairs = list(zip(ours, theirs, strict=True))
    wall, processor = median(
        [(DRAWS * peer[0] / own[0], DRAWS * peer[1] / own[1]) for own, peer in pairs]
    )
    return {
        "work": f"interpret beside {DRAWS} inferences, {len(ours)} whole examinations: {what}",
        "ours": round(median(ours)[0], 2),
        "unit": "ms",
        "peer": f"{DRAWS} times pyAgrum {best}, conditions as targets, no families, no complaint",
        "theirs": round(DRAWS * median(theirs)[0], 1),
        "ratio": round(wall, 1),
        "required": f"ratio >= {bar:g}",
        "note": f"each example's own ratio, median; by processor time {processor:.1f}",
    }


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="few repeats, for a look")
    print(json.dumps(rows(3 if parser.parse_args().quick else 11)))
