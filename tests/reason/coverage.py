"""Whether intervals cover, and whether probabilities score, on invented records.

`python -m tests.reason.coverage [records]`. Each record has a world of its own: one draw of the
parameters that the reasoner's own 500 draws do not hold, moved by the effect of a study of its own.
The person is simulated in that world; the figure to be covered is the posterior that somebody who
knew the world would give. Invented records share the model's assumptions: nothing is said here of
patients.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sidewise import network as engine
from sidewise.evidence.fit.fitted import stable_seed
from sidewise.ground.arrays import Array, BoolArray
from sidewise.network import observed, simulate_records, solve, summarise, with_prior_solution
from sidewise.protocol import protocol_of
from sidewise.reason.weighing.importance_weights import adapt_draws
from sidewise.reason.weighing.layout import Layout, network_layout
from sidewise.reason.weighing.parameters import draw_parameters, learned_parameters
from sidewise.reason.weighing.pretest_prior import PretestPrior, case_of, pretest_prior
from tests.builders import record
from tests.shoulder import SHOULDER

DRAWS = 500
EXAMINED = 14
SETTINGS = ("primary", "msk_clinic", "orthopaedic")
SIDE = "left"


@dataclass(frozen=True)
class Invented:
    """Of one record, by condition of its side: covered, the figures, and whether it was there."""

    covered: BoolArray
    prior: Array
    posterior: Array
    there: BoolArray


def invented(number: int) -> Invented:
    """One invented record, its world and the reasoner's answer."""
    rng = np.random.default_rng(stable_seed("coverage", str(number)))
    setting, age = SETTINGS[number % 3], int(rng.integers(20, 85))
    person = record(setting=setting, age=age, complaint=(SIDE,))
    case = case_of(person, setting, protocol_of(SHOULDER))
    laid = network_layout(SHOULDER, (SIDE,))
    mine = [s for s in laid.seats if s.side in (SIDE, "midline")]
    seen = [mine[i] for i in rng.choice(len(mine), EXAMINED, replace=False)]
    rows = np.unique([seat.row for seat in seen]).astype(np.intp)
    world = _world(laid, case, setting, rows, rng)
    readings = sorted(laid.structure.reading_index[seat.name] for seat in seen)
    told = simulate_records(world, 1, rng, readings)
    names = [laid.structure.readings[i].name for i in told.readings]
    evidence = observed(laid.structure, dict(zip(names, map(bool, told.present[0]), strict=True)))
    truth = 1.0 - solve(world, evidence).marginal[0, :, 0]

    before = pretest_prior(SHOULDER, case, (SIDE,), DRAWS)
    known = learned_parameters(SHOULDER, (SIDE,), setting, DRAWS)
    plain = draw_parameters(laid, known, before, rows, stable_seed("answer", str(number)))
    mean = with_prior_solution(engine.Network(laid.structure, plain.mean), before.mean)
    rough = solve(mean, evidence).marginal[0]
    parameters, log_m = adapt_draws(
        laid.structure, plain.each, evidence, laid.rows, rough, stable_seed("choice", str(number))
    )
    network = engine.Network(laid.structure, parameters)
    answer = solve(network, evidence)
    told_by_us = summarise(network, _less(answer, log_m))
    wanted = np.array([v.name.endswith(f".{SIDE}") for v in laid.structure.variables])
    inside = (told_by_us.present_low <= truth) & (truth <= told_by_us.present_high)
    return Invented(
        inside[wanted],
        (1.0 - before.shown[:, 0])[wanted],
        told_by_us.present[wanted],
        (told.levels[0] > 0)[wanted],
    )


def _less(answer: engine.Solution, log_m: Array) -> engine.Solution:
    return replace(answer, log_evidence=answer.log_evidence - log_m)


def _world(
    laid: Layout, case: object, setting: str, rows: Array, rng: np.random.Generator
) -> engine.Network:
    """One draw beyond those the reasoner has, with a study effect of its own."""
    more = 2 * DRAWS
    before: PretestPrior = pretest_prior(SHOULDER, case, (SIDE,), more)  # type: ignore[arg-type]
    known = learned_parameters(SHOULDER, (SIDE,), setting, more)
    drawn = draw_parameters(laid, known, before, rows, int(rng.integers(2**31)))
    chosen = np.array([int(rng.integers(DRAWS, more))])
    return engine.Network(laid.structure, drawn.each.take(chosen))


def scores(found: list[Invented]) -> dict[str, float]:
    """Coverage of the 95% interval, and Brier and logarithmic scores before and after findings."""
    there = np.concatenate([one.there for one in found]).astype(float)
    told = {"coverage": float(np.mean([one.covered.mean() for one in found]))}
    for name in ("prior", "posterior"):
        p = np.clip(np.concatenate([getattr(one, name) for one in found]), 1e-6, 1 - 1e-6)
        told[f"{name} brier"] = float(((p - there) ** 2).mean())
        told[f"{name} log"] = float(-(there * np.log(p) + (1 - there) * np.log(1 - p)).mean())
    return told


def main() -> None:
    """Prints the scores, and where probabilities lie against how often conditions were there."""
    import sys

    found = [invented(number) for number in range(int(sys.argv[1]) if sys.argv[1:] else 240)]
    each = [one.covered.mean() for one in found]
    print(f"{len(found)} records, {len(found[0].covered)} conditions each")
    for name, value in scores(found).items():
        print(f"{name}: {value:.4f}")
    print(f"standard error of the coverage: {np.std(each) / np.sqrt(len(each)):.4f}")
    p = np.concatenate([one.posterior for one in found])
    there = np.concatenate([one.there for one in found])
    for low, high in ((0, 0.05), (0.05, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 1.01)):
        mine = (p >= low) & (p < high)
        said, was = p[mine].mean(), there[mine].mean()
        band = f"said {low:.2f} to {min(high, 1):.2f}"
        print(f"{band}: {mine.sum()} times, mean {said:.3f}, there {was:.3f}")


if __name__ == "__main__":
    main()
