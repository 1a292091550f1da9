"""Published joint figures of several findings against those of the fitted network.

`tests/data/held_out/combinations.yaml` holds them, and the seed that chose the studies held out.
A group of patients is the study's case mix with the target present, or absent; the probability that
the rule is met in a group is summed over every pattern of its readings by the program's own engine.
The interval is that of the draws with the effect of one more study.
"""

from __future__ import annotations

import itertools
import random
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import yaml

from sidewise import network as engine
from sidewise.evidence.conditions import families_of
from sidewise.evidence.fit.case_mix import case_mixes_of
from sidewise.evidence.fit.fitted import Fitted, fitted_of, stable_seed
from sidewise.ground.arrays import Array
from tests.shoulder import CONDITIONS, SHOULDER

FILE = Path(__file__).parents[1] / "data" / "held_out" / "combinations.yaml"
INSIDE = 0.90


@dataclass(frozen=True)
class Joint:
    """One printed figure: the ratio of the rule being met (`met`), or of its not being met."""

    id: str
    study: str
    held_out: bool
    target: str
    case_mix: str
    readings: tuple[str, ...]
    rule: str
    met: bool
    ratio: float
    sizes: tuple[int, int]


@dataclass(frozen=True)
class Predicted:
    """The network's ratio: mean of the logarithm over draws, and a 90% interval of the ratio."""

    joint: Joint
    middle: float
    low: float
    high: float
    low_sampled: float
    high_sampled: float

    @property
    def error(self) -> float:
        """Logarithm of predicted over printed."""
        return float(np.log(self.middle / self.joint.ratio))

    @property
    def inside(self) -> bool:
        """Whether the printed ratio lies in the interval of the network."""
        return self.low <= self.joint.ratio <= self.high

    @property
    def inside_sampled(self) -> bool:
        """The same, the chance of so many patients being added."""
        return self.low_sampled <= self.joint.ratio <= self.high_sampled


def joints() -> tuple[Joint, ...]:
    """All figures of the file, in its order."""
    data = yaml.safe_load(FILE.read_text(encoding="utf-8"))
    names = [s["study"] for s in data["studies"] if "same_patients" not in s]
    out = set(random.Random(data["seed"]).sample(names, len(names) // 2))
    return tuple(
        joint
        for study in data["studies"]
        for row in study["rows"]
        for joint in _joints(study, row, study.get("same_patients", study["study"]) in out)
    )


def _joints(study: dict[str, Any], row: dict[str, Any], held_out: bool) -> list[Joint]:
    return [
        Joint(
            row["id"], study["study"], held_out, study["target"], study["case_mix"],
            tuple(row.get("readings", study["readings"])), row["rule"], name == "lr",
            float(row[name]), tuple(study["sizes"]),
        )
        for name in ("lr", "lr_not")
        if name in row
    ]  # fmt: skip


def predict(joint: Joint, draws: int = 500) -> Predicted:
    """The network's ratio for one figure, with the effect of one more study."""
    fitted = fitted_of(SHOULDER).draws(draws)
    rows = np.array([fitted.readings.index(name) for name in joint.readings], dtype=np.intp)
    study = fitted.one_more_study(fitted.link, stable_seed("joint", joint.id), rows)
    shares = [_share(joint, fitted, rows, study, present) for present in (True, False)]
    sick, well = (s if joint.met else 1.0 - s for s in shares)
    logs = np.log(np.maximum(sick, 1e-9)) - np.log(np.maximum(well, 1e-9))
    low, high = np.exp(np.quantile(logs, [0.05, 0.95]))
    a, b = joint.sizes
    noise = np.sqrt((1 - sick) / (sick * a) + (1 - well) / (well * b))
    rng = np.random.default_rng(stable_seed("sampling", joint.id))
    sampled = np.exp(np.quantile(logs + noise * rng.standard_normal(len(logs)), [0.05, 0.95]))
    middle = float(np.exp(logs.mean()))
    return Predicted(joint, middle, float(low), float(high), *map(float, sampled))


def _share(joint: Joint, fitted: Fitted, rows: Any, study: Any, present: bool) -> Array:
    """(D,) probability that the rule is met in the group with the target, or without it."""
    structure, link, leak = _structure(joint, fitted, rows, study)
    prior = _group(joint, present)
    # One variable for each condition, no complaint: the group has been selected already.
    place = {name: i for i, name in enumerate(fitted.families)}
    rows_of = [place[f] for f in structure.families]
    network = engine.Network(
        structure,
        engine.Parameters(
            prior=prior[None], link=link, leak=leak,
            rho_structure=fitted.rho_s[:, rows_of], rho_mechanism=fitted.rho_m[:, rows_of],
        ),
    )  # fmt: skip
    none = engine.solve(network, engine.observed(structure, {})).log_evidence
    total = np.zeros(len(leak))
    for pattern in itertools.product((False, True), repeat=len(joint.readings)):
        if _meets(joint.rule, sum(pattern), len(pattern)):
            findings = dict(zip(joint.readings, pattern, strict=True))
            told = engine.solve(network, engine.observed(structure, findings))
            total += np.exp(told.log_evidence - none)
    return np.clip(total, 1e-9, 1 - 1e-9)


def _structure(joint: Joint, fitted: Fitted, rows: Any, study: Any) -> tuple[Any, Array, Array]:
    families = families_of(SHOULDER)
    readings, columns = [], []
    for name, row in zip(joint.readings, rows, strict=True):
        arcs = np.flatnonzero(fitted.reading_of == row)
        parents = []
        for condition in CONDITIONS.network:
            part = CONDITIONS.slices[condition.id]
            mine = {int(fitted.column_of[a]): int(a) for a in arcs}
            wanted = [mine.get(c) for c in range(part.start, part.stop)]
            if any(a is not None for a in wanted):
                parents.append(condition)
                columns += wanted
        place = families.place.get(name)
        near = families.near(place[0]) if place else frozenset()
        core = tuple(c.id for c in parents if c.structure_family in near) if place else None
        family, mechanism = place or (None, None)
        readings.append(engine.Reading(name, tuple(c.id for c in parents), family, mechanism, core))
    structure = engine.Structure(
        tuple(engine.Variable(c.id, len(c.levels)) for c in CONDITIONS.network), tuple(readings)
    )
    link = np.stack(
        [np.zeros(len(study.link)) if a is None else study.link[:, a] for a in columns], axis=1
    )
    return structure, link, study.leak[:, rows]


def _group(joint: Joint, present: bool) -> Array:
    """(V, Lmax) level probabilities of the study's patients with the target, or without it."""
    mix = case_mixes_of(SHOULDER).mix(joint.case_mix)
    name, _, text = joint.target.partition(":")
    levels = {int(k) for k in text.split(",")}
    found = np.zeros((len(CONDITIONS.network), max(len(c.levels) for c in CONDITIONS.network)))
    for number, condition in enumerate(CONDITIONS.network):
        shares = mix[CONDITIONS.slices[condition.id]]
        whole = np.array([1 - shares.sum(), *shares])
        if condition.id == name:
            keep = np.array([(k in levels) is present for k in range(len(whole))])
            whole = np.where(keep, whole, 0.0)
        found[number, : len(whole)] = whole / whole.sum()
    return found


def _meets(rule: str, count: int, of: int) -> bool:
    word, _, number = rule.rpartition(" ")
    if rule in ("all", "any"):
        return count == of if rule == "all" else count > 0
    return count == int(number) if word == "exactly" else count >= int(number)


def main() -> None:
    """Prints the half that may be looked at, or the other: `held-out`."""
    import sys

    wanted = "held-out" in sys.argv
    told = [predict(joint) for joint in joints() if joint.held_out is wanted]
    for p in told:
        j = p.joint
        print(
            f"{j.id:3} {j.study:26} {j.rule:11} {'met' if j.met else 'not':4}"
            f" printed {j.ratio:6.3f}"
            f"  network {p.middle:6.3f} ({p.low:.3f} to {p.high:.3f}) error {p.error:+.2f}"
            f" inside {p.inside} sampled {p.inside_sampled}"
        )
    for met, word in ((True, "met"), (False, "not met")):
        mine = [p for p in told if p.joint.met is met]
        if mine:
            error = np.mean([abs(p.error) for p in mine])
            print(
                f"{word}: {sum(p.inside for p in mine)} of {len(mine)} inside; with sampling "
                f"{sum(p.inside_sampled for p in mine)}; mean absolute error {error:.2f}"
            )


if __name__ == "__main__":
    main()
